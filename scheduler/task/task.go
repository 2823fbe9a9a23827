// Package task says what a piece of background work is: its name, when it is
// due, and the lease of whoever runs it. It is pure data and imports nothing of
// ours.
package task

import "time"

// Name is the kind of a task; a firm has one task of each kind.
type Name string

// The tasks, in the order in which they run when due at the same moment:
// weather first, decisions after it, checks last.
const (
	FetchForecast Name = "fetch-forecast"
	FetchEnsemble Name = "fetch-ensemble"
	Replan        Name = "replan"
	Tell          Name = "tell"
	WeekMail      Name = "week-mail"
	SecondLook    Name = "second-look"
	Call          Name = "call"
	Watch         Name = "watch" // rain before an open roof is sealed
	Absence       Name = "absence-check"
	Close         Name = "close"
	Unseen        Name = "unseen-check" // which crews have not seen their call
	Record        Name = "record"       // as-laid records of days that are over are closed
	Score         Name = "score"        // the chances of days that are over
	Learn         Name = "learn"        // from the forecasts of the evenings before a day that is over
	Prune         Name = "prune"
)

// Names gives every task in running order.
func Names() []Name {
	return []Name{FetchForecast, FetchEnsemble, Replan, Tell, WeekMail, SecondLook, Call, Watch, Absence, Close, Unseen, Record, Learn, Score, Prune}
}

// Rank gives a task's place in the running order.
func Rank(n Name) int {
	for i, x := range Names() {
		if x == n {
			return i
		}
	}
	return len(Names())
}

// Lane is how urgent a task is among those of many firms.
type Lane int

// The lanes, the most urgent first.
const (
	Timely  Lane = iota // people wait for it
	Weather             // the timely ones of the same firm wait for it
	Spare               // may wait
)

// Lanes gives all lanes, the most urgent first.
func Lanes() []Lane { return []Lane{Timely, Weather, Spare} }

// LaneOf gives a task's lane.
func LaneOf(n Name) Lane {
	switch n {
	case FetchForecast, FetchEnsemble:
		return Weather
	case Replan, Record, Learn, Score, Prune:
		return Spare
	}
	return Timely
}

// Task is one row: the next time a kind of work is due for a firm.
type Task struct {
	Firm string // uid
	Name Name
	Due  time.Time
	// Slot is the moment the work is for: a retry keeps the slot and moves Due.
	Slot time.Time
	// Tries counts failed runs for this slot.
	Tries int
	// Note is the last failure in words, "" after a success.
	Note string

	// Near is where its work lies, see scheduler.Near; 0: not known yet. Of tasks of
	// many firms that could be taken equally long it says the order.
	Near int64

	// LeaseUntil is when the lease of the present holder ends; zero: free.
	LeaseUntil time.Time
	// Lease names the present holding; a write is accepted only under it.
	Lease string
}
