package scheduler

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// VirtualClock is a clock that stands still while work is done and is moved on
// by hand.
type VirtualClock struct{ now time.Time }

// NewVirtualClock gives a clock that stands at t.
func NewVirtualClock(t time.Time) *VirtualClock { return &VirtualClock{now: t.UTC()} }

// Now gives the time.
func (c *VirtualClock) Now() time.Time { return c.now }

// MoveTo moves the clock on to t; it never goes back.
func (c *VirtualClock) MoveTo(t time.Time) {
	if t.After(c.now) {
		c.now = t.UTC()
	}
}

// Rehearse does all work of a firm that falls due before `to`, moving the clock
// from one due time to the next. Killed and begun again it carries on where the
// database stands.
func (s *Scheduler) Rehearse(ctx context.Context, firm string, clock *VirtualClock, to time.Time) error {
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		due, ok, err := s.Store.NextDue(ctx, firm)
		if err != nil {
			return fmt.Errorf("look for the next task: %w", err)
		}
		if !ok || !due.Before(to) {
			clock.MoveTo(to)
			return nil
		}
		clock.MoveTo(due)
		did, err := s.Step(ctx, firm)
		if err != nil {
			return err
		}
		if !did {
			return errors.New("work is due that nobody can take: another process may hold it; stop that one first")
		}
	}
}

// wake is how often the daemon looks at the clock. Short, so that a suspended
// machine or a corrected clock is noticed at once.
const wake = 15 * time.Second

// Serve does what is due for a firm until ctx ends. Every wake is told to
// ticked. An error of one task is logged and does not stop the others: its
// lease runs out and it is done again.
func (s *Scheduler) Serve(ctx context.Context, firm string, ticked func(time.Time)) error {
	tick := time.NewTicker(wake)
	defer tick.Stop()
	for {
		for ctx.Err() == nil {
			did, err := s.Step(ctx, firm)
			if err != nil && ctx.Err() == nil {
				s.Log.Error().Err(err).Msg("task failed")
				break
			}
			if !did {
				break
			}
		}
		ticked(s.Clock.Now())
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}
