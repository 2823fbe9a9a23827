package scheduler

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// shelf is a store of runs and statistics alone.
type shelf struct {
	Store
	runs  []forecast.Run
	stats []ledger.CellStats
	fails bool
}

func (s *shelf) Skill(_ context.Context, source string, cells []forecast.Cell) ([]ledger.CellStats, error) {
	if s.fails {
		return nil, errors.New("the disk is gone")
	}
	return s.stats, nil
}

func (s *shelf) RunsAt(_ context.Context, source string, cell forecast.Cell, at, since time.Time) ([]forecast.Run, error) {
	var out []forecast.Run
	for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
		var best *forecast.Run
		for i, r := range s.runs {
			if r.Endpoint == ep && !r.FirstSeen.After(at) && !r.LastSeen.Before(since) && (best == nil || r.FirstSeen.After(best.FirstSeen)) {
				best = &s.runs[i]
			}
		}
		if best != nil {
			out = append(out, *best)
		}
	}
	return out, nil
}

// manySources is a source with an ensemble.
type manySources struct{ Source }

func (manySources) Batch(forecast.Endpoint) int { return 10 }

// filledShelf holds a fortnight of evenings whose members said 15 °C and hourly
// rows that were `warmer` than that.
func filledShelf(t *testing.T, now time.Time, warmer float32) (*shelf, *work) {
	t.Helper()
	w := aWork(t, now)
	cell := forecast.CellOf(44.6, -63.6, 20)
	s := &shelf{}
	for at := now.AddDate(0, 0, -14); !at.After(now); at = at.Add(6 * time.Hour) {
		at := at.Truncate(time.Hour)
		det := weather(forecast.Deterministic, at.Add(-48*time.Hour), 288, 1, dry)
		for i := range det.Hours.Cols[forecast.Air] {
			det.Hours.Cols[forecast.Air][i] += warmer
			det.Hours.Cols[forecast.Dew][i] += warmer
		}
		ens := weather(forecast.Ensemble, at, 168, 19, dry)
		for _, r := range []*forecast.Run{det, ens} {
			r.Cell, r.FirstSeen, r.LastSeen, r.Changed = cell, at, at, at
			s.runs = append(s.runs, *r)
		}
	}
	w.s.Store, w.s.Sources = s, []NamedSource{{Name: "by hand", Source: manySources{}}}
	w.task = task.Task{Name: task.Learn, Slot: now}
	w.out.Next = task.Task{Name: task.Learn, Due: now.AddDate(0, 0, 1)}
	return s, w
}

func TestDaysThatAreOverAreLearnedFromOnce(t *testing.T) {
	now := time.Date(2027, 4, 13, 6, 10, 0, 0, time.UTC)
	s, w := filledShelf(t, now, 2)
	if err := w.learn(t.Context()); err != nil {
		t.Fatal(err)
	}
	if len(w.out.Skill) != 1 || w.out.Revision != 0 {
		t.Fatalf("%d cells learned, want 1", len(w.out.Skill))
	}
	got := w.out.Skill[0].Stats
	if got.Days != learnBack || !got.Through.Equal(time.Date(2027, 4, 13, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("learned %d days through %s", got.Days, got.Through)
	}
	// 3 days of +2 K beside a prior worth 30
	for d := range 6 {
		if e := got.Lead[d][skill.Air][1].Error; math.Abs(e-2*3/33.0) > 0.03 {
			t.Errorf("day %d: the air is corrected by %.2f K, want about 0.18", d+1, e)
		}
	}
	// done again, as after a kill before the commit: the same
	again := *w
	again.out.Skill = nil
	if err := again.learn(t.Context()); err != nil || len(again.out.Skill) != 1 || again.out.Skill[0].Stats != got {
		t.Errorf("done again it is not the same: %v", err)
	}
	// and after the commit: nothing new
	s.stats, again.out.Skill = w.out.Skill, nil
	if err := again.learn(t.Context()); err != nil || len(again.out.Skill) != 0 {
		t.Errorf("a day was learned from twice: %v", err)
	}
}

func TestNothingIsLearnedWithoutRowsOrForecasts(t *testing.T) {
	now := time.Date(2027, 4, 13, 6, 10, 0, 0, time.UTC)
	s, w := filledShelf(t, now, 2)
	all := s.runs
	for name, keep := range map[string]func(forecast.Run) bool{
		"no forecast of the evenings before": func(r forecast.Run) bool { return r.FirstSeen.After(now.AddDate(0, 0, -1)) },
		"rows that were still to come":       func(r forecast.Run) bool { return r.FirstSeen.Before(now.AddDate(0, 0, -4)) },
	} {
		s.runs = nil
		for _, r := range all {
			if keep(r) {
				s.runs = append(s.runs, r)
			}
		}
		w.out.Skill = nil
		if err := w.learn(t.Context()); err != nil || len(w.out.Skill) != 0 {
			t.Errorf("%s: %d cells learned, %v", name, len(w.out.Skill), err)
		}
	}
	s.fails = true
	if err := w.learn(t.Context()); err == nil {
		t.Error("a store that fails is not told of")
	}
}
