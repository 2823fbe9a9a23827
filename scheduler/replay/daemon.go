package replay

import (
	"context"
	"fmt"
	"slices"
	"strconv"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/scheduler"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// When forecasts are fetched: before the second look, before the call, and
// once the day is over, so that closing it finds the record.
const (
	morningFetch job.TimeOfDay = 5*60 + 15
	eveningFetch job.TimeOfDay = 17*60 + 15
	recordFetch  job.TimeOfDay = 21*60 + 15
	arrivalsAt   job.TimeOfDay = 5 * 60
)

const sourceName = "replay"

// Firm gives the firm of the benchmark: every setting at its default, save
// that the day is closed when its last hour is on record.
func Firm(zone string) job.Firm {
	f := job.DefaultFirm()
	f.UID, f.Name, f.Zone, f.Email = "replay", "Replay", zone, "office@replay.example"
	f.Times.Close = "30 21 * * *"
	return f
}

// daemon is one life of the scheduler through a season.
type daemon struct {
	s      *Season
	m      *store
	truth  *truth
	clock  *scheduler.VirtualClock
	sched  *scheduler.Scheduler
	diary  *diary
	going  []trip // sent today, not closed
	spent  *spending
	differ int // days on which the daemon closed otherwise than the record says
}

// trip is a visit whose crew goes today.
type trip struct {
	visit job.Visit
	call  call.Call
	was   job.Booking
}

// liveThrough has the daemon live through the season, as p says. One that knows is told
// the weather, and that every crew works at the middle pace: a forecast that left the
// crews' hours open would not be perfect.
func liveThrough(ctx context.Context, s *Season, p Policy, tick func()) (*daemon, error) {
	from, knows := source{s.Weather, s.Calibrated}, p == Knowing
	if knows {
		from = source{knower{s.Weather}, true}
	}
	if p == Bold {
		s = s.bold()
	}
	begin := job.Instant(s.From, arrivalsAt, s.Zone)
	d := &daemon{s: s, m: newStore(s), truth: newTruth(s), clock: scheduler.NewVirtualClock(begin), diary: newDiary(), spent: newSpending()}
	d.sched = scheduler.New(scheduler.Config{
		Store: d.m, Sources: []scheduler.NamedSource{{Source: from, Name: sourceName}}, Clock: d.clock,
		From: "Replay <office@replay.example>", Owner: scheduler.OwnerYes, MiddlePace: knows, Log: zerolog.Nop(),
	})
	d.m.wrote = d.wrote
	next := d.arrive(0, s.From)
	if err := d.sched.Seed(ctx, s.Firm, begin); err != nil {
		return nil, err
	}
	for day := s.From; !day.After(s.Last()); day = day.AddDays(1) {
		next = d.arrive(next, day)
		if err := d.answer(ctx); err != nil {
			return nil, err
		}
		to := job.Instant(day.AddDays(1), arrivalsAt, s.Zone)
		if err := d.sched.Rehearse(ctx, s.Firm.UID, d.clock, to); err != nil {
			return nil, fmt.Errorf("%s, %s: %w", s.Name, day, err)
		}
		tick()
	}
	return d, nil
}

// arrive books the jobs of a day.
func (d *daemon) arrive(next int, day job.Date) int {
	for next < len(d.s.Jobs) && !d.s.Jobs[next].On.After(day) {
		d.m.book(d.s.Jobs[next].Job)
		next++
	}
	return next
}

// answer plays the owner who is asked how a day went that the record does not
// know: it was not laid.
func (d *daemon) answer(ctx context.Context) error {
	for _, b := range slices.Clone(d.m.jobs) {
		if b.Asked {
			if err := d.sched.Release(ctx, d.s.Firm.UID, b.ID); err != nil {
				return err
			}
		}
	}
	return nil
}

// wrote reads a decision for what customers were told and where crews went.
func (d *daemon) wrote(x ledger.Decision) {
	today := job.DateOf(x.Now.In(d.s.Zone))
	for _, c := range x.Calls {
		v := d.m.visit(c.Job, c.Visit)
		if c.Outcome == call.NoGo && v != nil && v.Told == c.Date {
			d.diary.broke(c.Job, number(v.N), today, true)
		}
	}
	for _, v := range x.Visits {
		old := d.m.visit(v.Job, v.N)
		was := job.Date{}
		if old != nil {
			was = old.Told
		}
		if v.StandBy == today.AddDays(1) && (old == nil || old.StandBy != v.StandBy) {
			d.diary.standBys = append(d.diary.standBys, standBy{v.Job, v.StandBy})
		}
		switch {
		case v.Told == was:
		case v.Told.IsZero():
			d.diary.broke(v.Job, number(v.N), today, false)
		default:
			d.diary.told(v.Job, number(v.N), v.Told, today)
		}
	}
	switch x.Task.Name {
	case task.Call:
		d.spent.called(d, x, today.AddDays(1))
	case task.SecondLook:
		d.depart(x, today)
	case task.Close:
		d.comeHome(x, today)
	}
}

func number(n int) string { return "/" + strconv.Itoa(n) }

// depart notes which crews go today, as the second look leaves it.
func (d *daemon) depart(x ledger.Decision, today job.Date) {
	calls := slices.Concat(d.m.calls, x.Calls)
	for _, v := range d.m.visits {
		if !v.On(today) {
			continue
		}
		var last *call.Call
		for i := range calls {
			if calls[i].Job == v.Job && calls[i].Date == today {
				last = &calls[i]
			}
		}
		if last != nil && last.Outcome == call.Go {
			d.going = append(d.going, trip{visit: v, call: *last, was: *d.m.booking(v.Job)})
		}
	}
}

// comeHome writes down how the day went, as it was closed.
func (d *daemon) comeHome(x ledger.Decision, today job.Date) {
	for _, t := range d.going {
		b := t.was
		for _, y := range x.Bookings {
			if y.ID == b.ID {
				b = y
			}
		}
		start := t.call.Start
		if start.IsZero() {
			start = job.Instant(today, t.visit.Start, d.s.Zone)
		}
		o := d.truth.outturn(t.was, today, start)
		o.chance, o.chanceFull = t.call.Chance, t.call.Full
		sealed := b.LaidM2 > t.was.LaidM2 || b.CoatedM2 > t.was.CoatedM2
		if sealed != o.sealed || sealed && o.full != (b.CoatedM2 > t.was.CoatedM2) {
			d.differ++
		}
		o.sealed, o.full = sealed, b.CoatedM2 > t.was.CoatedM2
		d.diary.went(b.ID, number(t.visit.N), t.visit.Crew, today, t.visit.Slot, o, b)
	}
	d.going = nil
	d.spent.closed(d, today)
}
