package scheduler

import (
	"context"
	"fmt"
	"sync"
	"time"

	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// usualWake is how often the daemon looks at the clock. Short, so that a suspended
// machine or a corrected clock is noticed at once.
const usualWake = 15 * time.Second

// taskFor bounds how long one task may take: less than its lease, so that
// nobody else has begun it anew when it is given up.
const taskFor = leaseFor - 20*time.Second

// workers are how many tasks and how many deliveries run at once for many firms.
// More tasks than sources, so that a slow source leaves some free; each task may
// need a processor for a second, so not many more. Ours, no source.
const workers = 4

// Watch is told how a daemon goes on. Each may be nil.
type Watch struct {
	// Ticked is told the time at each wake of the worker that woke last.
	Ticked func(time.Time)
	// Wake is asked before the first and at each wake; its error ends the daemon.
	Wake func(ctx context.Context) error
	// Rested is told a time at which every worker looked and left nothing that it
	// could do: who moves the clock may move it on.
	Rested func(time.Time)
}

// Serve does what is due for a firm ("" = for all that do not live on a virtual
// clock) until ctx ends or Watch.Wake gives an error. Deliveries run beside
// tasks. A task that fails is put off and does not stop the others.
func (s *Scheduler) Serve(ctx context.Context, firm string, w Watch) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	n := 1
	if firm == "" {
		n = workers
	}
	p := newPulse(2*n, s.Clock.Now(), w.Rested)
	var wg sync.WaitGroup
	defer wg.Wait()
	defer stop()
	for i := range n {
		wg.Go(func() { s.every(ctx, p, 2*i, func() bool { return s.serveTask(ctx, firm) }) })
		wg.Go(func() { s.every(ctx, p, 2*i+1, func() bool { return s.serveMessage(ctx, firm) }) })
	}
	tick := time.NewTicker(s.wake())
	defer tick.Stop()
	for {
		s.cutLeases(ctx, firm)
		if w.Wake != nil {
			if err := w.Wake(ctx); err != nil && ctx.Err() == nil {
				return err
			}
		}
		if w.Ticked != nil {
			w.Ticked(p.oldest())
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

func (s *Scheduler) wake() time.Duration {
	if s.Wake > 0 {
		return s.Wake
	}
	return usualWake
}

// every lets one worker work at each wake until nothing is left to do.
func (s *Scheduler) every(ctx context.Context, p *pulse, i int, work func() bool) {
	tick := time.NewTicker(s.wake())
	defer tick.Stop()
	for {
		looked := s.Clock.Now()
		round := p.beat(i, looked)
		for ctx.Err() == nil && work() {
			p.stir()
			looked = s.Clock.Now()
			round = p.beat(i, looked)
		}
		p.rest(i, round, looked)
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// cutLeases frees, in a while, what was taken under a clock that was ahead and has
// been set right since; else it would be held for as long as the clock was ahead.
func (s *Scheduler) cutLeases(ctx context.Context, firm string) {
	if err := s.Store.CutLeases(ctx, firm, s.Clock.Now().Add(leaseFor+clocksDiffer)); err != nil && ctx.Err() == nil {
		s.Log.Error().Err(err).Msg("leases that last too long could not be looked for")
	}
}

// serveTask does one task, and reports whether to go on at once.
func (s *Scheduler) serveTask(ctx context.Context, firm string) bool {
	bounded, cancel := context.WithTimeout(ctx, taskFor)
	defer cancel()
	t, did, err := s.stepTask(bounded, firm)
	switch {
	case ctx.Err() != nil:
		return false
	case err == nil:
		return did
	}
	s.Log.Error().Err(err).Str("task", string(t.Name)).Str("firm", t.Firm).Msg("task failed")
	if t.Name == "" {
		return false // nothing was taken: the database does not answer
	}
	if err := s.putOff(ctx, t, err); err != nil {
		s.Log.Error().Err(err).Msg("task could not be put off; it is done again when its lease runs out")
		return false
	}
	return true
}

// putOff makes a task that failed due again later, and keeps why.
func (s *Scheduler) putOff(ctx context.Context, t task.Task, why error) error {
	now := s.Clock.Now()
	next := task.Task{Firm: t.Firm, Name: t.Name, Due: now.Add(backoff(t.Tries + 1)), Slot: t.Slot, Tries: t.Tries + 1, Note: why.Error(), Near: t.Near}
	if err := s.Store.Commit(ctx, ledger.Decision{Firm: t.Firm, Now: now, Task: t, Next: next}); err != nil {
		return fmt.Errorf("put off %s of %s: %w", t.Name, t.Firm, err)
	}
	return nil
}

// serveMessage delivers one message, and reports whether to go on at once. How
// long it may take is the transport's to bound: cut off by us, a mail could not
// be told from one that arrived.
func (s *Scheduler) serveMessage(ctx context.Context, firm string) bool {
	did, err := s.deliverOne(ctx, firm, s.Clock.Now())
	if err != nil && ctx.Err() == nil {
		s.Log.Error().Err(err).Msg("message failed")
		return false
	}
	return did && ctx.Err() == nil
}
