package scheduler

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sort"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// shareWithin is how long before a round began a cell may have been fetched and
// still count as fetched in it. Firms' rounds of one hour lie up to 20 minutes
// apart (jitter), so that all firms with sites in a cell share one fetch.
const shareWithin = 20 * time.Minute

// probeAbove is for how many refused cells, none being answered for, a source
// counts as refusing whatever it is asked (a wrong model, say): then one of them
// is asked for in every round, so that all go on as soon as it is mended (ours).
const probeAbove = 3

// round is one round of fetching an endpoint for a firm's cells, as it stands.
type round struct {
	*health
	w     *work
	ep    forecast.Endpoint
	cells []forecast.Cell
	held  map[string]time.Time // sources whose allowance or other request has to be waited for
}

// fetch makes one request: to the first source that has cells to be fetched and
// may be asked now. Cells of this round that are still to be fetched make the
// task due again, a failure or a spent allowance later.
func (w *work) fetch(ctx context.Context, ep forecast.Endpoint) error {
	w.out.Revision = 0 // forecasts are nobody's book
	cells := cellsOf(w.book.Jobs, w.today())
	if len(cells) == 0 {
		return nil
	}
	r, err := w.openRound(ctx, ep, cells)
	if err != nil {
		return err
	}
	for k, n := range w.s.Sources {
		due := r.due(k)
		if at, ok := r.ready(n); len(due) == 0 || !ok || at.After(w.now) {
			continue
		}
		asked, err := r.ask(ctx, k, due)
		if err != nil {
			return err
		}
		if asked {
			break
		}
	}
	r.rearm()
	w.tellRefused(r)
	return nil
}

func (w *work) openRound(ctx context.Context, ep forecast.Endpoint, cells []forecast.Cell) (*round, error) {
	h, err := w.s.healthNow(ctx, w.now, w.zone)
	if err != nil {
		return nil, err
	}
	var names []string
	for _, n := range w.s.Sources {
		names = append(names, n.Name)
	}
	heads, err := w.s.Store.Heads(ctx, names, cells)
	if err != nil {
		return nil, fmt.Errorf("read the forecasts that are kept: %w", err)
	}
	h.see(heads)
	return &round{health: h, w: w, ep: ep, cells: cells, held: map[string]time.Time{}}, nil
}

// due gives the cells that source k is to be asked for in this round: those not
// fetched since it began, not refused, and for a later source only those for
// which every earlier one is unwell.
func (r *round) due(k int) []forecast.Cell {
	n := r.w.s.Sources[k]
	if n.Source.Batch(r.ep) == 0 {
		return nil
	}
	since := r.w.task.Slot.Add(-shareWithin)
	refused := 0
	var out []forecast.Cell
	for _, c := range r.cells {
		key := cellKey{endKey{n.Name, r.ep}, c}
		x := r.heads[key]
		switch {
		case x != nil && (!x.LastSeen.Before(since) || r.early(x)):
		case r.refused[key].Until.After(r.now):
			refused++
		case !r.needed(k, c):
		default:
			out = append(out, c)
		}
	}
	if refused == len(r.cells) && refused > probeAbove && r.state(n, r.ep).Tried.Before(r.w.task.Slot) {
		return r.cells[:1]
	}
	return out
}

// mostExpires bounds how long a source's word not to be asked again is heeded, so
// that one absurd answer does not end the weather for ever.
const mostExpires = 24 * time.Hour // elapsed: an age, no date

// early reports whether the source said that it has nothing new yet.
func (r *round) early(x *forecast.Run) bool {
	return x.Expires.After(r.now) && r.now.Sub(x.LastSeen) < mostExpires
}

func (r *round) needed(k int, c forecast.Cell) bool {
	for _, earlier := range r.w.s.Sources[:k] {
		if !r.unwell(earlier, c) {
			return false
		}
	}
	return true
}

// ready gives when a source may next be asked in this round; ok is false when
// asking again in it will not help. A new round may ask a failing source at
// once, though not twice within a minute.
func (r *round) ready(n NamedSource) (at time.Time, ok bool) {
	st := r.state(n, r.ep)
	at = st.Until
	if h := r.held[n.Name]; h.After(at) {
		at = h
	}
	if st.Failures == 0 {
		return at, true
	}
	again := st.Tried.Add(backoff(st.Failures))
	switch {
	case st.Tried.Before(r.w.task.Slot):
		again = st.Tried.Add(backoff(1))
	case st.Kind == forecast.Refused:
		return at, false
	}
	if again.After(at) {
		at = again
	}
	return at, true
}

// rearm makes the task due again when a source has something left to do in this
// round.
func (r *round) rearm() {
	for k, n := range r.w.s.Sources {
		at, ok := r.ready(n)
		if !ok || len(r.due(k)) == 0 {
			continue
		}
		note := ""
		if at.After(r.now) {
			if note = r.state(n, r.ep).Note; !r.held[n.Name].IsZero() {
				note = n.Name + " has to wait: its allowance is spent, or another request to it runs"
			}
		} else {
			at = r.now
		}
		r.w.again(at, note)
	}
}

// again makes the task due at a time of this same round, unless the next round
// comes first.
func (w *work) again(at time.Time, note string) {
	if note != "" {
		w.out.Next.Note = note
	}
	if !at.Before(w.out.Next.Due) {
		return
	}
	w.out.Next.Due, w.out.Next.Slot, w.out.Next.Tries = at, w.task.Slot, w.task.Tries+1
}

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
		r.held[n.Name] = wait
		return false, nil
	}
	kept, err := w.s.Store.Runs(ctx, n.Name, cells)
	if err != nil {
		return false, fmt.Errorf("read the forecasts that are kept: %w", err)
	}
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
	r.well(k, st, cells, len(due) > len(cells))
	return true, nil
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

// mustReach is how many hours ahead a forecast must know the air and the rain
// to be taken: from the evening's fetch past the end of tomorrow. One that ends
// sooner would put better hours out of use without a word to anybody.
const mustReach = 36

// reaching divides runs into those that reach far enough and a failure that
// tells of the others, nil where there are none.
func reaching(runs []forecast.Run, now time.Time) (good []forecast.Run, short error) {
	for _, r := range runs {
		if n := wholeMembers(r.Hours, now); n == 0 || n < min(r.Hours.Members, rules.LeastMembers) {
			short = &forecast.Failure{Kind: forecast.Broken, Reason: fmt.Sprintf(
				"%s sent an %s that does not know the next %d hours", r.Source, endpointWords(r.Endpoint), mustReach)}
			continue
		}
		good = append(good, r)
	}
	return good, short
}

// wholeMembers counts the members that know air and rain in every hour from now
// until mustReach.
func wholeMembers(h forecast.Hours, now time.Time) int {
	n, first := 0, h.Slot(now)
	for m := range h.Members {
		whole := true
		for i := first; i < first+mustReach && whole; i++ {
			whole = forecast.Known(h.At(forecast.Air, m, i)) && forecast.Known(h.At(forecast.Rain, m, i))
		}
		if whole {
			n++
		}
	}
	return n
}

// keep puts fetched runs beside those that are there, and asks for a new plan
// where the content is news.
func (w *work) keep(fresh []forecast.Run, newest map[forecast.Cell]*forecast.Run) {
	news := false
	for _, f := range fresh {
		r, _ := forecast.Carry(newest[f.Cell], f, w.now)
		w.out.Runs = append(w.out.Runs, r)
		news = news || r.Changed.Equal(w.now)
	}
	if news {
		w.out.Arm = append(w.out.Arm, task.Task{Firm: w.task.Firm, Name: task.Replan, Due: w.now, Slot: w.now})
	}
}

func endpointWords(ep forecast.Endpoint) string {
	if ep == forecast.Ensemble {
		return "ensemble forecast"
	}
	return "hourly forecast"
}

// fetchAhead is how many days before its earliest date a job's weather begins
// to matter: the reach of the hourly forecast.
const fetchAhead = 10

// cellsOf gives the cells of the jobs that may be worked on soon, in order.
func cellsOf(jobs []job.Booking, today job.Date) []forecast.Cell {
	soon := slices.DeleteFunc(slices.Clone(jobs), func(b job.Booking) bool {
		return b.State != job.Booked || b.Earliest.After(today.AddDays(fetchAhead))
	})
	out := Cells(soon)
	sort.Slice(out, func(i, j int) bool { return out[i].String() < out[j].String() })
	return out
}

// CellOf gives the cell that a site's weather is asked for.
func CellOf(s job.Site) forecast.Cell { return forecast.CellOf(s.Lat, s.Lon, s.ElevationM) }

func newestOf(runs []forecast.Run, ep forecast.Endpoint) map[forecast.Cell]*forecast.Run {
	out := map[forecast.Cell]*forecast.Run{}
	for i := range runs {
		if runs[i].Endpoint == ep {
			out[runs[i].Cell] = &runs[i]
		}
	}
	return out
}

// keepRuns is how long a forecast is kept that no call names.
const keepRuns = 10

func (w *work) prune(ctx context.Context) error {
	w.out.Revision = 0
	w.out.Dropped = w.today().AddDays(-keepPublished)
	n, err := w.s.Store.Prune(ctx, w.now.AddDate(0, 0, -keepRuns))
	if err != nil {
		return fmt.Errorf("drop old forecasts: %w", err)
	}
	w.s.Log.Debug().Int("runs", n).Msg("old forecasts dropped")
	return nil
}
