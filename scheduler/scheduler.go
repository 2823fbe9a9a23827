// Package scheduler runs laycast's background work: it fetches, plans, makes
// the calls and hands messages to their transport, each when it is due. What is
// due stands in the database; the clock is handed in; nothing waits in memory.
// It may import anything but web, db and cmd.
package scheduler

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/rs/zerolog"

	"laycast/forecast"
	"laycast/job"
	"laycast/job/aslaid"
	"laycast/notify"
	"laycast/rules"
	"laycast/rules/load"
	"laycast/scheduler/ledger"
	"laycast/scheduler/season"
	"laycast/scheduler/task"
)

// Clock tells the time: the real one, or a virtual one that stands still while
// a task runs.
type Clock interface{ Now() time.Time }

// Books reads and writes a firm's book.
type Books interface {
	Book(ctx context.Context, firm string, callsFrom job.Date) (ledger.Book, error)
	Commit(ctx context.Context, d ledger.Decision) error
}

// Weather reads the forecasts that are kept.
type Weather interface {
	Runs(ctx context.Context, source string, cells []forecast.Cell) ([]forecast.Run, error)
	Heads(ctx context.Context, sources []string, cells []forecast.Cell) ([]forecast.Run, error)
	Prune(ctx context.Context, before time.Time) (int, error)
}

// Doors keeps who came in by the firm's own pages.
type Doors interface {
	// ForgetSignIns deletes what is over of the firm's sign-ins and sessions.
	ForgetSignIns(ctx context.Context, firm string, now time.Time) error
}

// Asking keeps how the sources are doing and what requests to them cost.
type Asking interface {
	SourceStates(ctx context.Context) ([]ledger.SourceState, error)
	RefusedCells(ctx context.Context) ([]ledger.RefusedCell, error)
	Reserve(ctx context.Context, r ledger.Request) (wait time.Time, err error)
}

// Given reads the chances that were given, and what such chances have come to.
type Given interface {
	Chances(ctx context.Context, firm, source string, cells []forecast.Cell, state ledger.ChanceState, from, to job.Date) ([]ledger.Chance, error)
	Tallies(ctx context.Context, source string, from job.Date) ([]ledger.Tally, error)
	Recal(ctx context.Context, source string) (ledger.Recal, error)
}

// Past reads what was forecast and how that has erred.
type Past interface {
	Skill(ctx context.Context, source string, cells []forecast.Cell) ([]ledger.CellStats, error)
	RunsAt(ctx context.Context, source string, cell forecast.Cell, at, since time.Time) ([]forecast.Run, error)
}

// Tasks hands out due work.
type Tasks interface {
	SeedTasks(ctx context.Context, ts []task.Task) error
	ClaimTask(ctx context.Context, firm string, now time.Time, lease time.Duration) (task.Task, bool, error)
	NextDue(ctx context.Context, firm string) (time.Time, bool, error)
	// CutLeases lets no lease last beyond a time.
	CutLeases(ctx context.Context, firm string, until time.Time) error
}

// Outbox hands out messages.
type Outbox interface {
	ClaimMessage(ctx context.Context, firm string, now time.Time, lease time.Duration) (notify.Message, bool, error)
	BeginMessage(ctx context.Context, m notify.Message, now time.Time) error
	SettleMessage(ctx context.Context, m notify.Message) error
	ExpireMessages(ctx context.Context, firm string, now time.Time) (int, error)
}

// Told reads what was told to whom.
type Told interface {
	Messages(ctx context.Context, firm string) ([]notify.Message, error)
}

// Aslaid reads what belongs to the as-laid records.
type Aslaid interface {
	// Records gives the rows of a job's closed records, in order.
	Records(ctx context.Context, firm, job string) ([]aslaid.Row, error)
	// Recorded gives the days of each job, from a date on, whose record is closed.
	Recorded(ctx context.Context, firm string, from job.Date) (map[string][]job.Date, error)
	Photos(ctx context.Context, firm, job string, day job.Date) ([]aslaid.Photo, error)
	JobChances(ctx context.Context, firm, job string) ([]ledger.Chance, error)
}

// Store is the database as the scheduler sees it.
type Store interface {
	Books
	Weather
	Asking
	Given
	Past
	Tasks
	Outbox
	Told
	Aslaid
	Doors
}

// Transport delivers one message once. An error that is a *notify.Failure says
// what to do next; any other is tried again.
type Transport interface {
	Deliver(ctx context.Context, m notify.Message) error
}

// Config is what a Scheduler is made of.
type Config struct {
	Store     Store
	Sources   []NamedSource     // in order of preference, one at least
	Hooked    []notify.Audience // who is told by webhook too
	Transport Transport
	// Redo says that delivering the same message twice does no harm: the file
	// transport writes the same file again.
	Redo  bool
	Clock Clock
	From  string // "Name <address>" of every mail
	// Many says that many firms are served: each one's own name stands before the
	// address of From, and work that waits for a source spreads out.
	Many      bool
	PublicURL string
	LinkKey   []byte // the secret behind every link; nil: mails hold no links
	Owner     Owner  // how the owner answers in a rehearsal
	// MiddlePace says that every crew is known to work at the middle pace, as those of
	// the benchmark do. Elsewhere nobody knows: each member has a crew of its own.
	MiddlePace bool
	Profiles   rules.Profiles  // the firm's own laying limits, beside the built-in ones
	Season     *season.Outlook // laying days by month at the firm's place; nil: no record is at hand
	Materials  load.Materials  // what load lists and mix cards are reckoned from; without a name, mails have neither
	Log        zerolog.Logger
	// Wake is how often Serve looks at the clock; 0: every 15 s.
	Wake time.Duration
}

// Scheduler runs what is due. It holds no state but caches: deck conditions,
// and what chances have come to.
type Scheduler struct {
	Config
	grounds grounds
	recals  recals
	limits  limits
}

// New makes a Scheduler.
func New(c Config) *Scheduler {
	s := &Scheduler{Config: c}
	s.grounds.given.most = mostGiven
	return s
}

// leaseFor is how long a task or message may take before another process may
// take it over.
const leaseFor = 2 * time.Minute

// clocksDiffer is how far two daemons' clocks may lie apart (ours). A lease that
// lasts longer than any is given for was given by a clock that was ahead.
const clocksDiffer = time.Minute

// again bounds how often a task is computed anew because the book moved.
const again = 5

// Seed makes sure that every task of a firm stands in the database, first due
// after now.
func (s *Scheduler) Seed(ctx context.Context, f job.Firm, now time.Time) error {
	var ts []task.Task
	for _, n := range task.Names() {
		if n == task.Replan {
			continue // armed when there is something new to plan from
		}
		due, err := nextSlot(f, n, now.Add(-time.Second))
		if err != nil {
			return err
		}
		if n == task.FetchForecast || n == task.FetchEnsemble {
			due = now // a firm begins with a forecast
		}
		ts = append(ts, task.Task{Firm: f.UID, Name: n, Due: due, Slot: due})
	}
	if err := s.Store.SeedTasks(ctx, ts); err != nil {
		return fmt.Errorf("set up the tasks of %s: %w", f.UID, err)
	}
	return nil
}

// Step does one thing that is due for the firm ("" = any firm): a task, or the
// delivery of one message. It reports whether there was one.
func (s *Scheduler) Step(ctx context.Context, firm string) (bool, error) {
	if did, err := s.deliverOne(ctx, firm, s.Clock.Now()); did || err != nil {
		return did, err
	}
	_, did, err := s.stepTask(ctx, firm)
	return did, err
}

// stepTask does one task that is due. On an error it gives the task too, which
// is still leased.
func (s *Scheduler) stepTask(ctx context.Context, firm string) (t task.Task, did bool, err error) {
	t, ok, err := s.Store.ClaimTask(ctx, firm, s.Clock.Now(), leaseFor)
	if err != nil || !ok {
		return t, false, err
	}
	err = s.run(ctx, t)
	switch {
	case err == nil:
		return t, true, nil
	case errors.Is(err, ledger.ErrLeaseLost):
		s.Log.Warn().Str("task", string(t.Name)).Str("firm", t.Firm).Msg("another process took the task over")
		return t, true, nil
	case ctx.Err() != nil:
		return t, false, ctx.Err()
	}
	return t, true, fmt.Errorf("run %s of %s due %s: %w", t.Name, t.Firm, t.Due.UTC().Format(time.RFC3339), err)
}

// run computes outside and writes inside: when the book moved meanwhile it
// reads and computes again.
func (s *Scheduler) run(ctx context.Context, t task.Task) error {
	return s.insist(ctx, func() error {
		d, err := s.decide(ctx, t)
		if err != nil {
			return err
		}
		if err := s.Store.Commit(ctx, d); err != nil {
			return err
		}
		s.grounds.written.add(d.Chances)
		s.told(t, d)
		return nil
	})
}

// insist does something again while the book moves under it.
func (s *Scheduler) insist(ctx context.Context, do func() error) error {
	for try := 0; ; try++ {
		err := do()
		if !errors.Is(err, ledger.ErrMoved) || try == again || ctx.Err() != nil {
			return err
		}
	}
}

// told logs a decision by its keys.
func (s *Scheduler) told(t task.Task, d ledger.Decision) {
	for _, c := range d.Calls {
		s.Log.Info().Str("firm", t.Firm).Str("job", c.Job).Str("date", c.Date.String()).Str("occasion", string(c.Occasion)).
			Str("outcome", string(c.Outcome)).Msg("call made")
	}
	e := s.Log.Debug()
	if d.Next.Note != "" {
		e = s.Log.Warn().Str("note", d.Next.Note)
	}
	e.Str("firm", t.Firm).Str("task", string(t.Name)).Time("due", t.Due).Int("messages", len(d.Messages)).Time("next", d.Next.Due).Msg("task done")
}

// decide computes what one task writes.
func (s *Scheduler) decide(ctx context.Context, t task.Task) (ledger.Decision, error) {
	now := s.Clock.Now()
	// yesterday's calls still matter: a go that is not closed is under way
	from := job.DateOf(now.UTC()).AddDays(-keepCalls)
	if t.Name == task.Record {
		from = from.AddDays(-recordBack)
	}
	book, err := s.Store.Book(ctx, t.Firm, from)
	if first := firstOpen(book.Visits); err == nil && !first.IsZero() && first.Before(from) {
		book, err = s.Store.Book(ctx, t.Firm, first) // laycast was away for days
	}
	if err != nil {
		return ledger.Decision{}, fmt.Errorf("read the book of %s: %w", t.Firm, err)
	}
	w, err := s.open(book, t, now)
	if err != nil {
		return ledger.Decision{}, err
	}
	switch t.Name {
	case task.FetchForecast:
		err = w.fetch(ctx, forecast.Deterministic)
	case task.FetchEnsemble:
		err = w.fetch(ctx, forecast.Ensemble)
	case task.Replan:
		err = w.replanTask(ctx)
	case task.Tell:
		err = w.tell(ctx)
	case task.WeekMail:
		err = w.weekMail(ctx)
	case task.Call:
		err = w.evening(ctx)
	case task.SecondLook:
		err = w.secondLook(ctx)
	case task.Watch:
		err = w.watch(ctx)
	case task.Absence:
		err = w.absence(ctx)
	case task.Close:
		err = w.closeDay(ctx)
	case task.Unseen:
		w.unseen()
	case task.Record:
		err = w.closeRecords(ctx)
	case task.Score:
		err = w.score(ctx)
	case task.Learn:
		err = w.learn(ctx)
	case task.Prune:
		err = w.prune(ctx)
	default:
		err = fmt.Errorf("there is no task %q", t.Name)
	}
	return w.out, err
}

// keepCalls is how many days back a decision looks for calls that are not
// closed.
const keepCalls = 4
