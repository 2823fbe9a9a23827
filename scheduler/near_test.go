package scheduler

import (
	"math"
	"slices"
	"testing"

	"laycast/forecast"
)

// TestNear: in the order of Near one goes from place to place by short steps, and
// firms of the same cells stand side by side.
func TestNear(t *testing.T) {
	at := func(k int) forecast.Cell {
		return forecast.Cell{Lat: 52 + 0.05*float64(k%40), Lon: -9 + 0.05*float64(k/40)}
	}
	var order []int
	for k := range 1500 {
		order = append(order, k)
	}
	seen := map[int64]bool{}
	for _, k := range order {
		seen[Near([]forecast.Cell{at(k)})] = true
	}
	if len(seen) != len(order) {
		t.Errorf("%d cells have %d numbers", len(order), len(seen))
	}
	way := func() (d float64) {
		for i := range order[1:] {
			a, b := at(order[i]), at(order[i+1])
			d += math.Abs(a.Lat-b.Lat) + math.Abs(a.Lon-b.Lon)
		}
		return d / 0.05 / float64(len(order)-1)
	}
	slices.SortFunc(order, func(a, b int) int {
		return int(Near([]forecast.Cell{at(a)}) - Near([]forecast.Cell{at(b)}))
	})
	if d := way(); d > 2 {
		t.Errorf("%.2f cells from one place to the next, want 2 at most", d)
	}
	one, pair := Near([]forecast.Cell{at(41)}), Near([]forecast.Cell{at(0), at(82)})
	if one != pair || Near(nil) != 0 {
		t.Errorf("the middle of two cells has %d, the cell there %d, nowhere %d", pair, one, Near(nil))
	}
	for _, c := range []forecast.Cell{{Lat: -90, Lon: -180}, {Lat: 90, Lon: 180}, {Lat: 90, Lon: 179.95}} {
		if n := Near([]forecast.Cell{c}); n < 0 || n >= 1<<26 {
			t.Errorf("%v has %d", c, n)
		}
	}
}
