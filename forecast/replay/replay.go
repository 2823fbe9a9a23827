// Package replay turns a year of hourly weather, recorded or invented, into
// forecasts: the built-in source of the demo and of the rolling benchmark.
// Rows up to a model run are the record; later ones are made from it by a
// seeded error model that grows with lead (see run.go), so that the truth's
// rank among the members is flat when Options.Spread is 1. It knows the truth:
// its record and seed are never for the planner that is being judged by it.
package replay

import (
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"laycast/forecast"
)

// SourceName is what runs of this package name as their source and model.
const SourceName = "replay"

// The rows of an answer, as the HTTP sources give them: rows n to n+k make k
// slots.
const (
	pastRows     = 48  // deterministic: hours of the record before now
	aheadRows    = 241 // deterministic: rows from now on
	ensembleRows = 169 // ensemble: rows from now on
)

// Options say how forecasts are made from the record. The zero value of a
// field is its default.
type Options struct {
	Seed     uint64
	Members  int     // besides the control; default 18
	Spread   float64 // of the members: 1 (default) calibrated, 0.5 like raw members
	Scale    float64 // of the errors, 1 by default; 0.7 and 1.3 try the model's sensitivity
	RunEvery int     // hours between model runs, 1 to 24; default 3
	ID       string  // goes into the seed: sources of different ID err independently
	Drawn    bool    // the members' shared error is drawn normal, not summed of other days of the record (shared.go)
}

// Source makes forecasts of one record's year, whatever year it is asked for:
// the same month, day and hour UTC, 29 February as the 28th. It may be used by
// several goroutines.
type Source struct {
	rec      Record
	opt      Options
	climate  *climate
	ties     [nScores][]float64 // r by measure and lead-1
	sun      bool               // the record knows its place
	likeness likeness           // of the record's scores; with Options.Drawn

	mu   sync.Mutex
	kept []*issued // the runs asked for last, newest at the end
}

// keptRuns is how many runs are kept: a benchmark asks for one run many times.
const keptRuns = 4

// New makes a source of a record. It fails where an option is out of range or
// the record lacks air, dew point, wind or rain for much of the year.
func New(rec Record, opt Options) (*Source, error) {
	opt = opt.withDefaults()
	if err := opt.check(); err != nil {
		return nil, err
	}
	c, err := newClimate(rec)
	if err != nil {
		return nil, err
	}
	s := &Source{rec: Record{Lat: rec.Lat, Lon: rec.Lon}, opt: opt, climate: c, sun: rec.Lat != 0 || rec.Lon != 0}
	if opt.Drawn {
		s.likeness = likenessOf(c)
	}
	for v := range s.ties {
		s.ties[v] = make([]float64, aheadRows+opt.RunEvery)
		for k := range s.ties[v] {
			s.ties[v][k] = c.tie(v, k+1, opt.Scale)
		}
	}
	return s, nil
}

// withDefaults puts the defaults in.
func (o Options) withDefaults() Options {
	if o.Members == 0 {
		o.Members = 18
	}
	if o.Spread == 0 {
		o.Spread = 1
	}
	if o.Scale == 0 {
		o.Scale = 1
	}
	if o.RunEvery == 0 {
		o.RunEvery = 3
	}
	return o
}

// check refuses options out of range.
func (o Options) check() error {
	switch {
	case o.Members < 1 || o.Members > 200:
		return fmt.Errorf("replay members is %d; give 1 to 200", o.Members)
	case !(o.Spread > 0 && o.Spread <= 2):
		return fmt.Errorf("replay spread is %g; give more than 0, at most 2", o.Spread)
	case !(o.Scale > 0 && o.Scale <= 2):
		return fmt.Errorf("replay scale is %g; give more than 0, at most 2", o.Scale)
	case o.RunEvery < 1 || o.RunEvery > 24:
		return fmt.Errorf("replay makes a run every %d hours; give 1 to 24", o.RunEvery)
	}
	return nil
}

// RunTime gives the start of the model run that stands at now.
func (s *Source) RunTime(now time.Time) time.Time {
	every := int64(s.opt.RunEvery) * 3600
	sec := now.Unix()
	return time.Unix(sec-((sec%every)+every)%every, 0).UTC()
}

// Fetch answers for every cell as the HTTP sources do: 48 hours of the record
// and 240 hours ahead for the deterministic endpoint, 168 hours ahead for the
// ensemble. All cells get the same hours, the record being of one place. An
// answer changes only with the model run; its window moves with the hour.
func (s *Source) Fetch(ctx context.Context, ask forecast.Ask) ([]forecast.Run, error) {
	ep, cells, now := ask.Endpoint, ask.Cells, ask.Now
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("fetch %s from the replay: %w", ep, err)
	}
	if ep != forecast.Deterministic && ep != forecast.Ensemble {
		return nil, fmt.Errorf("replay has no endpoint %q", ep)
	}
	run := s.run(s.RunTime(now))
	hour := now.UTC().Truncate(time.Hour)
	made := s.ensemble(run, hour)
	if ep == forecast.Deterministic {
		made = s.deterministic(run, hour)
	}
	made = forecast.Quantise(made)
	digest := forecast.Digest(made)
	runs := make([]forecast.Run, len(cells))
	for i, cell := range cells {
		runs[i] = forecast.Run{
			Source: SourceName, Endpoint: ep, Cell: cell, Model: SourceName, ModelRun: run.start,
			Hours: clone(made), Digest: digest, FirstSeen: now, LastSeen: now, Notes: s.notes(),
		}
	}
	return runs, nil
}

// notes say what the record did not hold.
func (s *Source) notes() []string {
	notes := []string{"replayed weather: made from a year's record, no forecast of real weather",
		"gust estimated from wind where the record has none", "cloud worked out of rain and damp"}
	if !s.sun {
		notes = append(notes, "no radiation: the record's place is not known")
	}
	return notes
}

// clone copies hours so that no cell shares another's columns.
func clone(h forecast.Hours) forecast.Hours {
	for v, col := range h.Cols {
		if col != nil {
			h.Cols[v] = append([]float32(nil), col...)
		}
	}
	return h
}

// run gives a model run, made at most once while it is among the last few.
func (s *Source) run(start time.Time) *issued {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, r := range s.kept {
		if r.start.Equal(start) {
			return r
		}
	}
	r := s.issue(start)
	if len(s.kept) == keptRuns {
		s.kept = append(s.kept[:0:0], s.kept[1:]...)
	}
	s.kept = append(s.kept, r)
	return r
}

// Truth gives the record itself as n slots from start on: for scoring what was
// decided on this source's forecasts, never for deciding.
func (s *Source) Truth(start time.Time, n int) forecast.Hours {
	start = start.UTC().Truncate(time.Hour)
	h := forecast.NewHours(start, n, 1, ensembleVars...)
	h.Cols[forecast.Pressure] = forecast.NewHours(start, n, 1, forecast.Pressure).Cols[forecast.Pressure]
	s.slots(h, 0, func(t time.Time) point { return s.recorded(t) })
	return forecast.Quantise(h)
}

// ensemble gives the slots of control and members from hour on.
func (s *Source) ensemble(run *issued, hour time.Time) forecast.Hours {
	h := forecast.NewHours(hour, ensembleRows-1, s.opt.Members+1, ensembleVars...)
	for m := range h.Members {
		s.slots(h, m, func(t time.Time) point { return s.at(run, m, t) })
	}
	return h
}

// deterministic gives the slots of past and future of the last point column,
// with the chance of rain of the whole ensemble.
func (s *Source) deterministic(run *issued, hour time.Time) forecast.Hours {
	vars := append([]forecast.Var{forecast.Pressure, forecast.RainChance}, ensembleVars...)
	h := forecast.NewHours(hour.Add(-pastRows*time.Hour), pastRows+aheadRows-1, 1, vars...)
	s.slots(h, 0, func(t time.Time) point { return s.at(run, s.opt.Members+1, t) })
	for i := range h.N {
		end := h.Start.Add(time.Duration(i+1) * time.Hour)
		if !end.After(run.start) {
			continue // the past has no chance
		}
		wet := 0
		for m := range s.opt.Members + 1 {
			if s.at(run, m, end).rain > wetLeast+1e-6 {
				wet++
			}
		}
		h.Cols[forecast.RainChance][i] = float32(100 * float64(wet) / float64(s.opt.Members+1))
	}
	return h
}

// ensembleVars are what a member has.
var ensembleVars = []forecast.Var{forecast.Air, forecast.Dew, forecast.RH, forecast.Rain,
	forecast.Wind, forecast.Gust, forecast.Cloud, forecast.Solar}

// at gives member m's point at t: the record up to the run, the model after.
func (s *Source) at(run *issued, m int, t time.Time) point {
	lead := int(t.Sub(run.start) / time.Hour)
	if lead <= 0 {
		return s.recorded(t)
	}
	return run.points[m][lead-1]
}

// recorded gives the record's point at t, unknown where the record is.
func (s *Source) recorded(t time.Time) point {
	i := hourOfYear(t)
	row := s.climate.raw[i]
	gust := row.Gust
	if math.IsNaN(gust) {
		gust = gustOf(row.Wind)
	}
	p := point{
		air: float32(row.Air), dew: float32(row.Dew), rain: float32(row.Rain), wind: float32(row.Wind),
		gust: float32(gust), pressure: float32(row.Pressure), solar: float32(row.Solar), score: s.climate.score[sRain][i],
	}
	if math.IsNaN(row.Rain) {
		p.score = forecast.Unknown()
	}
	return p
}

// slots fills member m's slots of h by the rule of hours: a slot's rain is that
// of the row at its end, its gust the greater of its two ends, its instants the
// mean of both.
func (s *Source) slots(h forecast.Hours, m int, at func(time.Time) point) {
	put := func(v forecast.Var, i int, x float32) {
		if h.Cols[v] != nil {
			h.Cols[v][m*h.N+i] = x
		}
	}
	from := at(h.Start)
	for i := range h.N {
		begin := h.Start.Add(time.Duration(i) * time.Hour)
		to := at(begin.Add(time.Hour))
		put(forecast.Air, i, (from.air+to.air)/2)
		put(forecast.Dew, i, (from.dew+to.dew)/2)
		put(forecast.RH, i, (from.rh()+to.rh())/2)
		put(forecast.Rain, i, to.rain)
		put(forecast.Wind, i, (from.wind+to.wind)/2)
		put(forecast.Gust, i, max(from.gust, to.gust)) // NaN where either is
		put(forecast.Pressure, i, (from.pressure+to.pressure)/2)
		dim := s.dimBetween(from.score, to.score)
		put(forecast.Cloud, i, float32(100*cover(dim)))
		switch {
		case forecast.Known(from.solar) && forecast.Known(to.solar):
			put(forecast.Solar, i, (from.solar+to.solar)/2)
		case s.sun:
			clear := clearSky(sunSine(begin.Add(30*time.Minute), s.rec.Lat, s.rec.Lon))
			put(forecast.Solar, i, float32(clear*(1-dim)))
		}
		from = to
	}
}

// dimBetween gives the share of radiation taken away between two hours, NaN
// where either score is.
func (s *Source) dimBetween(a, b float32) float64 {
	if a != a || b != b {
		return math.NaN()
	}
	return (s.climate.dimAt(float64(a)) + s.climate.dimAt(float64(b))) / 2
}

// rh gives the point's relative humidity, %.
func (p point) rh() float32 { return float32(rhFromDew(float64(p.air), float64(p.dew))) }
