package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/rs/zerolog"

	"laycast/db"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
	"laycast/web"
)

// watch is what a daemon looks after at each wake beside its work.
func (h *house) watch(health *web.Health, sched *scheduler.Scheduler, log zerolog.Logger) scheduler.Watch {
	return scheduler.Watch{Ticked: health.Ticked, Wake: func(ctx context.Context) error {
		err := h.db.CheckSchema(ctx)
		if errors.Is(err, db.ErrOutdated) {
			return err
		}
		if err == nil && h.many {
			err = h.adopt(ctx, sched)
		}
		if err != nil {
			log.Error().Err(err).Msg("the database could not be looked at")
		}
		return nil
	}}
}

// adopt begins to serve the firms that were set up and never run.
func (h *house) adopt(ctx context.Context, sched *scheduler.Scheduler) error {
	fresh, err := h.db.NewFirms(ctx)
	if err != nil {
		return err
	}
	for _, f := range fresh {
		now := sched.Clock.Now()
		// the tasks first: a daemon that dies in between finds the firm new again
		if err := sched.Seed(ctx, f, now); err != nil {
			return err
		}
		if err := h.db.SetLife(ctx, f.UID, ledger.Live, now); err != nil {
			return fmt.Errorf("begin to serve %s: %w", f.UID, err)
		}
		sched.Log.Warn().Str("firm", f.UID).Msg("a new firm is served from now on")
	}
	return nil
}
