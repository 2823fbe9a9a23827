package job

import "time"

// State is where a job stands.
type State string

// The states of a job.
const (
	Booked    State = "booked"
	Done      State = "done"
	Cancelled State = "cancelled"
)

// Booking is a job as the book holds it: the order and how far it has come.
type Booking struct {
	Job
	Revision  int64   `json:"revision"` // raised by each change of the order
	State     State   `json:"state"`
	LaidM2    float64 `json:"laid_m2"`    // sealed so far
	CoatedM2  float64 `json:"coated_m2"`  // of it, with its topcoat
	Held      string  `json:"held"`       // not "": the owner keeps it out of the plan, and why
	Asked     bool    `json:"asked"`      // the owner was asked how its last day went; no plan until the answer
	SealedOn  Date    `json:"sealed_on"`  // day of the last sealed bay; its overcoat window runs from it
	NextVisit int     `json:"next_visit"` // number of the visit to come, from 1

	Closed Closing `json:"closed,omitzero"` // the last day that was closed

	// what the owner wants, before anything the plan would gain
	Pinned    Pin    `json:"pinned,omitzero"`
	Forbidden []Date `json:"forbidden,omitempty"` // days on which it must not be worked on
	Unsuited  []Date `json:"unsuited,omitempty"`  // told days that the customer said do not suit
	AskFirst  bool   `json:"ask_first,omitempty"` // a new date is never told without the owner's yes
}

// Pin is where the owner wants the next visit to begin.
type Pin struct {
	Day  Date   `json:"day"`
	Crew string `json:"crew,omitempty"` // "": any that can
}

// Forbids reports whether the owner forbade d.
func (b Booking) Forbids(d Date) bool { return contains(b.Forbidden, d) }

// Unsuits reports whether the customer said that d does not suit.
func (b Booking) Unsuits(d Date) bool { return contains(b.Unsuited, d) }

// Barred reports whether the job may not be worked on at d, by its order, by
// the owner's word or by the customer's.
func (b Booking) Barred(d Date) bool { return b.Job.Barred(d) || b.Forbids(d) || b.Unsuits(d) }

// VisitState is where a visit stands.
type VisitState string

// The states of a visit.
const (
	Planned  VisitState = "planned"  // on the plan, or waiting for a place on it
	Started  VisitState = "started"  // its first day was called go and closed; more days follow
	Finished VisitState = "finished" // nothing of it is left
	Broken   VisitState = "broken"   // ended with work left; visit n+1 carries on
	Off      VisitState = "off"      // its job was cancelled
)

// Visit is a job's planned days with one crew. Its number survives moves,
// no-gos, holds and being left out of the plan; n+1 opens only when a started
// visit leaves work or a cancelled job is booked again.
type Visit struct {
	Job   string     `json:"job"`
	N     int        `json:"n"`
	State VisitState `json:"state"`
	Crew  string     `json:"crew"`  // "" while it has no place on the plan
	Days  []Date     `json:"days"`  // empty while it has no place; else in order, all of them, done ones too
	Start TimeOfDay  `json:"start"` // on site
	Slot  int        `json:"slot"`  // 0: morning or whole days, 1: afternoon
	Done  int        `json:"done"`  // of Days, how many are closed

	ToldWeek Date      `json:"told_week"` // Monday of the week last told to the customer
	Told     Date      `json:"told"`      // the date last told
	ToldAt   time.Time `json:"told_at"`
	StandBy  Date      `json:"stand_by,omitzero"` // the day that its customer, who was told none, was asked on the evening before to stand by for
	StoodBy  int       `json:"stood_by,omitzero"` // how often they were asked so
	Moves    int       `json:"moves"`             // how often a told date was moved
	Moved    Date      `json:"moved"`             // the told date that no longer holds, and why, as its customer was told last
	MovedWhy string    `json:"moved_why,omitempty"`
	AskedAt  time.Time `json:"asked_at"` // when the owner was asked about a new date that waits to be told
	AskedFor Date      `json:"asked_for"`
	Approved bool      `json:"approved"` // the owner said yes to it
	Declined bool      `json:"declined"` // the owner said no to it

	Thread  []string   `json:"thread,omitempty"` // Message-IDs of what its customer was written, oldest first
	Invited Invitation `json:"invited,omitzero"` // what the customer's own calendar was sent
}

// Invitation is what a customer who asked for invitations has of a visit in a
// calendar of their own.
type Invitation struct {
	Sent int       `json:"sent"`          // how many went out: the sequence of the next one
	From time.Time `json:"from,omitzero"` // the hours of the last one; none where it was called off
	To   time.Time `json:"to,omitzero"`
}

// Stands reports whether there is one that was not called off.
func (i Invitation) Stands() bool { return !i.From.IsZero() }

// On reports whether d is a day of the visit that is still to come or under way.
func (v Visit) On(d Date) bool {
	if v.State != Planned && v.State != Started {
		return false
	}
	for i, x := range v.Days {
		if i >= v.Done && x == d {
			return true
		}
	}
	return false
}

// First gives the first day of the visit that is not closed, or none.
func (v Visit) First() Date {
	if v.Done >= len(v.Days) {
		return Date{}
	}
	return v.Days[v.Done]
}
