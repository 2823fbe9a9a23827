package replay

import (
	"context"
	"fmt"
	"slices"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/job/aslaid"
	"laycast/notify"
	"laycast/scheduler"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
	"laycast/scheduler/task"
)

// store is a firm's book in memory, as scheduler.Store wants it: one firm, one
// taker, no messages to deliver. It thins the hourly fetches out to those that
// come before a decision.
type store struct {
	firm   job.Firm
	zone   *time.Location
	crews  []job.Crew
	jobs   []job.Booking
	visits []job.Visit // ended ones too
	calls  []call.Call
	week   *plan.Week
	runs   map[forecast.Endpoint]map[forecast.Cell]forecast.Run
	tasks  []task.Task
	states []ledger.SourceState
	old    []forecast.Run // of the last days, to learn from
	skill  map[forecast.Cell]ledger.CellStats

	// wrote hears of every decision before it is written.
	wrote func(d ledger.Decision)
}

var _ scheduler.Store = (*store)(nil)

func newStore(s *Season) *store {
	return &store{skill: map[forecast.Cell]ledger.CellStats{}, firm: s.Firm, zone: s.Zone, crews: s.Crews, runs: map[forecast.Endpoint]map[forecast.Cell]forecast.Run{
		forecast.Deterministic: {}, forecast.Ensemble: {},
	}, wrote: func(ledger.Decision) {}}
}

// book puts a new job in.
func (m *store) book(j job.Job) {
	m.jobs = append(m.jobs, job.Booking{Job: j, Revision: 1, State: job.Booked, NextVisit: 1})
	m.visits = append(m.visits, job.Visit{Job: j.ID, N: 1, State: job.Planned})
}

func (m *store) booking(id string) *job.Booking {
	i := slices.IndexFunc(m.jobs, func(b job.Booking) bool { return b.ID == id })
	return &m.jobs[i]
}

func (m *store) visit(id string, n int) *job.Visit {
	i := slices.IndexFunc(m.visits, func(v job.Visit) bool { return v.Job == id && v.N == n })
	if i < 0 {
		return nil
	}
	return &m.visits[i]
}

// Book gives the book as a decision reads it.
func (m *store) Book(_ context.Context, _ string, callsFrom job.Date) (ledger.Book, error) {
	b := ledger.Book{Firm: m.firm, Revision: 1, Life: ledger.Virtual, Crews: m.crews, Jobs: slices.Clone(m.jobs), Week: m.week}
	for _, v := range m.visits {
		if v.State == job.Planned || v.State == job.Started {
			b.Visits = append(b.Visits, v)
		}
	}
	slices.SortFunc(b.Visits, func(x, y job.Visit) int {
		if x.Job != y.Job {
			return compare(x.Job, y.Job)
		}
		return x.N - y.N
	})
	for _, c := range m.calls {
		if !c.Date.Before(callsFrom) {
			b.Calls = append(b.Calls, c)
		}
	}
	return b, nil
}

func compare(a, b string) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// Commit writes a decision.
func (m *store) Commit(_ context.Context, d ledger.Decision) error {
	m.wrote(d)
	if d.Week != nil {
		m.week = d.Week
	}
	for _, b := range d.Bookings {
		*m.booking(b.ID) = b
	}
	for _, v := range d.Visits {
		if old := m.visit(v.Job, v.N); old != nil {
			*old = v
		} else {
			m.visits = append(m.visits, v)
		}
	}
	for _, c := range d.Calls {
		same := func(x call.Call) bool { return x.Job == c.Job && x.Date == c.Date && x.Occasion == c.Occasion }
		if !slices.ContainsFunc(m.calls, same) {
			m.calls = append(m.calls, c)
		}
	}
	for _, r := range d.Runs {
		m.runs[r.Endpoint][r.Cell] = r
		m.old = append(slices.DeleteFunc(m.old, func(x forecast.Run) bool { return x.LastSeen.Before(d.Now.AddDate(0, 0, -oldDays)) }), r)
	}
	for _, x := range d.Skill {
		m.skill[x.Cell] = x
	}
	for _, st := range d.Sources {
		m.states = slices.DeleteFunc(m.states, func(x ledger.SourceState) bool { return x.Endpoint == st.Endpoint })
		m.states = append(m.states, st)
	}
	for i := range m.tasks {
		t := &m.tasks[i]
		if t.Name == d.Task.Name && d.Task.Name != "" {
			*t = m.thin(d.Next, d.Now)
		}
		for _, a := range d.Arm {
			if t.Name == a.Name && a.Due.Before(t.Due) {
				*t = a
			}
		}
	}
	return nil
}

// thin puts a regular fetch off until the next that comes before a decision.
func (m *store) thin(t task.Task, now time.Time) task.Task {
	if t.Name != task.FetchForecast && t.Name != task.FetchEnsemble || t.Tries > 0 {
		return t
	}
	times := []job.TimeOfDay{morningFetch, eveningFetch}
	if t.Name == task.FetchForecast {
		times = append(times, recordFetch)
	}
	today := job.DateOf(now.In(m.zone))
	for _, d := range []job.Date{today, today.AddDays(1)} {
		for _, at := range times {
			if due := job.Instant(d, at, m.zone); due.After(now) {
				t.Due, t.Slot = due, due
				return t
			}
		}
	}
	return t
}

// Runs gives the newest runs of cells.
func (m *store) Runs(_ context.Context, _ string, cells []forecast.Cell) ([]forecast.Run, error) {
	var out []forecast.Run
	for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
		for _, c := range cells {
			if r, ok := m.runs[ep][c]; ok {
				out = append(out, r)
			}
		}
	}
	return out, nil
}

// oldDays is how long runs are kept to learn from, as the daemon keeps them.
const oldDays = 12

// Skill gives what was learned so far.
func (m *store) Skill(_ context.Context, _ string, cells []forecast.Cell) ([]ledger.CellStats, error) {
	var out []ledger.CellStats
	for _, c := range cells {
		if x, ok := m.skill[c]; ok {
			out = append(out, x)
		}
	}
	return out, nil
}

// RunsAt gives the runs that stood at a moment.
func (m *store) RunsAt(_ context.Context, _ string, cell forecast.Cell, at, since time.Time) ([]forecast.Run, error) {
	var out []forecast.Run
	for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
		best := -1
		for i, r := range m.old {
			if r.Endpoint == ep && r.Cell == cell && !r.FirstSeen.After(at) && !r.LastSeen.Before(since) && (best < 0 || !r.FirstSeen.Before(m.old[best].FirstSeen)) {
				best = i
			}
		}
		if best >= 0 {
			out = append(out, m.old[best])
		}
	}
	return out, nil
}

// Heads gives the newest runs of cells; that their hours are with them does no
// harm here.
func (m *store) Heads(ctx context.Context, _ []string, cells []forecast.Cell) ([]forecast.Run, error) {
	return m.Runs(ctx, "", cells)
}

// RefusedCells gives none: the record answers for every cell.
func (m *store) RefusedCells(context.Context) ([]ledger.RefusedCell, error) { return nil, nil }

// Reserve lets every request through.
func (m *store) Reserve(context.Context, ledger.Request) (time.Time, error) {
	return time.Time{}, nil
}

// Chances gives none: scores are not kept, so that chances stay what the
// members say.
func (m *store) Chances(context.Context, string, string, []forecast.Cell, ledger.ChanceState, job.Date, job.Date) ([]ledger.Chance, error) {
	return nil, nil
}

// Tallies gives none.
func (m *store) Tallies(context.Context, string, job.Date) ([]ledger.Tally, error) { return nil, nil }

// Recal gives a recalibration that changes nothing.
func (m *store) Recal(context.Context, string) (ledger.Recal, error) { return ledger.Recal{}, nil }

// SourceStates gives how the source is doing.
func (m *store) SourceStates(context.Context) ([]ledger.SourceState, error) { return m.states, nil }

// Prune has nothing to do: one run of each cell is kept.
func (m *store) Prune(context.Context, time.Time) (int, error) { return 0, nil }

// ForgetSignIns has nothing to do: nobody signs in.
func (m *store) ForgetSignIns(context.Context, string, time.Time) error { return nil }

// SeedTasks takes the tasks that decide anything; mails to the owner, warnings
// that nobody reads and the check that mails arrived decide nothing, and chances are not scored.
func (m *store) SeedTasks(_ context.Context, ts []task.Task) error {
	for _, t := range ts {
		switch t.Name {
		case task.WeekMail, task.Watch, task.Record, task.Absence, task.Prune, task.Score:
			continue
		}
		m.tasks = append(m.tasks, t)
	}
	far := m.tasks[0].Due.AddDate(10, 0, 0)
	m.tasks = append(m.tasks, task.Task{Firm: m.firm.UID, Name: task.Replan, Due: far, Slot: far})
	slices.SortFunc(m.tasks, func(a, b task.Task) int { return task.Rank(a.Name) - task.Rank(b.Name) })
	return nil
}

// ClaimTask gives the first task that is due.
func (m *store) ClaimTask(_ context.Context, _ string, now time.Time, _ time.Duration) (task.Task, bool, error) {
	best := -1
	for i, t := range m.tasks {
		if !t.Due.After(now) && (best < 0 || t.Due.Before(m.tasks[best].Due)) {
			best = i
		}
	}
	if best < 0 {
		return task.Task{}, false, nil
	}
	return m.tasks[best], true, nil
}

// CutLeases has nothing to cut: nothing is leased.
func (m *store) CutLeases(context.Context, string, time.Time) error { return nil }

// NextDue gives when there is something to do.
func (m *store) NextDue(context.Context, string) (time.Time, bool, error) {
	if len(m.tasks) == 0 {
		return time.Time{}, false, nil
	}
	due := m.tasks[0].Due
	for _, t := range m.tasks {
		if t.Due.Before(due) {
			due = t.Due
		}
	}
	return due, true, nil
}

// ClaimMessage finds nothing: mails are composed and go nowhere.
func (m *store) ClaimMessage(context.Context, string, time.Time, time.Duration) (notify.Message, bool, error) {
	return notify.Message{}, false, nil
}

var errNoMail = fmt.Errorf("the rolling benchmark delivers no mail")

// BeginMessage is never reached.
func (m *store) BeginMessage(context.Context, notify.Message, time.Time) error { return errNoMail }

// SettleMessage is never reached.
func (m *store) SettleMessage(context.Context, notify.Message) error { return errNoMail }

// ExpireMessages finds nothing.
func (m *store) ExpireMessages(context.Context, string, time.Time) (int, error) { return 0, nil }

// Messages gives none: only the absence check asks, and it is not run.
func (m *store) Messages(context.Context, string) ([]notify.Message, error) { return nil, nil }

// JobChances gives none.
func (m *store) JobChances(context.Context, string, string) ([]ledger.Chance, error) { return nil, nil }

// Records gives none.
func (m *store) Records(context.Context, string, string) ([]aslaid.Row, error) { return nil, nil }

// Recorded gives none: no record is closed.
func (m *store) Recorded(context.Context, string, job.Date) (map[string][]job.Date, error) {
	return nil, nil
}

// Photos gives none.
func (m *store) Photos(context.Context, string, string, job.Date) ([]aslaid.Photo, error) {
	return nil, nil
}
