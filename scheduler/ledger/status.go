package ledger

import (
	"time"

	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/task"
)

// Status is how a whole database stands at one moment, in counts alone: it
// names no firm and nobody. Work and messages are those of firms on the real
// clock, or of the one firm that was asked about.
type Status struct {
	Firms    map[Life]int
	Tasks    map[task.Name]TaskCount
	Open     map[notify.State]int // messages that are pending or begun
	Settled  map[notify.State]int // messages settled within the last day
	Waiting  time.Time            // since when the open message that has waited longest could have gone; zero: none waits
	Calls    []CallCount          // for days from yesterday (UTC) on
	Sources  []SourceState
	Spending []Spending
}

// TaskCount is how the tasks of one name stand.
type TaskCount struct {
	Due    int       // due and not done
	Late   int       // due for longer than LateAfter
	Failed int       // whose last try failed
	Oldest time.Time // when the one that has been due longest fell due; zero: none is due
}

// LateAfter is how long a due task may wait before it counts as late: twenty
// wakes of a daemon. Ours, no source.
const LateAfter = 5 * time.Minute

// CallCount is how many calls came to one outcome.
type CallCount struct {
	Occasion string // evening, second-look or change: a change has no number here
	Outcome  call.Outcome
	N        int
}

// Spending is what requests to a source have cost, in its own calls, in the
// minute, hour and day (UTC) of the moment asked about.
type Spending struct {
	Source            string
	Minute, Hour, Day float64
}
