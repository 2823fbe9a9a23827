package scheduler

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
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
	r.fetchedByOthers()
	w.tellRefused(r)
	return nil
}

// fetchedByOthers asks for a new plan where another firm, whose round came first,
// fetched something new for a cell of this one since its plan was made.
func (r *round) fetchedByOthers() {
	if len(r.w.out.Arm) > 0 {
		return
	}
	var made time.Time // of a firm without a plan everything is news
	if r.w.book.Week != nil {
		made = r.w.book.Week.Made
	}
	for _, c := range r.cells {
		for _, n := range r.w.s.Sources {
			for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
				if x := r.heads[cellKey{endKey{n.Name, ep}, c}]; x != nil && x.Changed.After(made) {
					r.w.armReplan()
					return
				}
			}
		}
	}
}

// armReplan has a new plan made now.
func (w *work) armReplan() {
	w.out.Arm = append(w.out.Arm, task.Task{Firm: w.task.Firm, Name: task.Replan, Due: w.now, Slot: w.now})
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
	since := r.began().Add(-shareWithin)
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

// began gives when this round began. Not after now: under a clock that was ahead and
// is set right nothing could be fetched late enough, and the round would never end.
func (r *round) began() time.Time {
	if slot := r.w.task.Slot; slot.Before(r.now) {
		return slot
	}
	return r.now
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
		w.armReplan()
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

// keepRuns is how many days a forecast is kept that no call names: the evening
// ten days before a day that is over is learned from the morning after it.
const keepRuns = 12

func (w *work) prune(ctx context.Context) error {
	w.out.Revision = 0
	w.out.Dropped = w.today().AddDays(-keepPublished)
	n, err := w.s.Store.Prune(ctx, w.now.AddDate(0, 0, -keepRuns))
	if err != nil {
		return fmt.Errorf("drop old forecasts: %w", err)
	}
	w.s.Log.Debug().Int("runs", n).Msg("old forecasts dropped")
	if err := w.s.Store.ForgetSignIns(ctx, w.book.Firm.UID, w.now); err != nil {
		return fmt.Errorf("forget old sign-ins: %w", err)
	}
	return nil
}
