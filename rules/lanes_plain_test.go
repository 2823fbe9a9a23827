package rules

import (
	"math"
	"reflect"
	"slices"
	"testing"

	"laycast/job"
)

// plainMargin measures the members' margins in hour i as marginHour has to, with
// every member's check, sorted.
func plainMargin(g *Ground, bounds []Bound, i int) LaneHour {
	h := LaneHour{At: g.at(float64(i)), Middle: math.NaN(), Careful: math.NaN()}
	type tight struct {
		room float64
		Check
	}
	var all []tight
	for m := range g.count {
		worst, broken, known := tight{room: math.Inf(1)}, false, true
		for _, b := range bounds {
			v := g.value(b.Limit, m, i)
			known = known && v == v
			broken = broken || !b.holds(v)
			if r := b.margin(v) / errorOf(b.Limit) / roomy; r < worst.room {
				worst = tight{r, Check{Limit: b.Limit, At: h.At, Value: round2(v), Bound: b.Value, Margin: round2(b.margin(v)), Unit: b.Unit}}
			}
		}
		if !known {
			continue
		}
		h.Known++
		if broken {
			h.Broken++
		}
		all = append(all, worst)
	}
	if !h.enough(g.count) {
		return h
	}
	slices.SortStableFunc(all, func(a, b tight) int {
		switch {
		case a.room < b.room:
			return -1
		case a.room > b.room:
			return 1
		}
		return 0
	})
	n := len(all)
	h.Middle, h.Careful = all[(n-1)/2].room, all[int(doubtful*float64(n))].room
	h.Check = all[(n-1)/2].Check
	return h
}

// TestMarginsAreThePlainOnes: every hour of every lane, on weather with many equal
// values (readings are kept in steps of 0.1 and of 1 %).
func TestMarginsAreThePlainOnes(t *testing.T) {
	is, c := benchIssue(t), book()[0]
	g := NewGround(is, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
	compared, equalRooms := 0, 0
	for _, set := range []int{setLaminate, setTopcoat} {
		for _, limits := range lanes() {
			bounds := slices.DeleteFunc(slices.Clone(g.profile.bounds(set)), func(b Bound) bool { return !slices.Contains(limits, b.Limit) })
			if len(bounds) == 0 {
				continue
			}
			for i := range g.n {
				got, want := g.marginHour(bounds, i), plainMargin(g, bounds, i)
				if math.IsNaN(got.Middle) && math.IsNaN(want.Middle) {
					got.Middle, got.Careful, want.Middle, want.Careful = 0, 0, 0, 0
				}
				if !reflect.DeepEqual(got, want) {
					t.Fatalf("%v, hour %d: %+v, plainly %+v", limits, i, got, want)
				}
				compared++
				seen := map[float64]bool{}
				for m := range g.count {
					r, _, _ := g.room(bounds, m, i)
					if seen[r] {
						equalRooms++
					}
					seen[r] = true
				}
			}
		}
	}
	if compared < 1000 || equalRooms < 100 {
		t.Errorf("%d hours compared, %d members with another's room: too few to tell", compared, equalRooms)
	}
}

// BenchmarkLanes is what one crew mail's picture asks of a ground.
func BenchmarkLanes(b *testing.B) {
	is, c := benchIssue(b), book()[0]
	g := NewGround(is, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
	day := g.Judge(c, may4.AddDays(2), clock(may4, 0), job.DefaultFirm().Bounds)
	b.ReportAllocs()
	for b.Loop() {
		g.Lanes(c, day, clock(day.Date, 6), clock(day.Date, 21))
	}
}
