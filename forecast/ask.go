package forecast

import "time"

// Ask is one question to a source: the runs of one endpoint for some cells.
type Ask struct {
	Endpoint Endpoint
	Cells    []Cell
	Now      time.Time // the time of asking, by the injected clock
	// Kept are the newest runs that are kept of this source and endpoint, by
	// cell, where there are any. A source that wants conditional requests reads
	// their Modified and Expires; where it answers "not modified" it gives the
	// kept run again, with a new Expires.
	Kept map[Cell]*Run
}
