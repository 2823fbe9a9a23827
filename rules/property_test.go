package rules

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"

	"pgregory.net/rapid"
)

// What "worse weather" may and may not do.
//
// A crew here waits for its limits and does not look ahead, so it can be lucky:
// an hour that breaks a limit makes it wait, and the work that it would have
// done in time to be rained on is done after the rain. So "more rain" or "a
// narrower limit" CAN raise a member's success at one start, and with it the
// day's best chance (TestWaitingCanBeLucky and TestWorseMemberCanLiftTheDay keep examples). It is not
// a fault: the crew without the wait was unlucky by the same rule. What does
// hold is tested below:
//
//   - what only ever spoils and never makes anybody wait: longer cure, tighter
//     cure limits, an earlier hour to be sealed by (TestSpoilersNeverHelp);
//   - rain that hits an open roof or wet resin (TestRainOnTheWayFails);
//   - heavy rain on work that strips to new boards: it raises no member's
//     success over all the starts of its day together, because a lucky wait
//     before the opening can be had by coming later (TestHeavyRainOverAllStarts);
//   - where nothing can spoil and only time can run out, every limit, the size
//     of the bay and the pace (TestOnlyTheClock).

// TestWaitingCanBeLucky keeps the counterexamples.
func TestWaitingCanBeLucky(t *testing.T) {
	start := clock(may4, 7.5)
	// rain at 10:00 finds the roof open, unless rain at 08:00 too kept it shut
	c := roof(4, job.Replace, job.NewBoard)
	one := fair(may4, 20).hour(forecast.Rain, 10, 11, 1)
	two := fair(may4, 20).hour(forecast.Rain, 8, 11, 1)
	a, b := walkOf(t, one.ground(c), c, may4, 0, start), walkOf(t, two.ground(c), c, may4, 0, start)
	if a.sealed || !b.sealed {
		t.Errorf("rain at 10: sealed %v; rain from 8 to 11: sealed %v (%s)", a.sealed, b.sealed, b.cause)
	}
	// wind on the open roof holds the laminate up until after the shower that
	// the sheets bear and wet resin does not
	c = small()
	p, _ := walkOf(t, fair(may4, 20).ground(c), c, may4, 0, start).span(Laminate)
	h := int(p.from) - 48
	calm := fair(may4, 20).hour(forecast.Rain, h+1, h+2, 0.1)
	windy := fair(may4, 20).hour(forecast.Rain, h+1, h+2, 0.1).hour(forecast.Wind, h, h+1, 12)
	a, b = walkOf(t, calm.ground(c), c, may4, 0, start), walkOf(t, windy.ground(c), c, may4, 0, start)
	if a.sealed || !b.sealed {
		t.Errorf("calm: sealed %v (%s); windy: sealed %v (%s)", a.sealed, a.cause, b.sealed, b.cause)
	}
}

// TestWorseMemberCanLiftTheDay: and so the best chance of a day can rise with
// the rain. All members but one must begin at once, before the rain of the late
// morning; the one is caught at 10:00, unless it rains on it from 08:00 on.
func TestWorseMemberCanLiftTheDay(t *testing.T) {
	c := roof(2, job.Replace, job.NewBoard)
	g := fair(may4, 20).ground(c)
	slowest := 0
	for m, x := range g.slow {
		if x > g.slow[slowest] {
			slowest = m
		}
	}
	days := map[int]float64{}
	for _, from := range []int{10, 8} {
		s := fair(may4, 20).hour(forecast.Rain, 11, 20, 1)
		s.member(forecast.Rain, slowest, 11, 20, 0).member(forecast.Rain, slowest, from, 11, 1)
		days[from] = most(s.judge(c))
	}
	if days[10] != 0.95 || days[8] != 1 {
		t.Errorf("best chance %.2f with rain at 10:00 in one member, %.2f with rain from 08:00", days[10], days[8])
	}
}

// outcomes walks every member from every start of a case's day. Bays are taken
// from the case itself.
type outcomes struct {
	g *Ground
	p dayPlan
	r map[string]result // by member and start
}

func outcomesOf(g *Ground, c Case, d job.Date) (outcomes, bool) {
	p, ok := g.dayPlan(c, d)
	o := outcomes{g: g, p: p, r: map[string]result{}}
	if !ok {
		return o, false
	}
	for m := range g.count {
		for _, s := range p.startsOf(g, time.Time{}) {
			o.r[fmt.Sprint(m, " ", s)] = g.walk(&o.p, m, s)
		}
	}
	return o, true
}

// neverHelps fails when a member is sealed at a start in worse and not in
// better. It gives the number that were lost.
func neverHelps(rt *rapid.T, better, worse outcomes, what string) int {
	lost := 0
	for k, w := range worse.r {
		b, ok := better.r[k]
		if w.sealed && (!ok || !b.sealed || b.sealedAt > w.sealedAt+1e-9) {
			rt.Fatalf("%s: member and start %s: sealed %v at %.3f before (%s), %v at %.3f after", what, k, b.sealed, b.sealedAt, b.cause, w.sealed, w.sealedAt)
		}
	}
	for k, b := range better.r {
		if b.sealed && !worse.r[k].sealed {
			lost++
		}
	}
	return lost
}

func TestSpoilersNeverHelp(t *testing.T) {
	lost := map[string]int{}
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 4)
		s.c.Job.LaidM2 = 0 // topcoat visits have their own way: sealed is full there
		before, ok := outcomesOf(s.ground(), s.c, s.d)
		if !ok {
			return
		}
		for what, change := range map[string]func(*Profile){
			"an hour more of cure":   func(p *Profile) { p.SealedAge++; p.SandableAge++ },
			"no cure under 8 °C":     func(p *Profile) { p.Curing = []Bound{noRain(), {Limit: LimitAir, Least: true, Value: 8}} },
			"sealed three h earlier": func(p *Profile) { p.SealedBy -= 180 },
		} {
			x := s
			change(&x.c.Profile)
			after, _ := outcomesOf(x.ground(), x.c, x.d)
			lost[what] += neverHelps(rt, before, after, what)
		}
	})
	for what, n := range lost {
		if n == 0 {
			t.Errorf("%s cost no start its seal: the test says nothing", what)
		}
	}
	t.Log(lost)
}

// TestRainOnTheWayFails puts rain into an hour that a sealed path goes through:
// that start fails. Rain after the seal, or before anybody is on site with new
// boards to come, changes nothing.
func TestRainOnTheWayFails(t *testing.T) {
	hits, misses := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 3)
		s.c.Job.LaidM2 = 0
		before, ok := outcomesOf(s.ground(), s.c, s.d)
		if !ok || len(before.p.startsOf(before.g, time.Time{})) == 0 {
			return
		}
		starts := before.p.startsOf(before.g, time.Time{})
		m, start := rapid.IntRange(0, 2).Draw(rt, "member"), rapid.SampledFrom(starts).Draw(rt, "start")
		r := before.g.walk(&before.p, m, start)
		if !r.sealed {
			return
		}
		open := s.c.Job.Roof.Work == job.Replace
		from, mm := 0.0, 0.1
		if p, _ := r.span(Laminate); true {
			from = p.from
		}
		if strip, ok := r.span(Strip); ok && rapid.Bool().Draw(rt, "heavy") {
			from, mm = strip.from, 0.21
		}
		first, last := int(from)+1, int(math.Ceil(r.sealedAt))-1
		if first > last {
			return
		}
		// the hour in which it is begun is left out: rain there would put it off
		h := rapid.IntRange(first, last).Draw(rt, "hour")
		wet := s.with(func(x forecast.Hours) { x.Cols[forecast.Rain][m*x.N+h] += float32(mm) })
		got := wet.ground().walk(&before.p, m, start)
		if got.sealed || got.cause != LimitRain || got.rainOpen != open {
			rt.Fatalf("%s: %.2f mm more in hour %d of %.2f to %.2f: sealed %v, cause %s, rain open %v", s.c.Job.Roof.Work, mm, h, from, r.sealedAt, got.sealed, got.cause, got.rainOpen)
		}
		hits++
		after := s.with(func(x forecast.Hours) { x.Cols[forecast.Rain][m*x.N+int(math.Ceil(r.sealedAt))] += 3 })
		if got := after.ground().walk(&before.p, m, start); !got.sealed || got.sealedAt != r.sealedAt || got.rainOpen {
			rt.Fatalf("rain after the seal at %.2f: %+v", r.sealedAt, got)
		}
		if s.c.boards() {
			night := s.with(func(x forecast.Hours) { x.Cols[forecast.Rain][m*x.N+int(start)-1] += 3 })
			if got := night.ground().walk(&before.p, m, start); got != r {
				rt.Fatalf("rain before the crew came, new boards: %+v, was %+v", got, r)
			}
		}
		misses++
	})
	if hits == 0 || misses == 0 {
		t.Errorf("%d and %d cases", hits, misses)
	}
}

// TestHeavyRainOverAllStarts: more than 0.2 mm, in any hours, on work that
// strips to new boards. A member that is sealed from some start with the rain
// is sealed from some start without it.
func TestHeavyRainOverAllStarts(t *testing.T) {
	lost := 0
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 6)
		s.c.Job.LaidM2, s.c.Job.Roof.Work, s.c.Job.Roof.Deck = 0, job.Replace, job.NewBoard
		if s.c.Zone.String() == "Asia/Kathmandu" {
			return // its hours are a quarter off: no start meets the full hour of the data
		}
		before, ok := outcomesOf(s.ground(), s.c, s.d)
		if !ok {
			return
		}
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "rain"), 3))
		wet := s.with(func(x forecast.Hours) {
			for i := range x.Cols[forecast.Rain] {
				if rng.IntN(10) == 0 {
					x.Cols[forecast.Rain][i] += 0.5
				}
			}
		})
		after, _ := outcomesOf(wet.ground(), wet.c, wet.d)
		for m := range before.g.count {
			was, is := before.anySealed(m), after.anySealed(m)
			if is && !was {
				rt.Fatalf("member %d is sealed only with the rain", m)
			}
			if was && !is {
				lost++
			}
		}
	})
	if lost == 0 {
		t.Error("the rain cost nobody a seal: the test says nothing")
	}
}

func (o outcomes) anySealed(m int) bool {
	for _, s := range o.p.startsOf(o.g, time.Time{}) {
		if o.r[fmt.Sprint(m, " ", s)].sealed {
			return true
		}
	}
	return false
}

// TestOnlyTheClock: no rain, no dew, no frost, no air under 5 °C, no heat ahead.
// Then nothing spoils, a crew can only be late, and whatever makes it wait or
// work longer never helps any member at any start, and so not the day's best
// chance either. (Wind is left alone: it also dries and cools.)
func TestOnlyTheClock(t *testing.T) {
	lost := map[string]int{}
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 1)
		s.c.Job.LaidM2 = 0
		s.c.Profile.HeatBefore = 99
		s.hrs = forecast.Quantise(randomHours(rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "sky"), 2)),
			temper{air: 16, swing: 4, spread: 14, wind: 5, cloud: 60}, s.hrs.Start, s.hrs.N, 10, s.c.Job.Site.Lat, s.c.Job.Site.Lon))
		before, ok := outcomesOf(s.ground(), s.c, s.d)
		if !ok {
			return
		}
		for what, change := range map[string]func(*scene){
			"less wind allowed": func(x *scene) {
				x.c.Profile.Opening, x.c.Profile.Laminating = narrower(x.c.Profile.Opening, LimitWind, 3), narrower(x.c.Profile.Laminating, LimitWind, 4)
			},
			"a drier laminate": func(x *scene) { x.c.Profile.Laminating = narrower(x.c.Profile.Laminating, LimitRH, 35) },
			"more dew margin":  func(x *scene) { x.c.Profile.Laminating = narrower(x.c.Profile.Laminating, LimitDewMargin, -3) },
			"more gust": func(x *scene) {
				*x = x.with(func(h forecast.Hours) {
					for i := range h.Cols[forecast.Gust] {
						h.Cols[forecast.Gust][i] += float32(i%7) * 1.3
					}
				})
			},
			"slower resin": func(x *scene) { x.c.Profile.SealedAge *= 3; x.c.Profile.SandableAge *= 3 },
		} {
			x := s
			change(&x)
			after, _ := outcomesOf(x.ground(), x.c, x.d)
			lost[what] += neverHelps(rt, before, after, what)
			noBetterDay(rt, s, x, what)
		}
		bigger := before
		bigger.p.bay.AreaM2 *= 1.2
		bigger.p.nominal = s.c.work(bigger.p.bay)
		bigger.p.noReturn = math.Max(bigger.p.workEnd-s.c.need(bigger.p.bay), bigger.p.from+0.5)
		bigger.r = map[string]result{}
		for m := range bigger.g.count {
			for _, st := range bigger.p.startsOf(bigger.g, time.Time{}) {
				bigger.r[fmt.Sprint(m, " ", st)] = bigger.g.walk(&bigger.p, m, st)
			}
		}
		lost["a bigger bay"] += neverHelps(rt, before, bigger, "a bigger bay")
	})
	for what, n := range lost {
		if n == 0 {
			t.Errorf("%s cost no start its seal: the test says nothing", what)
		}
	}
	t.Log(lost)
}

func noBetterDay(rt *rapid.T, a, b scene, what string) {
	x, y := a.judge(), b.judge()
	if most(y) > most(x)+1e-12 {
		rt.Fatalf("%s: best chance %.3f before, %.3f after", what, most(x), most(y))
	}
}

func most(d Day) float64 {
	out := 0.0
	for _, s := range d.Starts {
		out = math.Max(out, s.Sealed)
	}
	return out
}

func (s scene) judge() Day {
	return s.ground().Judge(s.c, s.d, time.Time{}, job.DefaultFirm().Bounds)
}

// narrower lowers an upper bound by so much (raises a lower one for by < 0).
func narrower(bs []Bound, l Limit, by float64) []Bound {
	out := append([]Bound(nil), bs...)
	for i := range out {
		if out[i].Limit == l {
			out[i].Value -= by
		}
	}
	return out
}
