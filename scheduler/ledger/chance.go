package ledger

import (
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/scheduler/call"
)

// Chance is one chance that was given for one day and lead, kept to be scored
// against what happened: of a call, or of the reference roof of a source's cell.
type Chance struct {
	Source string        `json:"source"`
	Cell   forecast.Cell `json:"cell"`
	Firm   string        `json:"firm"` // "" and Job "" for the reference roof, which no firm owns
	Job    string        `json:"job"`
	Date   job.Date      `json:"date"`
	Lead   int           `json:"lead"` // days ahead; 0 is the second look
	Zone   string        `json:"zone"` // in which Date is a day

	Made    time.Time     `json:"made"`
	Start   time.Time     `json:"start"`   // on site
	Members skill.Chances `json:"members"` // shares of the members
	Told    skill.Chances `json:"told"`    // as called, recalibrated
	Outcome call.Outcome  `json:"outcome"` // "" for the reference roof

	// The work as it stood: hands, and what of the roof was done.
	Hands    int      `json:"hands"`
	LaidM2   float64  `json:"laid_m2"`
	CoatedM2 float64  `json:"coated_m2"`
	SealedOn job.Date `json:"sealed_on"`

	// Air is the air at noon as it was forecast, °C: quantiles of equal weight,
	// rising. Only of the reference roof.
	Air []float64 `json:"air,omitempty"`

	State  ChanceState `json:"state"`
	Sealed bool        `json:"was_sealed"`
	Rained bool        `json:"was_rained"`
	AirWas *float64    `json:"air_was,omitempty"`
	How    string      `json:"how,omitempty"` // how it is known: CrewReport or ModelRows
}

// ChanceState says whether a chance is scored.
type ChanceState string

// The states of a chance.
const (
	Open   ChanceState = "open"
	Scored ChanceState = "scored"
	Lost   ChanceState = "lost" // nothing tells how the day went
)

// How it is known what came of a day. Past rows are a model's, not a gauge's.
const (
	CrewReport = "crew report"
	ModelRows  = "model rows"
)

// Tally counts scored chances of the reference roof and of calls alike: those of
// one source, lead, day and chance.
type Tally struct {
	Lead     int
	Date     job.Date
	Sealed   float64 // chance, to a thousandth
	RainOpen float64
	N        int
	Was      int // sealed
	Rained   int
}

// Recal is what a source's chances have come to.
type Recal struct {
	Source  string
	Through job.Date // the last day that it is fitted to
	Recal   skill.Recal
}
