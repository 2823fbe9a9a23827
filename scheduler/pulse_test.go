package scheduler

import (
	"testing"
	"time"
)

// All are at rest only when nobody can have left work for another.
func TestPulse(t *testing.T) {
	noon := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name string
		do   func(look func(i int), p *pulse)
		told int
	}{
		{"each looked once", func(look func(int), _ *pulse) { look(0); look(1); look(1); look(1) }, 0},
		{"each looked twice", func(look func(int), _ *pulse) { look(0); look(1); look(0); look(1) }, 1},
		{"one works while the other looks", func(look func(int), p *pulse) {
			look(0)
			look(1)
			working := p.beat(0, noon)
			look(1)
			look(1)
			p.stir() // what it did is work for the other
			p.rest(0, working, noon)
			look(0)
			look(0)
		}, 0},
		{"the other looked after the work", func(look func(int), p *pulse) {
			look(0)
			look(1)
			p.stir()
			look(1)
			look(0)
			look(1)
			look(0)
		}, 1},
		{"one looks at another time", func(look func(int), p *pulse) {
			look(0)
			p.rest(1, p.beat(1, noon), noon.Add(time.Minute))
			look(0)
			p.rest(1, p.beat(1, noon), noon.Add(time.Minute))
		}, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			var told int
			p := newPulse(2, noon, func(at time.Time) {
				told++
				if !at.Equal(noon) {
					t.Errorf("told %s", at)
				}
			})
			look := func(i int) { p.rest(i, p.beat(i, noon), noon) }
			look(0) // the first look at a time begins its round
			c.do(look, p)
			if told != c.told {
				t.Errorf("told %d times that all are at rest, want %d", told, c.told)
			}
		})
	}
}
