package plan

import (
	"time"

	"laycast/job"
)

// Week is a plan as the book keeps it: in dates, crews and words.
type Week struct {
	ID        string       `json:"id"`
	Made      time.Time    `json:"made"`
	Objective job.Money    `json:"objective"`
	Bound     job.Money    `json:"bound"`
	Gap       float64      `json:"gap"` // share of the gain that a better plan could at most add
	Proven    bool         `json:"proven"`
	Visits    []WeekVisit  `json:"visits"`
	Left      []WeekLeft   `json:"left"`
	Changes   []WeekChange `json:"changes"`
	Sources   []string     `json:"sources,omitempty"` // whose weather the chances are from
	CrewDays  []CrewDay    `json:"crew_days,omitempty"`
}

// CrewDay is a day on which a crew has work that may still change, and what the
// plan loses if the crew cannot come.
type CrewDay struct {
	Crew string    `json:"crew"`
	Day  job.Date  `json:"day"`
	Cost WeekPrice `json:"cost"`
}

// WeekPrice is what something adds or costs.
type WeekPrice struct {
	Amount job.Money `json:"amount"`
	Exact  bool      `json:"exact"` // planned again with the change and proven best; otherwise a good guess, from the prices
}

// WeekVisit is one visit of a week.
type WeekVisit struct {
	Job    string        `json:"job"`
	N      int           `json:"n"`
	Crew   string        `json:"crew"`
	Days   []job.Date    `json:"days"`
	Start  job.TimeOfDay `json:"start"`
	Slot   int           `json:"slot"`
	Chance float64       `json:"chance"` // of its first day
	// Basis says what the chance rests on, in the words of rules.Basis: members,
	// dressed, climate (no forecast reaches the day) or none. Weeks kept from before
	// it was said have "".
	Basis string `json:"basis,omitempty"`
	// RainOpen is the first day's chance of rain on the open roof.
	RainOpen float64    `json:"p_rain_open"`
	Told     job.Date   `json:"told"`
	Pinned   bool       `json:"pinned,omitempty"` // by the owner, to its first day
	Adds     *WeekPrice `json:"adds,omitempty"`   // over the best plan that leaves the job out
}

// WeekLeft is a job with no place.
type WeekLeft struct {
	Job    string `json:"job"`
	Reason string `json:"reason"` // in words
}

// WeekChange is a visit whose first day differs from the plan before.
type WeekChange struct {
	Job    string   `json:"job"`
	From   job.Date `json:"from"`
	To     job.Date `json:"to"`
	Reason string   `json:"reason"`
}
