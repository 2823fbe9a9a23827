package job

import (
	"strings"
	"time"
)

// Firm is one laying firm and its settings. A Firm is a value: changing a
// setting makes a new one.
type Firm struct {
	UID    string `json:"uid"` // a slug set once; part of every Message-ID and calendar UID
	Name   string `json:"name"`
	Zone   string `json:"zone"` // IANA name; crew days, calls and dates are days in it
	Email  string `json:"email"`
	Phone  string `json:"phone,omitempty"` // whom a crew rings; as it is to be read
	Times  Times  `json:"times"`
	Work   Hours  `json:"work"`
	Costs  Costs  `json:"costs"`
	Bounds Bounds `json:"bounds"`

	TellAhead int `json:"tell_ahead"` // days ahead at which a date may be told at the earliest
	Notice    int `json:"notice"`     // days inside which a told date is frozen

	Office []string `json:"office,omitempty"` // mail addresses of those who may sign in beside the owner

	// Profiles are the laying limits that the pages made: by name, the text of a
	// profile file.
	Profiles map[string]string `json:"profiles,omitempty"`

	AskStrict bool `json:"ask_strict"` // a new date is never told without the owner's yes
	StandBy   bool `json:"stand_by"`   // a customer who was told no day may be asked on the evening before to stand by
}

// Times are cron expressions (minute hour day month weekday) in the firm's zone.
type Times struct {
	Call       string `json:"call"`
	Absence    string `json:"absence"`
	SecondLook string `json:"second_look"`
	Close      string `json:"close"`
	Unseen     string `json:"unseen"` // when the owner hears which crews have not seen their call
	WeekMail   string `json:"week_mail"`
	Tell       string `json:"tell"` // when customers are told weeks and dates
	// the fetches that must come before a decision
	EveningFetch string `json:"evening_fetch"`
	MorningFetch string `json:"morning_fetch"`
}

// Hours are the firm's working days and hours.
type Hours struct {
	Days []time.Weekday `json:"days"`
	From TimeOfDay      `json:"from"`
	To   TimeOfDay      `json:"to"`
	Off  []Date         `json:"off"` // days on which nobody works
}

// Working reports whether d is a working day.
func (h Hours) Working(d Date) bool {
	if contains(h.Off, d) {
		return false
	}
	for _, w := range h.Days {
		if w == d.Weekday() {
			return true
		}
	}
	return false
}

// Costs are what the plan weighs, beside each job's own value.
type Costs struct {
	Currency    string     `json:"currency"`
	LaterShare  float64    `json:"later_share"`  // what a job left for after the horizon is still worth, as a share of its value
	Move        []MoveTier `json:"move"`         // what moving a told date costs, by notice
	ShortNotice Money      `json:"short_notice"` // on top when the new date is within 2 days
	Km          Money      `json:"km"`           // per road km
	PairKm      float64    `json:"pair_km"`      // the farthest apart that two half-day jobs of one crew may lie
	ReturnCost  Money      `json:"return_cost"`  // coming back for the topcoat
	WeekLate    Money      `json:"week_late"`    // what each week past its promised date costs for a job that names no late_cost_per_day
}

// LatePerDay gives what each day past its promised date costs for a job: its
// own figure, else a seventh of what the firm says of a week.
func (c Costs) LatePerDay(j Job) Money {
	if j.LateCostPerDay > 0 {
		return j.LateCostPerDay
	}
	return (c.WeekLate + 3) / 7 // to the nearest cent
}

// MoveTier is the cost of moving a told date at most Days ahead.
type MoveTier struct {
	Days int   `json:"days"`
	Cost Money `json:"cost"`
}

// Bounds turn chances into a call.
type Bounds struct {
	Go         float64 `json:"go"`           // at least this chance for a go
	GoRainOpen float64 `json:"go_rain_open"` // and at most this chance of rain while open
	NoGo       float64 `json:"no_go"`        // below it: no-go
	NoGoRain   float64 `json:"no_go_rain"`   // above it: no-go
	Tell       float64 `json:"tell"`         // at least this chance before a day is told
	// AfterHold is how far a go gives way at the second look after a hold, from its own
	// bounds (0) to those of the no-go (1).
	AfterHold float64 `json:"after_hold"`
}

// Morning gives the bounds of the second look after a hold. In the evening a hold costs
// nothing, since the morning knows more; in the morning what is not a go is a crew's day
// lost. So less is asked then. It never asks more than the evening, nor less than what a
// no-go asks.
func (b Bounds) Morning() Bounds {
	b.Go -= b.AfterHold * max(0, b.Go-b.NoGo)
	b.GoRainOpen += b.AfterHold * max(0, b.NoGoRain-b.GoRainOpen)
	return b
}

// DefaultFirm gives a firm with every setting at its default. The defaults are
// common practice, no source, save where a comment says more.
func DefaultFirm() Firm {
	return Firm{
		Times: Times{
			Call: "0 18 * * *", Absence: "20 18 * * *", SecondLook: "30 5 * * *", Close: "0 20 * * *", Unseen: "30 20 * * *",
			WeekMail: "0 6 * * 1", Tell: "0 9,16 * * *", EveningFetch: "15 17 * * *", MorningFetch: "15 5 * * *",
		},
		Work: Hours{
			Days: []time.Weekday{time.Monday, time.Tuesday, time.Wednesday, time.Thursday, time.Friday},
			From: 7*60 + 30, To: 18 * 60,
		},
		Costs: Costs{
			Currency: "EUR", LaterShare: 0.9,
			Move:        []MoveTier{{2, 20000}, {4, 12000}, {7, 7000}, {14, 3000}, {99, 1000}},
			ShortNotice: 6000, Km: 60, PairKm: 18, ReturnCost: 15000,
		},
		// A day told five days ahead from a chance of .6 stood fast on a forecast too old
		// to hold, and four to six dates were moved for ten jobs; three days ahead from
		// .7, the chance that a go asks for, half as many were, and from .8 a quarter less
		// again: a chance of .7 three days before is lost by the evening too often.
		// Customers still had more than two and a half days: replayed seasons, of our own
		// (docs/replay.md).
		// The break-even chance of a typical job lies between .62 and .77
		// (value 1800, abort 590, later share .8 to .9: lay if p > a/(v-f+a)).
		// After a hold, half-way between them: docs/replay.md, "The second look".
		Bounds:    Bounds{Go: 0.70, GoRainOpen: 0.08, NoGo: 0.50, NoGoRain: 0.20, Tell: 0.80, AfterHold: 0.5},
		TellAhead: 3, Notice: 1, StandBy: true,
	}
}

// Slug makes a uid out of a firm's name: lower-case letters, digits and dashes.
func Slug(name string) string {
	var b strings.Builder
	dash := false
	for _, r := range strings.ToLower(name) {
		if r >= 'a' && r <= 'z' || r >= '0' && r <= '9' {
			if dash && b.Len() > 0 {
				b.WriteByte('-')
			}
			b.WriteRune(r)
			dash = false
			continue
		}
		dash = true
	}
	if b.Len() == 0 {
		return "firm"
	}
	return b.String()
}
