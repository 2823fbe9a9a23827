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
