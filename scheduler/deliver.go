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
		return s.settle(ctx, m, notify.Unknown, "laycast stopped while it was being sent", now)
	}
	if m.State == notify.Pending {
		if err := s.Store.BeginMessage(ctx, m, now); err != nil {
			return fmt.Errorf("begin message %s: %w", m.ID, err)
		}
		m.Tries++
		m.Begun = now
	}
	err := s.Transport.Deliver(ctx, m)
	switch f := (*notify.Failure)(nil); {
	case err == nil:
		return s.settle(ctx, m, notify.Sent, "", now)
	case ctx.Err() != nil:
		return ctx.Err() // told to stop: the lease runs out and the begun message is looked at again
	case errors.As(err, &f) && f.Class == notify.Permanent:
		return s.settle(ctx, m, notify.Refused, f.Reason, now)
	case errors.As(err, &f) && f.Class == notify.Doubt && m.Audience == notify.ToCustomer:
		return s.settle(ctx, m, notify.Unknown, f.Reason, now)
	default:
		m.NextTry = now.Add(backoff(m.Tries))
		return s.settle(ctx, m, notify.Pending, err.Error(), now)
	}
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
