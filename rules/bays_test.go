package rules

import (
	"math"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"

	"pgregory.net/rapid"
)

// TestBaysOfAPair: with the built-in paces, and nine days in ten done in time,
// a pair strips and lays 13.5 m² with trim all round in a full day, 18 m² at
// the middle pace. (DESIGN's "about 20 m² in a day" is common practice, and
// more than its own rates give.)
func TestBaysOfAPair(t *testing.T) {
	for area, want := range map[float64]int{8: 1, 13: 1, 20: 2, 64: 5} {
		c := roof(area, job.Replace, job.NewBoard)
		if got := c.Bays(); got != want {
			t.Errorf("%g m²: %d bays, want %d", area, got, want)
		}
		if b, ok := c.NextBay(may4); !ok || b.Of != want || math.Abs(b.AreaM2*float64(want)-area) > 1e-9 {
			t.Errorf("%g m²: first bay %+v", area, b)
		}
	}
}

// TestBaysAreEqualAndFit walks a roof bay by bay to its end.
func TestBaysAreEqualAndFit(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		c := roof(rapid.Float64Range(1, 300).Draw(rt, "m2"),
			rapid.SampledFrom([]job.Work{job.Replace, job.Overboard, job.Relaminate}).Draw(rt, "work"), job.NewBoard)
		c.Crew = rapid.IntRange(2, 5).Draw(rt, "crew")
		c.Job.Roof.Outlets = rapid.IntRange(0, 4).Draw(rt, "outlets")
		first, ok := c.NextBay(may4)
		if !ok || first.Of != c.Bays() {
			rt.Fatalf("first bay %+v (%v), %d bays by the clock", first, ok, c.Bays())
		}
		room := 10.5 - 1 // hours, less setting and clearing up
		if need := c.need(first); need > room+1e-9 {
			rt.Fatalf("bay %+v takes %.2f h of %.2f", first, need, room)
		}
		if n := float64(first.Of - 1); n > 0 {
			bigger := first
			bigger.AreaM2, bigger.TrimM, bigger.Outlets = first.AreaM2*(n+1)/n, first.TrimM*(n+1)/n, first.Outlets*(n+1)/n
			bigger.Of = int(n)
			if c.need(bigger) <= room {
				rt.Fatalf("%d bays would do as well as %d", bigger.Of, first.Of)
			}
		}
		for n := first.Of; n > 0; n-- {
			b, ok := c.NextBay(may4)
			// the last bays have no joint for the night and may need one bay less
			if !ok || b.Task != Lay || b.Of > n {
				rt.Fatalf("with %.2f of %.2f m² laid: %+v, %v, want %d bays", c.Job.LaidM2, c.Job.Roof.AreaM2, b, ok, n)
			}
			c.Job.LaidM2 += b.AreaM2
			if b.Of == 1 {
				break
			}
		}
		if left := c.Job.Roof.AreaM2 - c.Job.LaidM2; math.Abs(left) > 1e-6 {
			rt.Fatalf("%.6f m² are left after the last bay", left)
		}
	})
}

// TestTopcoatVisitsAreCutToo: a big roof is not topcoated in a day.
func TestTopcoatVisitsAreCutToo(t *testing.T) {
	c := roof(300, job.Overboard, job.NewBoard)
	c.Job.LaidM2 = 300
	days := 0
	for c.Job.CoatedM2 < 299.99 {
		b, ok := c.NextBay(may4)
		if !ok || b.Task != Coat {
			t.Fatalf("%.1f m² coated: %+v, %v", c.Job.CoatedM2, b, ok)
		}
		if c.need(b) > 9.5 {
			t.Fatalf("%.1f m² take %.1f h", b.AreaM2, c.need(b))
		}
		c.Job.CoatedM2 += b.AreaM2
		days++
	}
	if days < 2 {
		t.Errorf("%d days for 300 m²", days)
	}
	if b, ok := c.NextBay(may4); ok {
		t.Errorf("after the last: %+v", b)
	}
}

func TestHalfDays(t *testing.T) {
	for _, c := range []struct {
		area, laid, coated float64
		crew, want         int
	}{
		{3, 0, 0, 2, 1}, {8, 0, 0, 2, 2}, {8, 0, 0, 5, 1}, {20, 0, 0, 2, 4}, {20, 0, 0, 3, 2}, {64, 0, 0, 2, 6}, {500, 0, 0, 2, 6},
		{64, 60, 0, 2, 1}, {64, 54, 0, 2, 2}, {64, 64, 0, 2, 2}, {8, 8, 0, 2, 1}, {64, 64, 32, 2, 1}, {8, 8, 8, 2, 0}, {8, 0, 0, 1, 0}, {0.4, 0, 0, 2, 1},
	} {
		cs := roof(c.area, job.Replace, job.NewBoard)
		cs.Job.LaidM2, cs.Job.CoatedM2, cs.Crew = c.laid, c.coated, c.crew
		if got := cs.HalfDays(may4); got != c.want {
			t.Errorf("%+v: %d half days", c, got)
		}
	}
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 1)
		switch n := s.c.HalfDays(s.d); n {
		case 0, 1, 2, 4, 6:
			if _, ok := s.c.NextBay(s.d); ok != (n > 0) {
				rt.Fatalf("%d half days, but a bay: %v", n, ok)
			}
		default:
			rt.Fatalf("%d half days", n)
		}
	})
}

func TestOneHandLaysNothing(t *testing.T) {
	for _, crew := range []int{-1, 0, 1} {
		c := small()
		c.Crew = crew
		if b, ok := c.NextBay(may4); ok || c.Bays() != 0 || c.HalfDays(may4) != 0 {
			t.Errorf("crew of %d: %+v, %d bays, %d half days", crew, b, c.Bays(), c.HalfDays(may4))
		}
		if day := fair(may4, 20).judge(c); day.Known() {
			t.Errorf("crew of %d: %+v", crew, day)
		}
	}
}

func TestThirdHandIsFaster(t *testing.T) {
	s, before := fair(may4, 20), time.Time{}
	for crew := 5; crew >= 2; crew-- {
		c := small()
		c.Crew = crew
		day := s.judge(c)
		if !day.SealedBy.After(before) {
			t.Errorf("crew of %d sealed by %s, one more hand by %s", crew, day.SealedBy, before)
		}
		before = day.SealedBy
	}
	two, three := small(), small()
	three.Crew = 3
	b, _ := two.NextBay(may4)
	if x := two.work(b).strip / three.work(b).strip; math.Abs(x-1.4) > 1e-9 {
		t.Errorf("a third hand speeds the strip by %.3f", x)
	}
}

func TestOvercoatWindow(t *testing.T) {
	c := small()
	c.Job.LaidM2 = 8
	for ago, late := range map[int]bool{1: false, 2: false, 3: true, 9: true} {
		c.Job.SealedOn = may4.AddDays(-ago)
		b, ok := c.NextBay(may4)
		if !ok || b.Task != Coat || b.Late != late {
			t.Errorf("sealed %d days ago: %+v", ago, b)
		}
		if w, rest := c.work(b), 8.0/40; (math.Abs(w.sand-rest) > 1e-9) != late {
			t.Errorf("sealed %d days ago: %.3f h of sanding and abrading", ago, w.sand)
		}
	}
}

// TestPolarDays: in the polar night nobody works; under the midnight sun the
// clock alone rules.
func TestPolarDays(t *testing.T) {
	z, err := time.LoadLocation("Arctic/Longyearbyen")
	if err != nil {
		t.Fatal(err)
	}
	c := small()
	c.Job.Site.Lat, c.Job.Site.Lon, c.Zone = 78.2, 15.6, z
	for d, want := range map[job.Date]bool{
		{Year: 2027, Month: 12, Day: 21}: false, {Year: 2027, Month: 1, Day: 15}: false,
		{Year: 2027, Month: 6, Day: 21}: true, {Year: 2027, Month: 4, Day: 25}: true,
	} {
		_, ok := c.NextBay(d)
		day := fair(d, 20).judge(c)
		if ok != want || day.Known() != want || (c.HalfDays(d) > 0) != want {
			t.Errorf("%s: bay %v, known %v, half days %d", d, ok, day.Known(), c.HalfDays(d))
		}
	}
}

// TestShortDaysHoldStartsOrNothing: in winter the bay is cut to the light, and
// a day that holds a bay always has a time on site for it. A day too short for
// any bay is no working day.
func TestShortDaysHoldStartsOrNothing(t *testing.T) {
	none, some := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 1)
		s.c.Job.Site.Lat = rapid.Float64Range(40, 69).Draw(rt, "lat")
		g := s.ground()
		p, ok := g.dayPlan(s.c, s.d)
		if !ok {
			none++
			return
		}
		some++
		if starts := p.startsOf(g, time.Time{}); len(starts) == 0 || starts[0] != p.from {
			rt.Fatalf("%s at %.1f° N: bay %+v, working time %.2f to %.2f, no return %.2f, starts %v",
				s.d, s.c.Job.Site.Lat, p.bay, p.from, p.to, p.noReturn, starts)
		}
		first, clock := g.at(p.from), job.Instant(s.d, s.c.Hours.From, s.c.Zone)
		if first.Before(clock) || first.Sub(clock)%(30*time.Minute) != 0 {
			rt.Fatalf("first time on site %s, working hours from %s", first, clock)
		}
	})
	if some == 0 {
		t.Error("no day had a bay")
	}
	c := small()
	c.Job.Site.Lat = 66.5
	if b, ok := c.NextBay(job.Date{Year: 2027, Month: 12, Day: 21}); ok && c.need(b) > 24 {
		t.Errorf("midwinter bay %+v", b)
	}
}

func TestSurfaceOf(t *testing.T) {
	slab, board := SurfaceOf(roof(8, job.Balcony, job.Concrete).Job.Job), SurfaceOf(small().Job.Job)
	if slab.HeatCapacity <= board.HeatCapacity {
		t.Errorf("slab %g, board %g J/m²K", slab.HeatCapacity, board.HeatCapacity)
	}
	c := small()
	c.Job.Roof.Shade, c.Job.Roof.Exposure = 0.8, 1.5
	shady := fair(may4, 1).ground(c).HourTable(clock(may4, 12), clock(may4, 13))
	sunny := fair(may4, 1).ground(small()).HourTable(clock(may4, 12), clock(may4, 13))
	if len(shady) != 1 || len(sunny) != 1 || shady[0].Surface >= sunny[0].Surface-2 {
		t.Errorf("at noon %+v in shade and wind, %+v in the sun", shady, sunny)
	}
	if !sunny[0].Daylight || !sunny[0].At.Equal(clock(may4, 12)) || float32(sunny[0].Air) != 16 {
		t.Errorf("noon: %+v", sunny[0])
	}
}

func TestProfiles(t *testing.T) {
	for _, name := range []string{"", "polyester"} {
		if p, err := ProfileNamed(name); err != nil || p.Name != "polyester" || len(p.Sets()) != stageSets {
			t.Errorf("%q: %s, %v", name, p.Name, err)
		}
	}
	if _, err := ProfileNamed("tar"); err == nil {
		t.Error("a profile of tar")
	}
	for i, s := range Polyester().Sets() {
		p := Polyester()
		if got := p.bounds(i); len(got) != len(s.Bounds) || got[0] != s.Bounds[0] {
			t.Errorf("set %d, %s: %v and %v", i, s.Name, got, s.Bounds)
		}
	}
}

func TestTighterComparesInStandardErrors(t *testing.T) {
	wind := Check{Limit: LimitWind, Margin: 1.7}
	rain := Check{Limit: LimitRain, Value: 0.05, Margin: 0.05}
	if !Tighter(rain, wind) || Tighter(wind, rain) || Tighter(rain, rain) {
		t.Error("0.05 mm is half an error, 1.7 m/s a whole one")
	}
	if dry := (Check{Limit: LimitRain, Margin: 0.1}); !Tighter(wind, dry) || !Tighter(rain, dry) {
		t.Error("an hour without any rain leaves two errors of room")
	}
}

// TestFilmAsPhysicsHasIt compares the ground's film and deck temperatures with
// the physics stepped hour by hour.
func TestFilmAsPhysicsHasIt(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 1)
		g := s.ground()
		want := decksOf(s.c, s.hrs, 0)
		for i, h := range g.HourTable(g.start, g.start.Add(time.Duration(g.n)*time.Hour)) {
			if !same(h.Surface, want[i].TempC, 1e-9) || !same(h.Water, want[i].WaterMM, 1e-9) {
				rt.Fatalf("hour %d: %+v, want %+v", i, h, want[i])
			}
			if dew := float64(s.hrs.At(forecast.Dew, 0, i)); !same(h.DewMargin, want[i].TempC-dew, 1e-9) {
				rt.Fatalf("hour %d: dew margin %g", i, h.DewMargin)
			}
		}
	})
}

func same(a, b, within float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= within
}
