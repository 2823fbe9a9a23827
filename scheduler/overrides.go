package scheduler

import (
	"context"
	"fmt"
	"slices"

	"laycast/job"
	"laycast/scheduler/call"
)

// What the owner wants comes before what the plan would gain, and never before
// a rule or a call: a pinned day with a no-go is a no-go, and the job is free
// again.

// Pin has the next visit of a job begin on a day, with a crew ("": any that
// can). It takes the place of an earlier pin.
func (s *Scheduler) Pin(ctx context.Context, firm, id string, d job.Date, crew string) error {
	return s.changeJob(ctx, firm, id, func(w *work, b job.Booking) error {
		if err := w.canPin(b, d, crew); err != nil {
			return err
		}
		b.Pinned = job.Pin{Day: d, Crew: crew}
		w.setBooking(b)
		for _, v := range append([]job.Visit{}, w.book.Visits...) {
			if v.Job == id && v.Declined { // the pin is the date that was to be settled
				v.Declined = false
				w.setVisit(v)
			}
		}
		return nil
	})
}

// Unpin lets the plan choose the day again.
func (s *Scheduler) Unpin(ctx context.Context, firm, id string) error {
	return s.changeJob(ctx, firm, id, func(w *work, b job.Booking) error {
		if b.Pinned.Day.IsZero() {
			return fmt.Errorf("job %s is not pinned to a day", id)
		}
		b.Pinned = job.Pin{}
		w.setBooking(b)
		return nil
	})
}

// Forbid keeps a job off a day.
func (s *Scheduler) Forbid(ctx context.Context, firm, id string, d job.Date) error {
	return s.changeJob(ctx, firm, id, func(w *work, b job.Booking) error {
		switch {
		case !d.After(w.today()):
			return fmt.Errorf("%s is not ahead: forbid a day from tomorrow on", d.Words())
		case b.Pinned.Day == d:
			return fmt.Errorf("job %s is pinned to %s; unpin it first", id, d.Words())
		}
		for _, v := range w.book.Visits {
			if v.Job == id && v.On(d) && (v.Done > 0 || w.called(id, v.First())) {
				return fmt.Errorf("the crew is called to job %s for %s; hold the job to call it off", id, d.Words())
			}
		}
		b.Forbidden = slices.DeleteFunc(slices.Clone(b.Forbidden), func(x job.Date) bool { return x == d || x.Before(w.today()) })
		b.Forbidden = append(b.Forbidden, d)
		slices.SortFunc(b.Forbidden, func(x, y job.Date) int { return x.DaysSince(y) })
		w.setBooking(b)
		return nil
	})
}

// Allow takes back that a day was forbidden.
func (s *Scheduler) Allow(ctx context.Context, firm, id string, d job.Date) error {
	return s.changeJob(ctx, firm, id, func(w *work, b job.Booking) error {
		if !b.Forbids(d) {
			return fmt.Errorf("you did not forbid %s for job %s; a date of the order itself is changed by taking the job in again", d.Words(), id)
		}
		b.Forbidden = slices.DeleteFunc(slices.Clone(b.Forbidden), func(x job.Date) bool { return x == d })
		w.setBooking(b)
		return nil
	})
}

// AskFirst says whether a new date of a job is told only with the owner's yes.
func (s *Scheduler) AskFirst(ctx context.Context, firm, id string, ask bool) error {
	return s.changeJob(ctx, firm, id, func(w *work, b job.Booking) error {
		b.AskFirst = ask
		w.setBooking(b)
		return nil
	})
}

// canPin says why a job cannot be pinned to a day and a crew; nil where it can.
func (w *work) canPin(b job.Booking, d job.Date, crew string) error {
	free, err := w.free()
	if err != nil {
		return err
	}
	for _, v := range w.book.Visits {
		switch open := v.Job == b.ID && (v.State == job.Planned || v.State == job.Started); {
		case open && v.Done > 0:
			return fmt.Errorf("the crew is at work on job %s, which goes on from day to day", b.ID)
		case open && v.First() != d && w.called(b.ID, v.First()):
			return fmt.Errorf("the crew is called to job %s for %s; hold the job to call it off", b.ID, v.First().Words())
		}
	}
	switch {
	case d.Before(free):
		return fmt.Errorf("%s cannot be planned any more; pin a day from %s on", d.Words(), free.Words())
	case !w.book.Firm.Work.Working(d):
		return fmt.Errorf("nobody works on %s", d.Words())
	case b.Forbids(d):
		return fmt.Errorf("you forbade %s for job %s; allow it first", d.Words(), b.ID)
	case barred(b, d):
		return fmt.Errorf("%s does not suit the order of job %s: %s", d.Words(), b.ID, barredWords(b, d))
	}
	able := false
	for _, k := range w.book.Crews {
		if crew != "" && k.ID != crew {
			continue
		}
		switch {
		case !k.Has(b.Skill):
			err = fmt.Errorf("crew %s has not the skill %q that job %s needs", k.Name, b.Skill, b.ID)
		case k.Away(d):
			err = fmt.Errorf("crew %s is away on %s", k.Name, d.Words())
		default:
			able = true
		}
	}
	switch {
	case able:
		return nil
	case crew == "":
		return fmt.Errorf("no crew that could do job %s is there on %s", b.ID, d.Words())
	case err != nil:
		return err
	}
	return fmt.Errorf("there is no crew %q", crew)
}

// barredWords says why a job may not be worked on at d; "" where it may.
func barredWords(b job.Booking, d job.Date) string {
	switch {
	case b.Forbids(d):
		return "you forbade it"
	case d.Before(b.Earliest):
		return "it may not begin before " + b.Earliest.Words()
	case !b.Deadline.IsZero() && d.After(b.Deadline) && b.LaidM2 == 0:
		return "it has to be laid by " + b.Deadline.Words()
	case slices.Contains(b.Blackout, d) || b.Unsuits(d):
		return "it does not suit the customer"
	}
	return ""
}

// called reports whether a call that is not a no-go stands for a job on d.
func (w *work) called(id string, d job.Date) bool {
	k := w.standing(id, d)
	return !d.IsZero() && k != nil && k.Outcome != call.NoGo
}

// pinned reports whether the owner's pin holds: its day is still to be planned,
// and was not called off.
func (p *planner) pinned(b job.Booking) bool {
	d := b.Pinned.Day
	if d.IsZero() || d.Before(p.free) {
		return false
	}
	k := p.w.standing(b.ID, d)
	return k == nil || k.Outcome != call.NoGo
}
