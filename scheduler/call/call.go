// Package call makes the evening's decision for tomorrow, and the second look
// in the morning, from a verdict and the age of the forecast behind it. It is
// pure.
package call

import (
	"time"

	"laycast/job"
	"laycast/rules"
)

// Outcome is what was decided.
type Outcome string

// The outcomes.
const (
	Go   Outcome = "go"
	NoGo Outcome = "no-go"
	Hold Outcome = "hold" // decided at the second look
)

// Occasion is when it was decided: the evening before, the second look, or a
// later change ("change-1", "change-2" …).
type Occasion string

// The occasions.
const (
	Evening    Occasion = "evening"
	SecondLook Occasion = "second-look"
)

// Call is one decision about one job on one day. It carries a copy of what it
// was made from, so that it explains itself for ever; it is superseded, never
// edited.
type Call struct {
	Firm     string    `json:"firm"`
	Job      string    `json:"job"`
	Visit    int       `json:"visit"`
	Crew     string    `json:"crew"`
	Date     job.Date  `json:"date"`
	Occasion Occasion  `json:"occasion"`
	Revision int64     `json:"revision"` // of the job, when called
	Outcome  Outcome   `json:"outcome"`
	Made     time.Time `json:"made"`
	Late     bool      `json:"late"`

	Known    bool        `json:"known"`  // the three chances mean something
	Chance   float64     `json:"chance"` // sealed
	Full     float64     `json:"full"`
	RainOpen float64     `json:"p_rain_open"`
	Basis    rules.Basis `json:"basis"`
	Members  int         `json:"members"`
	Reasons  []string    `json:"reasons"`
	Blind    bool        `json:"blind"`           // decided without a forecast fit for a go: missing, incomplete or too old
	Eased    bool        `json:"eased,omitempty"` // a go after a hold that an evening would not have called

	Start        time.Time       `json:"start"`
	SealedBy     time.Time       `json:"sealed_by"`
	SealedByLate time.Time       `json:"sealed_by_late"`
	NoReturn     time.Time       `json:"no_return"`
	CoatBy       time.Time       `json:"coat_by"`     // latest time to begin the topcoat on the day; zero: not that day
	OvercoatBy   time.Time       `json:"overcoat_by"` // later than that the laminate is abraded first
	Stages       []rules.Span    `json:"stages"`
	Failing      []rules.Failing `json:"failing"`

	Source    string    `json:"source"`     // of the forecast
	DetDigest string    `json:"det_digest"` // the runs it was made from
	EnsDigest string    `json:"ens_digest"`
	Fetched   time.Time `json:"fetched"` // when they were last seen
}
