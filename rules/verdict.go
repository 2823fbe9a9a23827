// Package rules judges: given one job, the limits of its profile and an issue
// of the forecast, it says for each possible start how likely the roof is to
// be sealed, what is tightest and what would stop it. It is pure.
package rules

import (
	"time"

	"laycast/job"
)

// Stage is a span of work or waiting with its own limits.
type Stage string

// The stages, in the order of a day.
const (
	Strip       Stage = "strip"
	Prepare     Stage = "prepare" // old laminate abraded and wiped, a slab ground and swept
	DeckStage   Stage = "deck"
	Primer      Stage = "primer"
	Laminate    Stage = "laminate"
	Cure        Stage = "cure"
	Topcoat     Stage = "topcoat"
	TopcoatCure Stage = "topcoat cure"
)

// Limit names a bound on a measure.
type Limit string

// The limits.
const (
	LimitRain      Limit = "rain"
	LimitWind      Limit = "wind"
	LimitGust      Limit = "gust"
	LimitAir       Limit = "air"
	LimitFrost     Limit = "frost"
	LimitDeck      Limit = "deck temperature"
	LimitDewMargin Limit = "dew margin"
	LimitRH        Limit = "humidity"
	LimitDry       Limit = "dry deck"
	LimitTime      Limit = "time"     // the work does not end in the day
	LimitDaylight  Limit = "daylight" // it would be dark
	LimitUnknown   Limit = "unknown"  // hours without data
)

// Basis says what a chance rests on.
type Basis string

// The bases of a chance.
const (
	FromMembers Basis = "members" // the share of raw members
	FromDressed Basis = "dressed" // of dressed members
	FromClimate Basis = "climate" // the month's climate; never for a told day or a go
	FromNothing Basis = "none"    // unknown
)

// Foreseen reports whether a chance of this basis is a forecast's: alone such a one
// may be called on or told as a day.
func (b Basis) Foreseen() bool { return b == FromMembers || b == FromDressed }

// Check is one limit's result at one hour: the value met, the bound, and the
// margin, which is negative where the limit is broken.
type Check struct {
	Limit  Limit     `json:"limit"`
	At     time.Time `json:"at"`
	Value  float64   `json:"value"`
	Bound  float64   `json:"bound"`
	Margin float64   `json:"margin"`
	Unit   string    `json:"unit,omitempty"`
}

// Span is one stage of a day as the middle member lives it, with its tightest
// check.
type Span struct {
	Stage    Stage     `json:"stage"`
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Tightest Check     `json:"tightest"`
}

// Failing says how many members one limit stopped, and when.
type Failing struct {
	Limit   Limit     `json:"limit"`
	Members int       `json:"members"`
	From    time.Time `json:"from"`
	To      time.Time `json:"to"`
}

// Start is the chance of one time on site: shares of the members, moved by the
// record of such chances where the case says how.
type Start struct {
	At       time.Time `json:"at"`
	Sealed   float64   `json:"sealed"`    // share of members in which the bay is sealed
	Full     float64   `json:"full"`      // and topcoated the same day
	RainOpen float64   `json:"rain_open"` // share in which it rains while open
}

// Within reports whether the start would be called go by its chances.
func (s Start) Within(b job.Bounds) bool { return s.Sealed >= b.Go && s.RainOpen <= b.GoRainOpen }

// Window is a range of times on site, both ends included.
type Window struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// Day is the verdict for one job on one civil day of the firm.
type Day struct {
	Job     string   `json:"job"`
	Date    job.Date `json:"date"`
	Basis   Basis    `json:"basis"`
	Members int      `json:"members"` // valid ones
	// Climate is the share of the month's working days on which a roof can be
	// sealed, with basis climate alone. Such a day has no starts: it is not known.
	Climate float64 `json:"climate,omitempty"`

	Starts  []Start  `json:"starts"`
	Best    int      `json:"best"` // index into Starts, -1 when nothing is known
	Windows []Window `json:"windows"`

	// of the best start:
	Stages       []Span    `json:"stages"`
	Failing      []Failing `json:"failing"`
	SealedBy     time.Time `json:"sealed_by"`      // median over members that seal
	SealedByLate time.Time `json:"sealed_by_late"` // nine in ten seal by then
	DewLifts     time.Time `json:"dew_lifts"`      // dew margin, humidity and a dry deck first let the laminate on in half of the members; zero where they do from the first
	CureBeyond   bool      `json:"cure_beyond"`    // the cure runs over 10 K from where the gel time was measured, so its time is an extrapolation
	DewStays     bool      `json:"dew_stays"`      // they never do while there is work
	RainFrom     time.Time `json:"rain_from"`      // first hour from the best start on in which a fifth of the members have rain; zero where none is
	// the point of no return, the latest hour at which the roof may still be
	// opened: at the careful pace, which the crew is told and keeps to, and at
	// the middle one, past which half of all crews would not be done in time
	NoReturn       time.Time `json:"no_return"`
	NoReturnMedian time.Time `json:"no_return_median"`

	// where the middle member topcoats on the day it lays: the latest time to
	// begin it, and until when it goes on later without abrading
	CoatBy     time.Time `json:"coat_by"`
	OvercoatBy time.Time `json:"overcoat_by"`
}

// Known reports whether the day has a chance at all.
func (d Day) Known() bool { return d.Best >= 0 }

// BestStart gives the best start; ok is false when nothing is known.
func (d Day) BestStart() (Start, bool) {
	if d.Best < 0 || d.Best >= len(d.Starts) {
		return Start{}, false
	}
	return d.Starts[d.Best], true
}

// Hour is one row of the hour table: the middle of the forecast and what
// follows from it for the deck. Values that are not known are NaN.
type Hour struct {
	At        time.Time
	Air       float64 // °C
	Dew       float64 // °C
	Surface   float64 // °C
	DewMargin float64 // K, surface minus dew point
	RH        float64 // %
	Rain      float64 // mm in the hour
	Wind      float64 // m/s
	Gust      float64 // m/s
	Water     float64 // mm on the deck at the hour's end
	Board     float64 // %, the moisture that a board comes to in such air (equilibrium; a site reading counts for more)
	CureRate  float64 // relative to 20 °C
	Daylight  bool
}
