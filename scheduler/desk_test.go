package scheduler

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// memory is a store of forecasts that knows what fetching needs, in memory.
type memory struct {
	Store
	states  map[endKey]ledger.SourceState
	refused map[cellKey]ledger.RefusedCell
	runs    map[cellKey]forecast.Run
	reserve func(r ledger.Request) time.Time
	booked  float64
	mails   map[string]notify.Message
}

func newMemory() *memory {
	return &memory{
		states: map[endKey]ledger.SourceState{}, refused: map[cellKey]ledger.RefusedCell{}, runs: map[cellKey]forecast.Run{},
		mails: map[string]notify.Message{},
	}
}

func (m *memory) SourceStates(context.Context) ([]ledger.SourceState, error) {
	return slices.Collect(maps.Values(m.states)), nil
}

func (m *memory) RefusedCells(context.Context) ([]ledger.RefusedCell, error) {
	return slices.Collect(maps.Values(m.refused)), nil
}

func (m *memory) Reserve(_ context.Context, r ledger.Request) (time.Time, error) {
	if m.reserve != nil {
		if wait := m.reserve(r); !wait.IsZero() {
			return wait, nil
		}
	}
	m.booked += r.Cost
	return time.Time{}, nil
}

func (m *memory) Heads(ctx context.Context, sources []string, cells []forecast.Cell) (out []forecast.Run, err error) {
	for _, s := range sources {
		rs, _ := m.Runs(ctx, s, cells)
		out = append(out, rs...)
	}
	return out, nil
}

func (m *memory) Runs(_ context.Context, source string, cells []forecast.Cell) (out []forecast.Run, err error) {
	for _, c := range cells {
		for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
			if r, ok := m.runs[cellKey{endKey{source, ep}, c}]; ok {
				out = append(out, r)
			}
		}
	}
	return out, nil
}

func (m *memory) Recal(_ context.Context, source string) (ledger.Recal, error) {
	return ledger.Recal{Source: source}, nil
}

// Skill gives nothing: no day was learned from.
func (m *memory) Skill(context.Context, string, []forecast.Cell) ([]ledger.CellStats, error) {
	return nil, nil
}

// commit does what the database does with a decision of a fetch.
func (m *memory) commit(t testing.TB, d ledger.Decision) {
	t.Helper()
	for _, r := range d.Runs {
		m.runs[cellKey{endKey{r.Source, r.Endpoint}, r.Cell}] = r
	}
	for _, s := range d.Sources {
		m.states[endKey{s.Source, s.Endpoint}] = s
	}
	for _, c := range d.Refused {
		key := cellKey{endKey{c.Source, c.Endpoint}, c.Cell}
		if m.refused[key] = c; c.Until.IsZero() {
			delete(m.refused, key)
		}
	}
	for _, x := range d.Messages {
		if _, ok := m.mails[x.ID]; !ok {
			m.mails[x.ID] = x
		}
	}
	for _, u := range d.Untold {
		t.Errorf("not told: %s", u.Reason)
	}
	if d.Asked != nil {
		m.booked -= d.Asked.Back
	}
}

func (m *memory) subjects() (out []string) {
	for _, x := range m.mails {
		out = append(out, x.Subject)
	}
	slices.Sort(out)
	return out
}

// fake is a source whose answers are told by a function; nil answers well.
type fake struct {
	batch, members int // members 0: no ensemble
	answer         func(ask forecast.Ask) error
	stuck          bool // the same content for ever
	asks           []forecast.Ask
}

func (f *fake) Batch(ep forecast.Endpoint) int {
	if ep == forecast.Ensemble && f.members == 0 {
		return 0
	}
	return f.batch
}

func (f *fake) Fetch(_ context.Context, ask forecast.Ask) ([]forecast.Run, error) {
	f.asks = append(f.asks, ask)
	if f.answer != nil {
		if err := f.answer(ask); err != nil {
			return nil, err
		}
	}
	members, start := 1, ask.Now.Truncate(time.Hour).Add(-48*time.Hour)
	if ask.Endpoint == forecast.Ensemble {
		members, start = f.members, ask.Now.Truncate(time.Hour)
	}
	var out []forecast.Run
	for _, c := range ask.Cells {
		r := hoursOf(ask.Endpoint, start, members, members, 0)
		if !f.stuck { // each hour's fetch brings something new
			for i := range r.Hours.Cols[forecast.Air] {
				r.Hours.Cols[forecast.Air][i] = float32(ask.Now.Unix()/3600%20) + 1
			}
		}
		r.Cell, r.Digest = c, fmt.Sprint(ask.Now.Unix())
		out = append(out, r)
	}
	return out, nil
}

// places gives how many places were asked for.
func (f *fake) places() (n int) {
	for _, a := range f.asks {
		n += len(a.Cells)
	}
	return n
}

// desk is a firm whose fetching is driven by hand.
type desk struct {
	t    testing.TB
	s    *Scheduler
	m    *memory
	book ledger.Book
	next map[task.Name]task.Task
}

func newDesk(t testing.TB, jobs, cells int, sources ...NamedSource) *desk {
	f := job.DefaultFirm()
	f.UID, f.Name, f.Zone, f.Email = "quay", "Quay Roofs", "Europe/Dublin", "office@quay.example"
	d := &desk{t: t, m: newMemory(), next: map[task.Name]task.Task{}, book: ledger.Book{Firm: f}}
	for i := range jobs {
		k := i % cells
		d.book.Jobs = append(d.book.Jobs, job.Booking{
			Job: job.Job{ID: fmt.Sprintf("Q-%05d", i+1), Title: fmt.Sprintf("Roof %d", i+1), Earliest: job.Date{Year: 2027, Month: 6, Day: 1},
				Site: job.Site{Lat: 45 + 0.05*float64(k/20), Lon: -6 + 0.05*float64(k%20), ElevationM: 20, Zone: f.Zone, Address: fmt.Sprintf("%d Pier Road", i+1)}},
			State: job.Booked,
		})
	}
	d.s = New(Config{Store: d.m, Sources: sources, From: "Quay Roofs <office@quay.example>", Log: zerolog.Nop()})
	return d
}

// run does the fetch task that is due first until a time, and gives how often.
func (d *desk) run(name task.Name, from, to time.Time) (times int) {
	d.t.Helper()
	x, ok := d.next[name]
	if !ok {
		x = task.Task{Firm: "quay", Name: name, Due: from, Slot: from}
	}
	ep := forecast.Deterministic
	if name == task.FetchEnsemble {
		ep = forecast.Ensemble
	}
	for ; x.Due.Before(to); times++ {
		if times > 5000 {
			d.t.Fatal("the task is due again and again")
		}
		w, err := d.s.open(d.book, x, x.Due)
		if err != nil {
			d.t.Fatal(err)
		}
		if err := w.fetch(d.t.Context(), ep); err != nil {
			d.t.Fatal(err)
		}
		d.m.commit(d.t, w.out)
		x = w.out.Next
	}
	d.next[name] = x
	return times
}

var noon = time.Date(2027, 6, 10, 12, 0, 0, 0, time.UTC)

func named(name string, f *fake) NamedSource { return NamedSource{Source: f, Name: name} }
