package scheduler

import (
	"context"
	"fmt"
	"strings"

	"laycast/job"
	"laycast/scheduler/task"
)

// WhyNotTold says of each visit of a customer or crew (by mail address) what
// stands between it and word about a day: it looks at the book as it is now.
func (s *Scheduler) WhyNotTold(ctx context.Context, firm, email string, d job.Date) ([]string, error) {
	now := s.Clock.Now()
	b, err := s.Store.Book(ctx, firm, job.DateOf(now.UTC()).AddDays(-keepCalls))
	if err != nil {
		return nil, fmt.Errorf("read the book: %w", err)
	}
	w, err := s.open(b, task.Task{Firm: firm, Name: task.Tell, Due: now, Slot: now}, now)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, v := range b.Visits {
		j, ok := w.booking(v.Job)
		if !ok {
			continue
		}
		switch {
		case strings.EqualFold(j.Customer.Email, email):
			out = append(out, fmt.Sprintf("%s (%s): %s", j.Title, v.Job, w.customerStands(v, j)))
		case v.Crew != "" && strings.EqualFold(w.crew(v.Crew).Email, email) && v.On(d):
			out = append(out, fmt.Sprintf("%s (%s): %s", j.Title, v.Job, w.crewStands(v, d)))
		}
	}
	return out, nil
}

// customerStands says where the telling of a visit to its customer stands.
func (w *work) customerStands(v job.Visit, b job.Booking) string {
	first := v.First()
	switch why := unplannable(b); {
	case b.State != job.Booked:
		return "the job is " + string(b.State)
	case why != "":
		return why
	case first.IsZero() && v.Told.IsZero():
		return "it has no day in the plan"
	case first.IsZero():
		return "the customer was told " + v.Told.Words() + ", and the plan has no day for it now"
	case first == v.Told:
		return "the customer was told " + first.Words()
	case w.waits(v) && !w.released(v) && (b.AskFirst || w.book.Firm.AskStrict):
		return fmt.Sprintf("the plan has moved it from %s to %s, which waits for your yes", v.Told.Words(), first.Words())
	case w.waits(v) && !w.released(v):
		return fmt.Sprintf("the plan has moved it from %s to %s, which waits for your yes or for the morning", v.Told.Words(), first.Words())
	case first == v.StandBy:
		return "the customer was told no day, was asked to stand by for " + first.Words() + ", and hears in the morning whether the crew comes"
	case first.DaysSince(w.today()) > w.book.Firm.TellAhead:
		return fmt.Sprintf("planned for %s, which is told %d days ahead at the earliest", first.Words(), w.book.Firm.TellAhead)
	case !w.tellable(v):
		chance, rain, foreseen := w.planned(v)
		if !foreseen {
			return "planned for " + first.Words() + ", but no forecast says how likely that day is, and without one no day is told"
		}
		return fmt.Sprintf("planned for %s, with a chance of %.0f %% and a risk of %.0f %% of rain on the open roof: not sure enough for a day told so far ahead",
			first.Words(), 100*chance, 100*rain)
	}
	return "planned for " + first.Words() + ", which is told at the next round"
}

// crewStands says where the call for a crew's day stands.
func (w *work) crewStands(v job.Visit, d job.Date) string {
	if k := w.standing(v.Job, d); k != nil {
		return fmt.Sprintf("called %s (%s)", k.Outcome, k.Occasion)
	}
	return "planned for " + d.Words() + "; the call is made the evening before"
}
