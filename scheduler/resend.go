package scheduler

import (
	"context"
	"fmt"

	"laycast/notify"
)

// Resend puts a message into the outbox again, because the owner says so, and
// gives the row that goes. A customer's goes to the address that the book holds
// now, so that a mistyped one can be mended first. What is on its way, was
// withdrawn or is of no use any more does not go again.
func (s *Scheduler) Resend(ctx context.Context, firm string, m notify.Message) (notify.Message, error) {
	var sent notify.Message
	ms, err := s.Store.Messages(ctx, firm)
	if err != nil {
		return sent, fmt.Errorf("read the messages: %w", err)
	}
	err = s.change(ctx, firm, func(w *work) error {
		if err := resendable(m, ms, w); err != nil {
			return err
		}
		r := notify.Resend{Message: m, N: 1 + timesAgain(ms, m), Now: w.now}
		if b, ok := w.booking(m.Job); ok && m.Audience == notify.ToCustomer {
			r.To, r.ToName = b.Customer.Email, b.Customer.Name
		}
		var err error
		if sent, err = w.say.Again(r); err != nil {
			return err
		}
		w.out.Messages = append(w.out.Messages, sent)
		return nil
	})
	return sent, err
}

// resendable says why a message does not go again.
func resendable(m notify.Message, ms []notify.Message, w *work) error {
	switch m.State {
	case notify.Pending, notify.Begun:
		return fmt.Errorf("message %s is on its way; it needs no sending again", m.ID)
	case notify.Withdrawn:
		return fmt.Errorf("message %s was withdrawn (%s), so it is no longer true", m.ID, m.Note)
	}
	if !m.Expires.IsZero() && !m.Expires.After(w.now) {
		return fmt.Errorf("message %s was of use until %s; please write to %s yourself",
			m.ID, m.Expires.In(w.zone).Format("15:04 on Monday 2 January 2006"), m.Recipient)
	}
	for _, x := range ms {
		if x.Job != "" && x.Job == m.Job && x.Visit == m.Visit && x.Audience == m.Audience && x.Channel == m.Channel &&
			x.Created.After(m.Created) && x.State != notify.Expired && !x.AgainOf(m.Name) {
			return fmt.Errorf("message %s is no longer the last word: %s (%s) came after it", m.ID, x.ID, x.Subject)
		}
	}
	return nil
}

// timesAgain counts how often a message was sent again by the owner.
func timesAgain(ms []notify.Message, m notify.Message) int {
	n := 0
	for _, x := range ms {
		if x.AgainOf(m.Name) {
			n++
		}
	}
	return n
}
