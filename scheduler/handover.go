package scheduler

import (
	"context"
	"fmt"
	"slices"

	"laycast/job"
	"laycast/job/aslaid"
	"laycast/notify"
)

// HandOver writes the customer the hand-over mail of a job's last day whose record
// is closed. The same day is handed over once.
func (s *Scheduler) HandOver(ctx context.Context, firm, id string) error {
	rows, err := s.Store.Records(ctx, firm, id)
	if err != nil {
		return err
	}
	all, err := aslaid.Assemble(rows)
	if err != nil {
		return err
	}
	good := func(r aslaid.Record) bool {
		return slices.Contains([]string{"laid", "laid and topcoated", "topcoated"}, r.Day.Outcome)
	}
	all = slices.DeleteFunc(all, func(r aslaid.Record) bool { return !good(r) })
	if len(all) == 0 {
		return fmt.Errorf("job %s has no closed record of a day on which its crew says that it was laid; a record is closed 36 hours after the last cure", id)
	}
	r := all[len(all)-1]
	return s.change(ctx, firm, func(w *work) error {
		b, ok := w.booking(id)
		if !ok {
			return fmt.Errorf("there is no job %q", id)
		}
		m, err := w.say.HandOver(handOverOf(b, r, w))
		if err != nil {
			return err
		}
		w.post(m, nil, b.Customer.Email, id, r.Date)
		return nil
	})
}

func handOverOf(b job.Booking, r aslaid.Record, w *work) notify.HandOverLetter {
	l := notify.HandOverLetter{Job: b, Visit: r.Day.Visit, Date: r.Date, Outcome: r.Day.Outcome, AreaM2: r.Day.AreaM2, Batches: len(r.Batches), Hash: r.Hash, Now: w.now}
	word := job.Diary{Reports: r.Reports}.Word(r.Job, r.Date)
	l.Began, l.Sealed, l.Coated = word.BegunAt, word.SealedAt, word.CoatedAt
	for _, x := range r.Readings {
		if x.SurfaceC != nil {
			l.Deck = append(l.Deck, *x.SurfaceC)
		}
		if x.MarginK != nil {
			l.Margins = append(l.Margins, *x.MarginK)
		}
	}
	return l
}
