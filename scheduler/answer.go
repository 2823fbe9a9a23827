package scheduler

import (
	"context"
	"fmt"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
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
	now := s.Clock.Now()
	b, err := s.Store.Book(ctx, firm, job.DateOf(now.UTC()).AddDays(-keepCalls))
	if err != nil {
		return nil, fmt.Errorf("read the book of %s: %w", firm, err)
	}
	out := map[string]rules.Day{}
	if b.Week == nil {
		return out, nil
	}
	w, err := s.open(b, task.Task{Firm: firm, Name: task.Replan, Due: now, Slot: now}, now)
	if err != nil {
		return nil, err
	}
	issues, err := s.Issues(ctx, b.Jobs, now, w.zone)
	if err != nil {
		return nil, err
	}
	for _, v := range b.Week.Visits {
		j, ok := w.booking(v.Job)
		if !ok {
			continue
		}
		for _, d := range v.Days {
			if d.Before(w.today()) {
				continue
			}
			day, err := s.Judge(b.Firm, w.underWay(j, d), w.crew(v.Crew).Size, d, issues[CellOf(j.Site)], now)
			if err != nil {
				return nil, err
			}
			out[v.Job] = day
			break
		}
	}
	return out, nil
}
