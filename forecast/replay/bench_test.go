package replay

import (
	"context"
	"testing"
	"time"

	"laycast/forecast"
)

// BenchmarkFetch measures an evening's fetch for ten cells: the run made anew
// each time, and the run at hand.
func BenchmarkFetch(b *testing.B) {
	cells := make([]forecast.Cell, 10)
	for i := range cells {
		cells[i] = forecast.CellOf(44.6+0.05*float64(i), -63.6, 50)
	}
	s, err := New(inventedYear(1), Options{Seed: 1})
	if err != nil {
		b.Fatal(err)
	}
	fetch := func(b *testing.B, ep forecast.Endpoint, step time.Duration) {
		now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
		for b.Loop() {
			if _, err := s.Fetch(context.Background(), forecast.Ask{Endpoint: ep, Cells: cells, Now: now}); err != nil {
				b.Fatal(err)
			}
			now = now.Add(step)
		}
	}
	b.Run("ensemble/new-run", func(b *testing.B) { fetch(b, forecast.Ensemble, 3*time.Hour) })
	b.Run("ensemble/same-run", func(b *testing.B) { fetch(b, forecast.Ensemble, 0) })
	b.Run("deterministic/new-run", func(b *testing.B) { fetch(b, forecast.Deterministic, 3*time.Hour) })
	b.Run("deterministic/same-run", func(b *testing.B) { fetch(b, forecast.Deterministic, 0) })
}

func BenchmarkNew(b *testing.B) {
	rec := inventedYear(1)
	for b.Loop() {
		if _, err := New(rec, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// inventedYear is the year that tests and benchmarks replay.
func inventedYear(seed uint64) Record { return Invent(seed, 44.6, -63.6, 2027) }
