// Package forecast says what a weather forecast is to laycast: hours of one
// place as columns, one run of one endpoint, and the issue that a verdict is
// made from. It is pure; fetching and decoding are in the packages below it.
//
// One rule of hours holds everywhere behind a decoder: slot i covers
// [Start+i h, Start+(i+1) h). Sums and maxima are those of the slot; instants
// are the mean of the readings at its two ends, or what the source tells for the
// whole slot; means are those of the slot. Rain told for a block of slots is
// drawn among them (Spread), once. Decoders shift, average and draw; nobody
// after them does.
package forecast

import (
	"fmt"
	"math"
	"time"
)

// Var is a measure of the weather.
type Var int

// The measures and their units.
const (
	Air        Var = iota // air temperature at 2 m, °C
	Dew                   // dew point at 2 m, °C
	RH                    // relative humidity at 2 m, %
	Rain                  // precipitation of the slot, mm
	Wind                  // wind at 10 m, 10-minute mean, m/s
	Gust                  // greatest gust of the slot, m/s
	Cloud                 // cloud cover, %
	Solar                 // global radiation on the horizontal, slot mean, W/m²
	Pressure              // at the surface, hPa
	RainChance            // chance of more than 0.1 mm in the slot, % (from the source's own ensemble)
	NVars
)

// String gives the short name used in the hour table and in messages.
func (v Var) String() string {
	return [...]string{"air", "dew", "rh", "rain", "wind", "gust", "cloud", "solar", "pressure", "rain-chance"}[v]
}

// Hours are the hours of one place, for one member or for many.
type Hours struct {
	Start   time.Time // start of slot 0: a whole hour, UTC
	N       int       // slots
	Members int       // 1 for a deterministic run; member 0 is the control
	// Cols holds one column a measure: member m's slot i stands at m*N+i.
	// NaN is "not known"; a nil column is a measure the run does not have.
	Cols [NVars][]float32
}

// unknown is the value of an hour that is not known.
var unknown = float32(math.NaN())

// Unknown gives the value that stands for "not known" (NaN).
func Unknown() float32 { return unknown }

// Known reports whether x is a known value.
func Known(x float32) bool { return x == x }

// NewHours makes n unknown slots of each listed measure.
func NewHours(start time.Time, n, members int, vars ...Var) Hours {
	h := Hours{Start: start.UTC().Truncate(time.Hour), N: n, Members: members}
	for _, v := range vars {
		col := make([]float32, n*members)
		for i := range col {
			col[i] = unknown
		}
		h.Cols[v] = col
	}
	return h
}

// At gives the value of v for member m in slot i, unknown where there is none.
func (h Hours) At(v Var, m, i int) float32 {
	if h.Cols[v] == nil || i < 0 || i >= h.N || m < 0 || m >= h.Members {
		return unknown
	}
	return h.Cols[v][m*h.N+i]
}

// Slot gives the index of the slot that holds t; it may lie outside 0..N-1.
func (h Hours) Slot(t time.Time) int {
	return int(math.Floor(t.Sub(h.Start).Hours()))
}

// End gives the end of the last slot.
func (h Hours) End() time.Time { return h.Start.Add(time.Duration(h.N) * time.Hour) }

// Endpoint is a kind of run.
type Endpoint string

// The endpoints.
const (
	Deterministic Endpoint = "forecast" // one run, with past hours
	Ensemble      Endpoint = "ensemble" // members, from now on
)

// Cell is the place a forecast is asked for: sites close together share one.
// Coordinates are rounded so that no customer's exact address leaves the firm.
type Cell struct {
	Lat  float64 // degrees, a multiple of CellDegrees
	Lon  float64
	Elev int // metres, a multiple of CellMetres
}

// CellDegrees and CellMetres are the grain of a cell: about 5 km, finer than
// the ensembles' own grids (13 to 25 km), and 50 m of height (0.3 K by the
// standard atmosphere's 6.5 K/km).
const (
	CellDegrees = 0.05
	CellMetres  = 50
)

// CellOf gives the cell of a place (degrees, degrees, metres).
func CellOf(lat, lon, elevM float64) Cell {
	grain := func(x float64) float64 { return math.Round(math.Round(x/CellDegrees)*CellDegrees*1000) / 1000 }
	return Cell{Lat: grain(lat), Lon: grain(lon), Elev: int(math.Round(elevM/CellMetres)) * CellMetres}
}

// String gives the cell's key, such as "53.45,-6.25,50".
func (c Cell) String() string { return fmt.Sprintf("%.2f,%.2f,%d", c.Lat, c.Lon, c.Elev) }

// ParseCell reads what String wrote.
func ParseCell(s string) (Cell, error) {
	var c Cell
	if _, err := fmt.Sscanf(s, "%f,%f,%d", &c.Lat, &c.Lon, &c.Elev); err != nil {
		return Cell{}, fmt.Errorf("read cell %q: %w", s, err)
	}
	return c, nil
}

// Run is what one endpoint answered for one cell.
type Run struct {
	Source   string // "open-meteo", "replay", …
	Endpoint Endpoint
	Cell     Cell
	Model    string    // as asked for, "" = the source's own choice
	ModelRun time.Time // start of the model run where the source tells it, else zero
	Hours    Hours
	// Notes say what was mended: "gust estimated from wind", "dew point derived".
	Notes []string

	// Parents is 0 for a run as its source sent it. A run that was dressed has
	// more members than its source sent: so many, member k made of raw member
	// k mod Parents. Such a run is never stored.
	Parents int

	Modified string    // the source's Last-Modified exactly as sent, "" where it sends none
	Expires  time.Time // the source is not asked again before this time; zero = whenever

	Digest    string    // of the hours alone (see Digest); same digest = nothing new
	FirstSeen time.Time // when this digest was first fetched
	LastSeen  time.Time // when it was last fetched
	Changed   time.Time // when the content last changed in hours that two fetches share
}

// Until gives the run without its hours from end on, the run itself where it
// has none of them, nil of nil. It shares nothing with the run but its notes.
func (r *Run) Until(end time.Time) *Run {
	if r == nil || !r.Hours.End().After(end) {
		return r
	}
	short, h := *r, r.Hours
	n := max(h.Slot(end), 0)
	short.Hours = Hours{Start: h.Start, N: n, Members: h.Members}
	for v, col := range h.Cols {
		if col == nil {
			continue
		}
		for m := range h.Members {
			short.Hours.Cols[v] = append(short.Hours.Cols[v], col[m*h.N:m*h.N+n]...)
		}
	}
	return &short
}

// Issue is what a verdict is made from: a deterministic run and an ensemble
// run for one cell. Either may be missing (nil).
type Issue struct {
	Det *Run
	Ens *Run

	Source  string // of both
	DetOnly bool   // the source has no ensemble, so Ens is not missing
	Note    string // why it is not of the preferred source, in words; "" where it is
}

// Failure is a fetch that failed, as data: what to do about it is decided by
// whoever keeps the clock.
type Failure struct {
	Kind   FailureKind
	Reason string    // in plain words, with the host, never with a key
	Until  time.Time // Quota, and Refused where the source bars us for a time: not before this; else zero
	// Place says of Refused that one of the places asked for may be the reason:
	// the same request without it may be answered (pitfall 16 of FORECAST_API §7).
	// Otherwise it is the request, the key or the address.
	Place bool
}

// FailureKind says what sort of failure it was.
type FailureKind string

// The kinds of failure.
const (
	Transport FailureKind = "transport" // no answer, cut, reset, time-out
	Broken    FailureKind = "broken"    // an answer that is not a whole, sane forecast
	Server    FailureKind = "server"    // 5xx
	Quota     FailureKind = "quota"     // 429
	Refused   FailureKind = "refused"   // 4xx: asking again unchanged will not help
)

// Error makes a Failure an error.
func (f *Failure) Error() string { return f.Reason }
