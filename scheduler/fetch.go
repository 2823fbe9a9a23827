package scheduler

import (
	"context"
	"errors"
	"fmt"
	"sort"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// batchEvery is the pause between two batches of one round of an ensemble,
// which costs a source's quota most.
const batchEvery = time.Minute

// tellAfter is how long a source may fail before the owner hears of it.
const tellAfter = 3 * time.Hour

// fetch asks for one batch of cells, once. Cells of this round that are still
// to be fetched make the task due again; a failure makes it due later.
func (w *work) fetch(ctx context.Context, ep forecast.Endpoint) error {
	w.out.Revision = 0 // forecasts are nobody's book
	cells := cellsOf(w.book.Jobs, w.today())
	if len(cells) == 0 {
		return nil
	}
	kept, err := w.s.Store.Runs(ctx, w.s.SourceName, cells)
	if err != nil {
		return fmt.Errorf("read the forecasts that are kept: %w", err)
	}
	state, err := w.sourceState(ctx, ep)
	if err != nil {
		return err
	}
	if w.now.Before(state.Until) {
		w.again(state.Until, state.Note)
		return nil
	}
	newest := newestOf(kept, ep)
	due := pending(cells, newest, w.task.Slot)
	n := min(len(due), w.s.Source.Batch(ep))
	if n == 0 {
		return nil
	}
	fresh, err := w.s.Source.Fetch(ctx, forecast.Ask{Endpoint: ep, Cells: due[:n], Now: w.now})
	if err != nil {
		return w.failed(ctx, state, err)
	}
	fresh, short := reaching(fresh, w.now)
	w.keep(fresh, newest)
	if short != nil {
		return w.failed(ctx, state, short)
	}
	if state.Failures > 0 {
		w.s.Log.Info().Str("source", state.Source).Str("endpoint", string(ep)).Int("failures", state.Failures).Msg("source is well again")
	}
	w.out.Sources = []ledger.SourceState{{Source: state.Source, Endpoint: ep, Good: w.now}}
	if n < len(due) {
		at := w.now
		if ep == forecast.Ensemble {
			at = at.Add(batchEvery)
		}
		w.again(at, "")
	}
	return nil
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

// again makes the task due at a time of this same round, unless the next round
// comes first.
func (w *work) again(at time.Time, note string) {
	w.out.Next.Note = note
	if !at.Before(w.out.Next.Due) {
		return
	}
	w.out.Next.Due, w.out.Next.Slot, w.out.Next.Tries = at, w.task.Slot, w.task.Tries+1
}

// failed records a failure and when to try again. What went wrong is the
// source's doing, not the task's: the task itself is done.
func (w *work) failed(ctx context.Context, state ledger.SourceState, err error) error {
	if ctx.Err() != nil {
		return ctx.Err() // told to stop: the lease runs out and the task is done again
	}
	f := &forecast.Failure{Kind: forecast.Transport, Reason: err.Error()}
	if !errors.As(err, &f) {
		f = &forecast.Failure{Kind: forecast.Transport, Reason: err.Error()}
	}
	if state.Failures == 0 {
		state.Since = w.now
	}
	state.Failures++
	state.Note = f.Reason
	switch {
	case f.Kind == forecast.Quota && f.Until.After(w.now):
		state.Until = f.Until
		w.again(f.Until, f.Reason)
	case f.Kind == forecast.Refused:
		// asking again unchanged will not help: wait for the next round
		w.out.Next.Note = f.Reason
	default:
		w.again(w.now.Add(backoff(state.Failures)), f.Reason)
	}
	w.out.Sources = []ledger.SourceState{state}
	if w.now.Sub(state.Since) >= tellAfter {
		w.trouble("source "+state.Source+" "+string(state.Endpoint), "no new "+endpointWords(state.Endpoint), []string{
			fmt.Sprintf("The weather source has failed since %s.", state.Since.In(w.zone).Format("15:04 on Monday 2 January")),
			"The last answer was: " + f.Reason,
			"laycast goes on trying. Until it works again no call will be a go.",
		})
	}
	return nil
}

func endpointWords(ep forecast.Endpoint) string {
	if ep == forecast.Ensemble {
		return "ensemble forecast"
	}
	return "hourly forecast"
}

func (w *work) sourceState(ctx context.Context, ep forecast.Endpoint) (ledger.SourceState, error) {
	all, err := w.s.Store.SourceStates(ctx)
	if err != nil {
		return ledger.SourceState{}, fmt.Errorf("read the state of the sources: %w", err)
	}
	for _, st := range all {
		if st.Source == w.s.SourceName && st.Endpoint == ep {
			return st, nil
		}
	}
	return ledger.SourceState{Source: w.s.SourceName, Endpoint: ep}, nil
}

// fetchAhead is how many days before its earliest date a job's weather begins
// to matter: the reach of the hourly forecast.
const fetchAhead = 10

// cellsOf gives the cells of the jobs that may be worked on soon, in order.
func cellsOf(jobs []job.Booking, today job.Date) []forecast.Cell {
	seen := map[forecast.Cell]bool{}
	var out []forecast.Cell
	for _, b := range jobs {
		if b.State != job.Booked || b.Earliest.After(today.AddDays(fetchAhead)) {
			continue
		}
		c := CellOf(b.Site)
		if !seen[c] {
			seen[c] = true
			out = append(out, c)
		}
	}
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

// pending gives the cells that were not fetched since the round began.
func pending(cells []forecast.Cell, newest map[forecast.Cell]*forecast.Run, since time.Time) []forecast.Cell {
	var out []forecast.Cell
	for _, c := range cells {
		if r := newest[c]; r == nil || r.LastSeen.Before(since) {
			out = append(out, c)
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
