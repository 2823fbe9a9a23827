// Package ledger says what one task reads from the book and what it writes
// back: the data that crosses the database's border. It is pure data.
package ledger

import (
	"errors"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/job/access"
	"laycast/job/aslaid"
	"laycast/notify"
	"laycast/notify/calendar"
	"laycast/scheduler/call"
	"laycast/scheduler/plan"
	"laycast/scheduler/task"
)

// ErrMoved says that the firm's revision is not the one that was read:
// somebody else wrote meanwhile; read again and compute again.
var ErrMoved = errors.New("the book changed while this was computed")

// ErrTaken says that something new bears an id that is there already.
var ErrTaken = errors.New("there is one of that id already")

// ErrLeaseLost says that the task or message is no longer held: its lease ran
// out and another took it, or it is settled.
var ErrLeaseLost = errors.New("the lease on this work was lost")

// Life says on which clock a firm lives.
type Life string

// The lives of a firm.
const (
	New     Life = "new"     // never ran
	Live    Life = "live"    // runs on the real clock
	Virtual Life = "virtual" // runs on a virtual clock, for ever
)

// Book is all that a decision needs to know about one firm, read in one
// snapshot.
type Book struct {
	Firm     job.Firm
	Revision int64
	Life     Life
	Mark     time.Time // virtual firms: how far their clock has come

	Crews  []job.Crew    // by id
	Jobs   []job.Booking // by id; cancelled and done ones too
	Visits []job.Visit   // by job, n; those that are Planned or Started
	Week   *plan.Week    // the plan in force, nil before the first
	Calls  []call.Call   // calls for days from the date asked for on, oldest first
	Diary  job.Diary     // what crews noted of the same days, in the order in which it came by job

	Links     []access.Link // every link of the firm, of its present generation
	Published []Published   // what calendars show of the visits
	Stopped   []Stopped     // who wants which mail no more
}

// Stopped is a mail that may be stopped, and was: by its kind and the reader's
// address in lower case.
type Stopped struct {
	Person string
	Kind   notify.Kind
	At     time.Time
}

// Decision is what one task writes, in one transaction: all of it or nothing.
type Decision struct {
	Firm     string
	Revision int64     // as read; 0: writes nothing that depends on the book
	Now      time.Time // by the injected clock; it is also the new mark

	Task task.Task   // the task that made it, with its lease; zero Name: none
	Next task.Task   // the same task's next state (Due, Slot, Tries, Note)
	Arm  []task.Task // tasks to be made due at Due unless they are due earlier

	Week     *plan.Week
	Bookings []job.Booking   // whose progress changed
	Visits   []job.Visit     // new or changed
	Calls    []call.Call     // new; one already there by (job, date, occasion) stays
	Diary    job.Diary       // new lines; one already there by its id stays
	Records  []aslaid.Record // to be closed; one of a job and day that is closed stays
	Messages []notify.Message
	Untold   []notify.Untold

	Links     []access.Link // new ones; one already there by (audience, id, purpose) stays
	Published []Published   // new or changed
	Dropped   job.Date      // not zero: published rows that are over before it go

	Runs    []forecast.Run // new ones, and old ones seen again
	Sources []SourceState
	Chances []Chance      // given, or given before and now scored or lost; see DB.Chances
	Recals  []Recal       // replace those fitted to earlier days
	Skill   []CellStats   // replaces what was learned up to an earlier day
	Refused []RefusedCell // new and changed; one whose Until is zero is forgotten
	Asked   *Request      // the request that was made under DB.Reserve: it is over
}

// SourceState is how one endpoint of one source is doing.
type SourceState struct {
	Source   string
	Endpoint forecast.Endpoint
	Failures int                  // in a row
	Since    time.Time            // first of them
	Until    time.Time            // blocked until then
	Kind     forecast.FailureKind // of the last failure, "" after a success
	Note     string               // last failure in words
	Tried    time.Time            // last attempt
	Good     time.Time            // last success
	// Most is how many cells may be asked for at once while one that the source
	// refuses is looked for; 0: as many as it takes.
	Most int
}

// CellStats is how a source's forecasts for a cell have erred.
type CellStats struct {
	Source string
	Cell   forecast.Cell
	Stats  skill.Stats
	// Over, where it is not zero, is the end of the record that these replace
	// though it may reach as far: one that was begun anew. Where another stands
	// by now, that stays.
	Over time.Time
}

// RefusedCell is a place that a source refuses by itself. The other places go on
// without it.
type RefusedCell struct {
	Source   string
	Endpoint forecast.Endpoint
	Cell     forecast.Cell
	Since    time.Time // first refused
	Until    time.Time // not asked for before
	Note     string    // what the source said
}

// Limits bound what requests to a source may cost in each minute, hour and day
// of UTC, in the source's own calls; zero is no bound.
type Limits struct{ Minute, Hour, Day float64 }

// Request is one request to a source: who makes it and what it costs.
type Request struct {
	Source string
	Firm   string
	Task   task.Name
	At     time.Time // when it is made
	Until  time.Time // by then it is over, or its maker is dead
	Cost   float64   // in the source's calls, to the hundredth
	Limits Limits
	Back   float64 // what of Cost was not used after all, known when it is over
}

// Published is what one reader's calendar shows of one visit: a row that is
// changed only when what the reader sees changes.
type Published struct {
	Job    string
	N      int
	Reader string // "customer", "owner" or "crew/ID"
	Person string // the customer's mail address, the crew's id, "" for the owner
	Digest string // of Event
	Over   job.Date
	Event  calendar.Event // its Sequence and ChangedAt are those of the row
}
