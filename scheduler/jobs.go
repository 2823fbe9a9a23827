package scheduler

import (
	"context"
	"fmt"
	"strings"
	"time"

	"laycast/job"
	"laycast/scheduler/call"
)

// Hold keeps a job out of the plan, and says why. A date that was told is taken
// back.
func (s *Scheduler) Hold(ctx context.Context, firm, id, reason string) error {
	return s.changeJob(ctx, firm, id, func(w *work, b job.Booking) error {
		if strings.TrimSpace(reason) == "" {
			return fmt.Errorf("say why job %s is held", id)
		}
		b.Held = reason
		w.setBooking(b)
		w.takeBack(b, "")
		return nil
	})
}

// Release puts a held job back into the plan; it also answers a question about
// how its last day went with "not laid".
func (s *Scheduler) Release(ctx context.Context, firm, id string) error {
	return s.changeJob(ctx, firm, id, func(w *work, b job.Booking) error {
		if b.HoldReason != "" {
			return fmt.Errorf("job %s is held by its import (%s); take it in again without hold_reason", id, b.HoldReason)
		}
		asked := b.Asked
		b.Held, b.Asked = "", false
		w.setBooking(b)
		for _, v := range append([]job.Visit{}, w.book.Visits...) {
			if v.Job != id {
				continue
			}
			v.Declined = false
			w.setVisit(v)
			if asked && !v.First().IsZero() && !v.First().After(w.today()) {
				w.end(v, v.First(), "The job is planned again.")
			}
		}
		return nil
	})
}

// Done records that a job is finished.
func (s *Scheduler) Done(ctx context.Context, firm, id string) error {
	return s.changeJob(ctx, firm, id, func(w *work, b job.Booking) error {
		b.State, b.Asked = job.Done, false
		b.LaidM2, b.CoatedM2 = b.Roof.AreaM2, b.Roof.AreaM2
		b.Closed = job.Closing{} // a crew's late word changes nothing any more
		w.setBooking(b)
		for _, v := range append([]job.Visit{}, w.book.Visits...) {
			if v.Job != id || v.State != job.Planned && v.State != job.Started {
				continue
			}
			v.State = job.Finished
			for v.Done < len(v.Days) && !v.Days[v.Done].After(w.today()) {
				v.Done++
			}
			v.Days = v.Days[:v.Done]
			w.setVisit(v)
		}
		return nil
	})
}

// Cancel ends a job that will not be laid. Its customer hears once, where a
// week or a date was told; a crew that was sent or held hears too.
func (s *Scheduler) Cancel(ctx context.Context, firm, id string) error {
	return s.changeJob(ctx, firm, id, func(w *work, b job.Booking) error {
		b.State = job.Cancelled
		w.setBooking(b)
		w.takeBack(b, "The job was cancelled.")
		for _, v := range append([]job.Visit{}, w.book.Visits...) {
			if v.Job == id && (v.State == job.Planned || v.State == job.Started) {
				v.State = job.Off
				w.setVisit(v)
			}
		}
		return nil
	})
}

// changeJob changes one job that is booked, plans anew and tells what follows.
func (s *Scheduler) changeJob(ctx context.Context, firm, id string, do func(w *work, b job.Booking) error) error {
	return s.change(ctx, firm, func(w *work) error {
		b, ok := w.booking(id)
		if !ok {
			return fmt.Errorf("there is no job %q; laycast job list shows all", id)
		}
		if b.State != job.Booked {
			return fmt.Errorf("job %s is %s already", id, b.State)
		}
		if err := do(w, b); err != nil {
			return err
		}
		if err := w.replan(ctx); err != nil {
			return err
		}
		w.tellDates()
		return w.publish()
	})
}

// takeBack takes a job's days from today on out of the plan, and what was told
// of them back.
func (w *work) takeBack(b job.Booking, why string) {
	for _, v := range append([]job.Visit{}, w.book.Visits...) {
		if v.Job != b.ID || v.State != job.Planned && v.State != job.Started {
			continue
		}
		w.callOff(v, b, why)
		l := w.letter(v, b)
		l.Was, l.Why = v.Told, why
		if l.Was.IsZero() || l.Was.Before(w.today()) {
			l.Was, l.WasWeek = v.ToldWeek, true
		}
		perhaps := v.Told != v.StandBy && !v.StandBy.Before(w.today()) && v.On(v.StandBy)
		if perhaps {
			l.Was, l.WasWeek = v.StandBy, false
		}
		v.Days, v.Crew = append([]job.Date{}, v.Days[:v.Done]...), ""
		if !l.Was.IsZero() && !l.Was.AddDays(6).Before(w.today()) {
			if !perhaps { // that was no date told
				v.Moves++
			}
			l.Visit, l.Invitation = v, w.uninvite(&v, b)
			m, err := w.say.DateCancelled(l)
			w.postTo(&v, b, m, err, l.Was)
		}
		v.Told, v.ToldWeek, v.ToldAt, v.StandBy = job.Date{}, job.Date{}, time.Time{}, job.Date{}
		w.setVisit(v)
	}
}

// callOff withdraws a go or a hold that stands for today or later: the crew
// must not drive there.
func (w *work) callOff(v job.Visit, b job.Booking, why string) {
	if why == "" {
		why = "The job is on hold."
	}
	if first := v.First(); !first.IsZero() {
		w.withdraw(v, b, first, why)
	}
}

// withdraw makes a no-go of the go or hold that stands for a day of a visit, today or
// later, and tells the crew. It gives both calls, nil where none stood.
func (w *work) withdraw(v job.Visit, b job.Booking, d job.Date, why string) (now, before *call.Call) {
	k := w.standing(v.Job, d)
	if d.Before(w.today()) || k == nil || k.Outcome == call.NoGo {
		return nil, nil
	}
	was := *k
	c := was
	c.Occasion = call.Occasion(fmt.Sprintf("change-%d", 1+w.changes(v.Job, d)))
	c.Outcome, c.Made, c.Late = call.NoGo, w.now, false
	c.Reasons = []string{why}
	// no forecast decided it, so none is held up as its reason
	c.Known, c.Blind, c.Chance, c.Full, c.RainOpen, c.Failing = false, false, 0, 0, 0, nil
	crew := w.crew(c.Crew)
	l := w.callLetter(c, &was, b, w.bayOf(b, v, d))
	l.Thread = w.crewThread(c)
	w.addCall(c)
	m, err := w.say.SecondLook(l)
	w.post(m, err, crew.Email, c.Job, c.Date)
	return &c, &was
}

// standDown withdraws what was called for the days of a visit after d, when d ended
// otherwise than the call took for granted. The crew hears it, and a customer who
// expects it. It gives v with what the letters changed.
func (w *work) standDown(v job.Visit, d job.Date, why string) job.Visit {
	b, ok := w.booking(v.Job)
	if !ok {
		return v
	}
	for _, day := range v.Days {
		if !day.After(d) {
			continue
		}
		known := w.knows(v, day)
		if c, before := w.withdraw(v, b, day, why); c != nil {
			w.tellCustomerWhy(*c, before, b, w.bayOf(b, v, day), known, "The day before did not go as planned.")
		}
	}
	if now, ok := w.visit(v.Job, v.N); ok {
		v.Thread, v.Invited = now.Thread, now.Invited
	}
	return v
}

// changes counts the calls for a job and day that changed an earlier one.
func (w *work) changes(id string, d job.Date) int {
	n := 0
	for _, k := range w.book.Calls {
		if k.Job == id && k.Date == d && strings.HasPrefix(string(k.Occasion), "change-") {
			n++
		}
	}
	return n
}
