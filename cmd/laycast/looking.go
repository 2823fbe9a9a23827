package main

import (
	"context"
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
)

// fresh is how old a stored forecast may be before a looking command asks the
// source again.
const fresh = time.Hour

// issues gives the issues of the jobs' cells: asked from the sources as of now
// where they are wanted so or the stored ones are old, and never stored.
func (s *session) issues(ctx context.Context, h *house, jobs []job.Booking, now time.Time, stampDate, ask bool) (map[forecast.Cell]forecast.Issue, error) {
	sources, err := h.sources(stampDate)
	if err != nil {
		return nil, err
	}
	zone, err := job.LoadZone(h.firm.Zone)
	if err != nil {
		return nil, err
	}
	sched := scheduler.New(scheduler.Config{Store: h.db, Sources: sources})
	kept, err := sched.Issues(ctx, jobs, now, zone)
	if err != nil {
		return nil, err
	}
	cells := scheduler.Cells(jobs)
	if !ask && seenWithin(kept, cells, now) {
		return kept, nil
	}
	var why error
	for k, n := range sources {
		got, err := h.lookUp(ctx, n, cells, now)
		if err != nil {
			if why == nil {
				why = err
			}
			continue
		}
		for c, is := range got {
			if k > 0 {
				is.Note = fmt.Sprintf("the weather is from %s, since %s does not answer", n.Name, sources[0].Name)
			}
			got[c] = n.Of(is)
		}
		if why != nil {
			fmt.Fprintf(s.Err, "laycast: %s does not answer (%v); the weather is from %s\n", sources[0].Name, why, n.Name)
		}
		return got, nil
	}
	if ask || len(kept) == 0 {
		return nil, fmt.Errorf("ask the weather source: %w", why)
	}
	fmt.Fprintf(s.Err, "laycast: the source does not answer (%v); this is from the forecast that is kept\n", why)
	return kept, nil
}

// seenWithin reports whether all cells have whole issues that were seen lately.
func seenWithin(is map[forecast.Cell]forecast.Issue, cells []forecast.Cell, now time.Time) bool {
	for _, c := range cells {
		x := is[c]
		if x.Det == nil || now.Sub(x.Det.LastSeen) > fresh || x.Ens == nil && !x.DetOnly || x.Ens != nil && now.Sub(x.Ens.LastSeen) > fresh {
			return false
		}
	}
	return true
}

// lookUp asks one source for all cells, under the same allowance as the daemon.
func (h *house) lookUp(ctx context.Context, n scheduler.NamedSource, cells []forecast.Cell, now time.Time) (map[forecast.Cell]forecast.Issue, error) {
	kept, err := h.db.Runs(ctx, n.Name, cells)
	if err != nil {
		return nil, err
	}
	runs, err := fetchAll(ctx, budgeted{h, n, now}, cells, kept, now)
	if err != nil {
		return nil, err
	}
	return scheduler.Issues(runs), nil
}

// budgeted is a source asked by hand: each request is booked first.
type budgeted struct {
	h   *house
	n   scheduler.NamedSource
	now time.Time
}

// Batch gives how many cells one request may ask for.
func (b budgeted) Batch(ep forecast.Endpoint) int { return b.n.Source.Batch(ep) }

// lookFor is how long a request by hand may take before the daemon stops waiting
// for its end.
const lookFor = 2 * time.Minute

// Fetch books a request, makes it and gives the right to ask back.
func (b budgeted) Fetch(ctx context.Context, ask forecast.Ask) (runs []forecast.Run, err error) {
	_, err = b.book(ctx, b.n.Cost(ask.Endpoint, len(ask.Cells)), func() (out ledger.Decision, err error) {
		runs, err = b.n.Source.Fetch(ctx, ask)
		for i := range runs {
			runs[i].Source = b.n.Name
		}
		return out, err
	})
	return runs, err
}

// book books a request of some cost, makes it, and gives the right to ask back
// together with what came of it. Where the source is not to be asked now, wait says
// when it may be.
func (b budgeted) book(ctx context.Context, cost float64, do func() (ledger.Decision, error)) (wait time.Time, err error) {
	req := ledger.Request{
		Source: b.n.Name, Firm: b.h.firm.UID, Task: "look", At: b.now, Until: b.now.Add(lookFor), Cost: cost, Limits: b.n.Limits,
	}
	wait, err = b.h.db.Reserve(ctx, req)
	if err != nil {
		return wait, err
	}
	if !wait.IsZero() {
		return wait, fmt.Errorf("%s is not to be asked before %s: its allowance is spent, or another request to it runs", b.n.Name, wait.Format(time.RFC3339))
	}
	out, err := do()
	out.Firm, out.Asked = b.h.firm.UID, &req
	if e := b.h.db.Commit(context.WithoutCancel(ctx), out); e != nil && err == nil {
		err = e
	}
	return time.Time{}, err
}

// fetchAll asks for all cells of every endpoint there is, batch by batch.
func fetchAll(ctx context.Context, src scheduler.Source, cells []forecast.Cell, kept []forecast.Run, now time.Time) ([]forecast.Run, error) {
	var out []forecast.Run
	for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
		before := map[forecast.Cell]*forecast.Run{}
		for i, r := range kept {
			// the stored runs may be from a later time than the one asked for
			if r.Endpoint == ep && !r.LastSeen.After(now) {
				before[r.Cell] = &kept[i]
			}
		}
		n := src.Batch(ep)
		for i := 0; n > 0 && i < len(cells); i += n {
			runs, err := src.Fetch(ctx, forecast.Ask{Endpoint: ep, Cells: cells[i:min(i+n, len(cells))], Now: now, Kept: before})
			if err != nil {
				return nil, err
			}
			for _, r := range runs {
				c, _ := forecast.Carry(before[r.Cell], r, now)
				out = append(out, c)
			}
		}
	}
	return out, nil
}
