package scheduler

import (
	"context"
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// Source is a forecast source. Fetch makes one attempt and no more.
type Source interface {
	Fetch(ctx context.Context, ask forecast.Ask) ([]forecast.Run, error)
	// Batch gives how many cells one Ask may name, 0 where there is no such endpoint.
	Batch(ep forecast.Endpoint) int
}

// NamedSource is one source in the order of preference.
type NamedSource struct {
	Source  Source
	Name    string // runs bear it as their Source
	Credit  string // shown where the weather is shown
	Licence string // of the data, in words
	Free    bool   // on terms that allow no commercial use
	// Tries is how many failures in a row are borne before the next source is
	// asked too; 0 = 2. A source whose first answers often fail has more.
	Tries  int
	Limits ledger.Limits
}

// usualTries is how often a source may fail in a row before the next one is
// asked too: one failure is a hiccup (ours, no source).
const usualTries = 2

func (n NamedSource) tries() int {
	if n.Tries > 0 {
		return n.Tries
	}
	return usualTries
}

// Cost gives what a request costs in the source's calls: its own weight where it
// tells one, else 1.
func (n NamedSource) Cost(ep forecast.Endpoint, cells int) float64 {
	if x, ok := n.Source.(interface {
		Weight(ep forecast.Endpoint, cells int) float64
	}); ok {
		return x.Weight(ep, cells)
	}
	return 1
}

// detOnly says that the source has no ensemble.
func (n NamedSource) detOnly() bool { return n.Source.Batch(forecast.Ensemble) == 0 }

// Of marks an issue as the source's.
func (n NamedSource) Of(is forecast.Issue) forecast.Issue {
	is.Source, is.DetOnly = n.Name, n.detOnly()
	return is
}

// endpoints gives what the source has.
func (n NamedSource) endpoints() []forecast.Endpoint {
	if n.detOnly() {
		return []forecast.Endpoint{forecast.Deterministic}
	}
	return []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble}
}

// endKey names an endpoint of a source, cellKey a cell of it.
type endKey struct {
	source string
	ep     forecast.Endpoint
}

type cellKey struct {
	endKey
	cell forecast.Cell
}

// health is how all sources are doing.
type health struct {
	states  map[endKey]ledger.SourceState
	refused map[cellKey]ledger.RefusedCell
	heads   map[cellKey]*forecast.Run // newest runs, with or without their hours
	now     time.Time
	zone    *time.Location
}

// healthNow reads how the sources are doing, without any runs.
func (s *Scheduler) healthNow(ctx context.Context, now time.Time, zone *time.Location) (*health, error) {
	h := &health{
		states: map[endKey]ledger.SourceState{}, refused: map[cellKey]ledger.RefusedCell{}, heads: map[cellKey]*forecast.Run{},
		now: now, zone: zone,
	}
	states, err := s.Store.SourceStates(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the state of the sources: %w", err)
	}
	for _, st := range states {
		h.states[endKey{st.Source, st.Endpoint}] = st
	}
	refused, err := s.Store.RefusedCells(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the places that sources refuse: %w", err)
	}
	for _, c := range refused {
		h.refused[cellKey{endKey{c.Source, c.Endpoint}, c.Cell}] = c
	}
	return h, nil
}

func (h *health) see(runs []forecast.Run) {
	for i := range runs {
		h.heads[cellKey{endKey{runs[i].Source, runs[i].Endpoint}, runs[i].Cell}] = &runs[i]
	}
}

func (h *health) state(n NamedSource, ep forecast.Endpoint) ledger.SourceState {
	st := h.states[endKey{n.Name, ep}]
	st.Source, st.Endpoint = n.Name, ep
	return st
}

// longBlock is how long a source has to be barred before the next one is asked:
// the end of a minute's or hour's allowance is worth waiting for (ours, no
// source).
const longBlock = 15 * time.Minute

// unwell reports whether another source is to be asked beside this one for a
// cell: it fails, is barred, refuses the place, or sends the same content on
// and on.
func (h *health) unwell(n NamedSource, cell forecast.Cell) bool {
	for _, ep := range n.endpoints() {
		st := h.state(n, ep)
		key := cellKey{endKey{n.Name, ep}, cell}
		if st.Failures >= n.tries() || st.Until.Sub(h.now) > longBlock || h.refused[key].Until.After(h.now) {
			return true
		}
		if r := h.heads[key]; r != nil && h.stale(r) {
			return true
		}
	}
	return false
}

// stale reports whether a run is too old for a go: its content was old when it
// was last seen, or (the hourly one, which is fetched often) it was not seen for
// too long.
func (h *health) stale(r *forecast.Run) bool {
	return stuck(r) || r.Endpoint == forecast.Deterministic && h.now.Sub(r.LastSeen) > call.SeenWithin
}

func stuck(r *forecast.Run) bool {
	within := call.DetWithin
	if r.Endpoint == forecast.Ensemble {
		within = call.EnsWithin
	}
	return r.LastSeen.Sub(r.Changed) > within
}

// why says in words why a source's weather is not used for a cell.
func (h *health) why(n NamedSource, cell forecast.Cell) string {
	for _, ep := range n.endpoints() {
		st := h.state(n, ep)
		key := cellKey{endKey{n.Name, ep}, cell}
		r := h.heads[key]
		switch {
		case h.refused[key].Until.After(h.now):
			return n.Name + " refuses this place"
		case st.Until.Sub(h.now) > longBlock:
			return fmt.Sprintf("%s is not to be asked before %s", n.Name, h.clock(st.Until))
		case st.Failures > 0:
			return fmt.Sprintf("%s has failed since %s", n.Name, h.clock(st.Since))
		case r != nil && stuck(r):
			return fmt.Sprintf("%s has sent nothing new since %s", n.Name, h.clock(r.Changed))
		case r != nil && h.stale(r):
			return fmt.Sprintf("%s was last asked at %s", n.Name, h.clock(r.LastSeen))
		}
	}
	return n.Name + " has no forecast for this place yet"
}

// clock gives a time as the firm reads it, with the day where it is not today's.
func (h *health) clock(t time.Time) string {
	l, today := t.In(h.zone), h.now.In(h.zone)
	if l.YearDay() == today.YearDay() && l.Year() == today.Year() {
		return l.Format("15:04")
	}
	return l.Format("15:04 on Monday 2 January")
}
