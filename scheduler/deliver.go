package scheduler

import (
	"context"
	"errors"
	"fmt"
	"time"

	"laycast/notify"
	"laycast/scheduler/ledger"
)

// deliverOne hands one message that is due to the transport. It reports whether
// there was one.
func (s *Scheduler) deliverOne(ctx context.Context, firm string, now time.Time) (bool, error) {
	if _, err := s.Store.ExpireMessages(ctx, firm, now); err != nil {
		return false, fmt.Errorf("expire old messages: %w", err)
	}
	m, ok, err := s.Store.ClaimMessage(ctx, firm, now, leaseFor)
	if err != nil || !ok {
		return false, err
	}
	err = s.deliver(ctx, m, now)
	if errors.Is(err, ledger.ErrLeaseLost) {
		s.Log.Warn().Str("message", m.ID).Msg("another process took the message over")
		return true, nil
	}
	return true, err
}

// deliver begins, sends and settles one message. One that was begun before and
// never settled may have arrived: where sending twice does no harm, or silence
// would do more, it goes again as the same mail; a customer's becomes unknown.
func (s *Scheduler) deliver(ctx context.Context, m notify.Message, now time.Time) error {
	if m.State == notify.Begun && !s.Redo && m.Audience == notify.ToCustomer {
		return s.giveUp(ctx, m, notify.Unknown, "laycast stopped while it was being sent", now)
	}
	if m.State == notify.Pending {
		if err := s.Store.BeginMessage(ctx, m, now); err != nil {
			return fmt.Errorf("begin message %s: %w", m.ID, err)
		}
		m.Tries++
		m.Begun = now
	}
	err := s.Transport.Deliver(ctx, m)
	var f *notify.Failure
	switch {
	case err == nil:
		return s.settle(ctx, m, notify.Sent, "", now)
	case ctx.Err() != nil:
		return ctx.Err() // told to stop: the lease runs out and the begun message is looked at again
	case errors.As(err, &f) && f.Class == notify.Permanent:
		return s.giveUp(ctx, m, notify.Refused, f.Reason, now)
	case errors.As(err, &f) && f.Class == notify.Doubt && m.Audience == notify.ToCustomer:
		return s.giveUp(ctx, m, notify.Unknown, f.Reason, now)
	default:
		m.NextTry = now.Add(backoff(m.Tries))
		return s.settle(ctx, m, notify.Pending, err.Error(), now)
	}
}

// giveUp settles a message that will not go, or not surely, after telling the
// owner: in this order, so that a crash between the two tells again (the same
// message, so once) and never not at all. Of the owner's own mail nobody can be
// told by mail; it shows in the list of messages.
func (s *Scheduler) giveUp(ctx context.Context, m notify.Message, st notify.State, why string, now time.Time) error {
	if m.Channel == notify.Webhook {
		if err := s.hookRefused(ctx, m, why); err != nil {
			return err
		}
	} else if m.Audience != notify.ToOwner {
		err := s.change(ctx, m.Firm, func(w *work) error {
			w.out.Revision = 0
			subject, first := "a message could not be delivered", "It was refused for good and will not be tried again."
			if st == notify.Unknown {
				subject, first = "a message may not have arrived", "It may or may not have arrived, and goes no second time, so that nobody hears twice."
			}
			w.trouble("delivery-"+m.ID, subject, []string{
				fmt.Sprintf("To %s: %s", m.Recipient, m.Subject), first, "What the mail server said: " + why, "Please tell them yourself.",
			})
			return nil
		})
		if err != nil {
			return fmt.Errorf("tell the owner of message %s: %w", m.ID, err)
		}
	}
	return s.settle(ctx, m, st, why, now)
}

// hookRefused tells the owner once a day, by mail alone, that the webhook
// refuses messages. Their readers had the same by mail.
func (s *Scheduler) hookRefused(ctx context.Context, m notify.Message, why string) error {
	err := s.change(ctx, m.Firm, func(w *work) error {
		w.out.Revision = 0
		say, err := w.say.Trouble(notify.TroubleLetter{
			About: "webhook " + w.today().String(), Subject: "the webhook refuses messages", Now: w.now,
			Lines: []string{why + ".", "Everybody had the same by mail. Please look at the program behind the webhook, or take it out of the configuration."},
		})
		if err != nil {
			return err
		}
		w.out.Messages = append(w.out.Messages, say)
		return nil
	})
	if err != nil {
		return fmt.Errorf("tell the owner of message %s: %w", m.ID, err)
	}
	return nil
}

func (s *Scheduler) settle(ctx context.Context, m notify.Message, st notify.State, note string, now time.Time) error {
	m.State, m.Note = st, note
	if st != notify.Pending {
		m.Settled = now
	}
	if err := s.Store.SettleMessage(ctx, m); err != nil {
		return fmt.Errorf("settle message %s: %w", m.ID, err)
	}
	s.Log.Info().Str("message", m.ID).Str("kind", string(m.Kind)).Str("job", m.Job).Str("state", string(st)).Str("note", note).Msg("message settled")
	return nil
}
