package scheduler

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"laycast/forecast"
	"laycast/scheduler/ledger"
)

// ask makes one request to source k for some of the cells that are due. It
// reports false where the source has to be waited for.
func (r *round) ask(ctx context.Context, k int, due []forecast.Cell) (bool, error) {
	w, n := r.w, r.w.s.Sources[k]
	st := r.state(n, r.ep)
	cells := due[:r.size(n, st, len(due))]
	req := ledger.Request{
		Source: n.Name, Firm: w.task.Firm, Task: w.task.Name, At: w.now, Until: w.now.Add(leaseFor),
		Cost: n.Cost(r.ep, len(cells)), Limits: n.Limits,
	}
	wait, err := w.s.Store.Reserve(ctx, req)
	if err != nil {
		return false, err
	}
	if !wait.IsZero() {
		r.held[n.Name] = w.spread(wait)
		return false, nil
	}
	kept, err := w.s.Store.Runs(ctx, n.Name, cells)
	if err != nil {
		return false, fmt.Errorf("read the forecasts that are kept: %w", err)
	}
	// while this round waited for the right to ask, another firm's may have asked for
	// the same cells
	r.see(kept)
	still := r.due(k)
	cells = slices.DeleteFunc(slices.Clone(cells), func(c forecast.Cell) bool { return !slices.Contains(still, c) })
	if len(cells) == 0 {
		w.out.Asked, req.Back = &req, req.Cost
		return true, nil
	}
	req.Back = max(0, req.Cost-n.Cost(r.ep, len(cells)))
	newest := newestOf(kept, r.ep)
	fresh, err := n.Source.Fetch(ctx, forecast.Ask{Endpoint: r.ep, Cells: cells, Now: w.now, Kept: newest})
	if ctx.Err() != nil {
		return false, ctx.Err() // told to stop: the lease runs out and the task is done again
	}
	w.out.Asked = &req
	st.Tried = w.now
	if err != nil {
		req.Back = max(0, req.Cost-1) // a failure costs one call (FORECAST_API §1.7)
		r.failed(k, st, err, cells)
		return true, nil
	}
	for i := range fresh {
		fresh[i].Source = n.Name
	}
	fresh, short := reaching(fresh, w.now)
	w.keep(fresh, newest)
	r.see(w.out.Runs)
	if len(fresh) < len(cells) && short == nil {
		short = &forecast.Failure{Kind: forecast.Broken, Reason: fmt.Sprintf("%s answered for %d of %d places", n.Name, len(fresh), len(cells))}
	}
	if short != nil {
		r.failed(k, st, short, nil)
		return true, nil
	}
	r.well(k, st, cells, len(still) > len(cells))
	return true, nil
}

// spread puts off looking again where many firms wait for one source: further
// each time, and each firm by an amount of its own, or thousands of them would
// all look every ten seconds. At most 3 minutes, so that of the 45 between the
// evening's fetch and its call few are lost (ours).
func (w *work) spread(at time.Time) time.Time {
	if !w.s.Many {
		return at
	}
	most := 10 * time.Second << min(w.task.Tries, 4)
	return at.Add(most * time.Duration(jitter(w.task.Firm, w.task.Name, w.now)-jitterFrom) / jitterOver)
}

// size gives how many of the due cells are asked for at once: what the source
// takes, what the search for a refused place allows, and no more than fits a
// whole minute's allowance.
func (r *round) size(n NamedSource, st ledger.SourceState, due int) int {
	size := min(due, n.Source.Batch(r.ep))
	if st.Most > 0 {
		size = min(size, st.Most)
	}
	for size > 1 && n.Limits.Minute > 0 && n.Cost(r.ep, size) > n.Limits.Minute {
		size--
	}
	return size
}

// well records a success. more says that the round goes on.
func (r *round) well(k int, was ledger.SourceState, cells []forecast.Cell, more bool) {
	w, n := r.w, r.w.s.Sources[k]
	if was.Failures > 0 {
		w.s.Log.Info().Str("source", n.Name).Str("endpoint", string(r.ep)).Int("failures", was.Failures).Msg("source is well again")
	}
	st := ledger.SourceState{Source: n.Name, Endpoint: r.ep, Good: w.now, Tried: w.now}
	if st.Most = 2 * was.Most; !more || st.Most >= n.Source.Batch(r.ep) {
		st.Most = 0
	}
	r.put(st)
	r.forgive(n, cells)
	if k > 0 {
		w.tellInstead(r, k, cells[0])
	}
}

func (r *round) put(st ledger.SourceState) {
	r.states[endKey{st.Source, st.Endpoint}] = st
	r.w.out.Sources = []ledger.SourceState{st}
}

// failed records a failure and what comes of it. What went wrong is the
// source's doing, not the task's: the task itself is done. cells are those that
// were asked for, nil where they were answered.
func (r *round) failed(k int, st ledger.SourceState, err error, cells []forecast.Cell) {
	w, n := r.w, r.w.s.Sources[k]
	f := &forecast.Failure{Kind: forecast.Transport, Reason: err.Error()}
	if !errors.As(err, &f) {
		f = &forecast.Failure{Kind: forecast.Transport, Reason: err.Error()}
	}
	st.Kind, st.Note = f.Kind, f.Reason
	if f.Kind == forecast.Refused && f.Place && !f.Until.After(w.now) && len(cells) > 0 {
		r.narrow(n, st, cells)
		return
	}
	if st.Failures == 0 {
		st.Since = w.now
	}
	st.Failures++
	if f.Until.After(w.now) {
		st.Until = f.Until
	}
	r.put(st)
	w.s.Log.Warn().Str("source", n.Name).Str("endpoint", string(r.ep)).Int("failures", st.Failures).Str("reason", f.Reason).Msg("source failed")
	switch {
	case f.Kind == forecast.Refused && st.Until.After(w.now):
		w.tellBarred(r, k, st)
	case w.now.Sub(st.Since) >= tellAfter:
		w.tellFailing(r, k, st)
	}
}

// narrow looks for the place that a source refuses: half as many are asked for
// next, and one that is refused by itself is left out until tomorrow. After every
// answer twice as many are asked for again.
func (r *round) narrow(n NamedSource, st ledger.SourceState, cells []forecast.Cell) {
	st.Failures, st.Since = 0, time.Time{} // it answers
	if st.Most = max(1, len(cells)/2); len(cells) == 1 {
		key := cellKey{endKey{n.Name, r.ep}, cells[0]}
		mark := ledger.RefusedCell{Source: n.Name, Endpoint: r.ep, Cell: cells[0], Since: r.now, Note: st.Note}
		if old := r.refused[key]; !old.Since.IsZero() {
			mark.Since = old.Since
		}
		mark.Until = r.now.AddDate(0, 0, 1)
		r.refused[key] = mark
		r.w.out.Refused = append(r.w.out.Refused, mark)
		r.w.s.Log.Warn().Str("source", n.Name).Str("endpoint", string(r.ep)).Str("reason", st.Note).Msg("source refuses a place")
	}
	r.put(st)
}

// forgive forgets that cells were refused which are answered for. When one that
// was not due yet is answered, the source is mended, and all of them are asked
// for again.
func (r *round) forgive(n NamedSource, cells []forecast.Cell) {
	mended := false
	for _, c := range cells {
		mended = mended || r.refused[cellKey{endKey{n.Name, r.ep}, c}].Until.After(r.now)
	}
	for _, c := range r.cells {
		key := cellKey{endKey{n.Name, r.ep}, c}
		if !r.refused[key].Since.IsZero() && (mended || slices.Contains(cells, c)) {
			delete(r.refused, key)
			r.w.out.Refused = append(r.w.out.Refused, ledger.RefusedCell{Source: n.Name, Endpoint: r.ep, Cell: c})
		}
	}
}
