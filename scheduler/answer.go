package scheduler

import (
	"context"
	"fmt"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/ledger"
)

// AnswerMove records the owner's answer about one new date that waits: yes tells
// it, no leaves it untold, and the owner settles a date with the customer. to is
// the new date that the owner saw; where the plan has moved on, nothing is done
// and the error says so.
func (s *Scheduler) AnswerMove(ctx context.Context, firm, id string, to job.Date, yes bool) error {
	return s.change(ctx, firm, func(w *work) error {
		for _, v := range append([]job.Visit{}, w.book.Visits...) {
			if v.Job != id || !ledger.MoveAsked(v, w.today()) || v.First() != to {
				continue
			}
			v.Approved, v.Declined = yes, !yes
			w.setVisit(v)
			if yes {
				w.tellDates()
			}
			return w.publish()
		}
		return fmt.Errorf("no new date of job %s to %s waits for an answer any more; look again", id, to.Words())
	})
}

// Outlook judges the first day still to come of every visit of the plan in
// force, by the newest forecast: by job. A day without a forecast is known by
// nothing (rules.Day.Known).
func (s *Scheduler) Outlook(ctx context.Context, firm string) (map[string]rules.Day, error) {
	w, issues, err := s.looking(ctx, firm, func(job.Booking) bool { return true })
	if err != nil {
		return nil, err
	}
	out := map[string]rules.Day{}
	if w.book.Week == nil {
		return out, nil
	}
	for _, v := range w.book.Week.Visits {
		j, ok := w.booking(v.Job)
		if !ok {
			continue
		}
		for _, d := range v.Days {
			if d.Before(w.today()) {
				continue
			}
			day, err := s.Judge(w.book.Firm, w.underWay(j, d), w.crew(v.Crew).Size, d, issues[CellOf(j.Site)], w.now)
			if err != nil {
				return nil, err
			}
			out[v.Job] = day
			break
		}
	}
	return out, nil
}
