package rules

import (
	"time"

	"laycast/job"
)

// OpenFor gives for how long a bay stands open, from the strip until it is
// sealed at 20 °C, at the pace within which most days end; 0 where the work
// opens nothing. It is for planning ahead: the call knows the day's own hours.
func (c Case) OpenFor(b Bay) time.Duration {
	if !c.opens() || b.Task != Lay || c.pace() == 0 {
		return 0
	}
	h := c.need(b) + c.Profile.SealedAge*c.Profile.curePace()
	return time.Duration(h * float64(time.Hour)) // elapsed
}

// Opens reports whether a visit to this job, as far as it has come, opens the
// building.
func Opens(b job.Booking) bool {
	const square = 0.005 // areas are kept to the centimetre squared
	return (b.Roof.Work == job.Replace || b.Roof.Work == "") && b.LaidM2 < b.Roof.AreaM2-square
}
