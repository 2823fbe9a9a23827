package rules

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"

	"pgregory.net/rapid"
)

// TestVerdictHangsTogether checks on random days that the parts of a verdict
// agree with each other and with the walks they are made from.
func TestVerdictHangsTogether(t *testing.T) {
	known := 0
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 14)
		b := job.Bounds{Go: rapid.Float64Range(0, 1).Draw(rt, "go"), GoRainOpen: rapid.Float64Range(0, 0.3).Draw(rt, "rain")}
		g := s.ground()
		day := g.Judge(s.c, s.d, time.Time{}, b)
		if !day.Known() {
			if len(day.Starts)+len(day.Windows)+len(day.Stages)+len(day.Failing) > 0 || day.Basis != FromNothing {
				rt.Fatalf("nothing is known, but %+v", day)
			}
			return
		}
		known++
		p, _ := g.dayPlan(s.c, s.d)
		chancesAreShares(rt, g, &p, day)
		windowsAreTheGoodStarts(rt, day, b)
		stagesAreInOrder(rt, g, &p, day)
		membersAddUp(rt, day)
	})
	if known == 0 {
		t.Error("no day was known")
	}
}

func chancesAreShares(rt *rapid.T, g *Ground, p *dayPlan, day Day) {
	for i, s := range day.Starts {
		if !(0 <= s.Full && s.Full <= s.Sealed && s.Sealed <= 1 && 0 <= s.RainOpen && s.RainOpen <= 1-s.Sealed+1e-12) {
			rt.Fatalf("start %+v", s)
		}
		if i > 0 && s.At.Sub(day.Starts[i-1].At) != 30*time.Minute {
			rt.Fatalf("start %s after %s", s.At, day.Starts[i-1].At)
		}
		sealed, full, wet := 0, 0, 0
		for m := range g.count {
			if !g.known(m, g.hour(day.Starts[0].At), p.knownTo) {
				continue
			}
			r := g.walk(p, m, g.hour(s.At))
			sealed, full, wet = sealed+one(r.sealed), full+one(r.full), wet+one(r.rainOpen)
		}
		n := float64(day.Members)
		if s.Sealed != float64(sealed)/n || s.Full != float64(full)/n || s.RainOpen != float64(wet)/n {
			rt.Fatalf("%+v, but %d, %d and %d of %d members", s, sealed, full, wet, day.Members)
		}
		if worth, top := s.Sealed-s.RainOpen+s.Full/4, day.Starts[day.Best]; worth > top.Sealed-top.RainOpen+top.Full/4+0.0200001 {
			rt.Fatalf("%+v is better than the best, %+v", s, top)
		}
	}
	opened := g.at(p.from + p.c.Profile.Setup/60)
	if day.NoReturnMedian.Before(day.NoReturn) {
		rt.Fatalf("the middle pace must begin by %s, before the careful one at %s", day.NoReturnMedian, day.NoReturn)
	}
	if last := g.at(p.workEnd - p.c.need(p.bay)); day.NoReturn.After(last.Add(time.Second)) && day.NoReturn.After(opened) {
		rt.Fatalf("no return at %s, the careful pace needs it at %s", day.NoReturn, last)
	}
}

func one(b bool) int {
	if b {
		return 1
	}
	return 0
}

// windowsAreTheGoodStarts checks that a start is inside a window exactly when
// it meets both bounds.
func windowsAreTheGoodStarts(rt *rapid.T, day Day, b job.Bounds) {
	for _, s := range day.Starts {
		inside := 0
		for _, w := range day.Windows {
			inside += one(!s.At.Before(w.From) && !s.At.After(w.To))
		}
		if good := s.Sealed >= b.Go && s.RainOpen <= b.GoRainOpen; inside != one(good) {
			rt.Fatalf("%+v lies in %d windows of %v, bounds %+v", s, inside, day.Windows, b)
		}
	}
	for i, w := range day.Windows {
		if w.To.Before(w.From) || i > 0 && w.From.Sub(day.Windows[i-1].To) < time.Hour {
			rt.Fatalf("windows %v", day.Windows)
		}
	}
}

// stagesAreInOrder checks order, the working day and the tightest checks, which
// it works out again from the profile's bounds.
func stagesAreInOrder(rt *rapid.T, g *Ground, p *dayPlan, day Day) {
	order := map[Stage]int{Strip: 1, Prepare: 2, DeckStage: 3, Primer: 4, Laminate: 5, Cure: 6, Topcoat: 7, TopcoatCure: 8}
	sets := map[Stage][]Bound{Strip: p.c.Profile.Opening, Prepare: p.c.Profile.Preparing, Primer: p.c.Profile.Priming, DeckStage: p.c.Profile.Opening, Laminate: p.c.Profile.Laminating,
		Cure: p.c.Profile.Curing, Topcoat: p.c.Profile.Topcoating, TopcoatCure: p.c.Profile.TopcoatCure}
	var prev Span
	for i, s := range day.Stages {
		if s.To.Before(s.From) || i > 0 && (order[s.Stage] <= order[prev.Stage] || s.From.Before(prev.To)) {
			rt.Fatalf("stages %v", day.Stages)
		}
		if (s.Stage == Cure || s.Stage == TopcoatCure) && !s.From.Equal(prev.To) {
			rt.Fatalf("%s begins at %s, what it cures was laid at %s", s.Stage, s.From, prev.To)
		}
		cures := s.Stage == Cure || s.Stage == TopcoatCure
		if s.From.Before(day.Starts[day.Best].At) || !cures && s.To.After(g.at(p.workEnd)) {
			rt.Fatalf("%s from %s to %s, work from %s to %s", s.Stage, s.From, s.To, day.Starts[day.Best].At, g.at(p.workEnd))
		}
		if s.Stage != Topcoat { // sanding stands in its span, under other limits
			tightestIsLeast(rt, g, s, sets[s.Stage])
		}
		prev = s
	}
}

// half is half a second in hours: times are told to the second, so a stage may
// begin in the hour before the one it seems to.
const half = 0.5 / 3600

func tightestIsLeast(rt *rapid.T, g *Ground, s Span, bounds []Bound) {
	if !isLeast(g, s, bounds, int(g.hour(s.From))) && !isLeast(g, s, bounds, int(g.hour(s.From)-half)) {
		rt.Fatalf("%+v: no member has that as its least room", s)
	}
}

func isLeast(g *Ground, s Span, bounds []Bound, first int) bool {
	for m := range g.count { // of one of the members: the verdict does not say which
		least := math.Inf(1)
		for i := first; i < int(math.Ceil(g.hour(s.To)-half)); i++ {
			x := func(v forecast.Var) float64 { return float64(g.ahead.Hours.At(v, m, i)) }
			deck := float64(g.surface[m*g.n+i])
			values := map[Limit]float64{LimitRain: x(forecast.Rain), LimitWind: x(forecast.Wind), LimitGust: x(forecast.Gust), LimitAir: x(forecast.Air),
				LimitRH: x(forecast.RH), LimitDeck: deck, LimitFrost: math.Min(x(forecast.Air), deck), LimitDewMargin: deck - x(forecast.Dew)}
			hour, paused := math.Inf(1), false
			for _, b := range bounds {
				v, ok := values[b.Limit]
				if !ok {
					continue
				}
				room := v - b.Value
				if !b.Least {
					room = -room
				}
				paused = paused || room < -1e-3 || b.Strict && room <= 1e-3
				if room /= errorOf(b.Limit); b.Limit == LimitRain && v == 0 {
					room = 2 // a dry hour counts as that
				}
				hour = math.Min(hour, room)
			}
			if !paused { // in an hour that breaks a limit the crew stood by
				least = math.Min(least, hour)
			}
		}
		if math.Abs(least-room(s.Tightest)) < 0.051 { // margins are rounded to 0.01
			return true
		}
	}
	return false
}

func membersAddUp(rt *rapid.T, day Day) {
	failed := 0
	for i, f := range day.Failing {
		failed += f.Members
		if f.Members < 1 || f.Limit == "" || !f.To.After(f.From) || i > 0 && f.Members > day.Failing[i-1].Members {
			rt.Fatalf("failing %v", day.Failing)
		}
	}
	sealed := int(math.Round(day.Starts[day.Best].Sealed * float64(day.Members)))
	if sealed+failed != day.Members || (sealed > 0) == day.SealedBy.IsZero() || day.SealedByLate.Before(day.SealedBy) {
		rt.Fatalf("%d sealed and %d failed of %d, by %s and %s", sealed, failed, day.Members, day.SealedBy, day.SealedByLate)
	}
}

// TestOneMemberDecides: nine members in ten fail, and the count says so.
func TestOneMemberDecides(t *testing.T) {
	for wet := range 21 {
		s := fair(may4, 20)
		for m := range wet {
			s.member(forecast.Rain, m, 8, 20, 2)
		}
		day := s.judge(small())
		if got := day.Starts[0].Sealed; got != float64(20-wet)/20 {
			t.Errorf("rain in %d of 20: sealed %.2f", wet, got)
		}
		if inside := len(day.Windows) > 0; inside != (wet <= 6) {
			t.Errorf("rain in %d of 20, go from 0.70: windows %v", wet, day.Windows)
		}
	}
}

// TestNoChanceFromUnknown: hours without data never make a chance; they take
// members away, and lower the topcoat's share.
func TestNoChanceFromUnknown(t *testing.T) {
	fewer := 0
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 14)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "gaps"), 6))
		holes := s.with(func(h forecast.Hours) {
			for range 1 + rng.IntN(40) {
				v := []forecast.Var{forecast.Air, forecast.Dew, forecast.RH, forecast.Rain, forecast.Wind, forecast.Gust, forecast.Cloud, forecast.Solar}[rng.IntN(8)]
				if h.Cols[v] != nil {
					h.Cols[v][rng.IntN(len(h.Cols[v]))] = forecast.Unknown()
				}
			}
		})
		g := holes.ground()
		p, ok := g.dayPlan(s.c, s.d)
		if !ok {
			return
		}
		starts := p.startsOf(g, time.Time{})
		before := s.ground()
		for m := range g.count {
			for _, start := range starts {
				if r := g.walk(&p, m, start); r.sealed {
					noUnknownHour(rt, g, m, r)
				}
			}
		}
		a, b := before.Judge(s.c, s.d, time.Time{}, job.Bounds{}), holes.judge()
		fewer += one(b.Members < a.Members)
		if b.Members > a.Members || b.Known() != (b.Members >= LeastMembers && len(b.Starts) > 0) {
			rt.Fatalf("%d members before the gaps, %d after: %+v", a.Members, b.Members, b)
		}
	})
	if fewer == 0 {
		t.Error("no gap took a member away")
	}
}

// noUnknownHour fails when a sealed path worked or cured through an hour whose
// needed measures are not all known.
func noUnknownHour(rt *rapid.T, g *Ground, m int, r result) {
	for _, p := range r.passages[:r.count] {
		if p.stage != Cure && p.stage != TopcoatCure {
			continue
		}
		for i := int(p.from); i < int(math.Ceil(p.to)); i++ {
			if math.IsNaN(g.value(LimitRain, m, i) + g.value(LimitAir, m, i) + g.value(LimitDeck, m, i)) {
				rt.Fatalf("member %d: %s through hour %d, of which nothing is known", m, p.stage, i)
			}
		}
	}
}

// TestOutturn: what came of a day is the walk of the one member that was, at
// the middle pace, and nothing is said where hours are missing.
func TestOutturn(t *testing.T) {
	said, silent := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 1)
		gap := rapid.IntRange(40, 400).Draw(rt, "gap") // often in the day, often beyond the data
		s = s.with(func(h forecast.Hours) {
			for i := gap; i < min(gap+2, h.N); i++ {
				h.Cols[gap%int(forecast.Pressure)][i] = forecast.Unknown()
			}
		})
		is := forecast.Issue{Det: run(forecast.Deterministic, s.hrs)}
		g := NewGround(is, s.c.Job.Site, SurfaceOf(s.c.Job.Job), s.c.Profile)
		p, ok := g.dayPlan(s.c, s.d)
		if !ok {
			return
		}
		for _, start := range p.startsOf(g, time.Time{}) {
			sealed, full, rained, known := g.Outturn(s.c, s.d, g.at(start), false)
			want := g.walk(&p, 0, start) // a single member has the middle pace
			if g.slow[0] != s.c.Profile.SlowMedian {
				rt.Fatalf("a single member's pace is %g", g.slow[0])
			}
			if known && (sealed != want.sealed || full != want.full || rained != want.rainOpen || !sealed && want.cause == LimitUnknown) {
				rt.Fatalf("outturn %v %v %v, walk %+v", sealed, full, rained, want)
			}
			if !known && (sealed || full || rained) {
				rt.Fatalf("not known, but %v %v %v", sealed, full, rained)
			}
			if !known && g.known(0, start, math.Max(p.knownTo, p.to)+24) {
				rt.Fatalf("all hours are there, but nothing is known")
			}
			said, silent = said+one(known), silent+one(!known)
		}
	})
	if said == 0 || silent == 0 {
		t.Errorf("%d known, %d not", said, silent)
	}
}

// TestOutturnWithoutTheEvening: the cure runs into hours that are missing, so
// nobody can say whether the roof was sealed.
func TestOutturnWithoutTheEvening(t *testing.T) {
	c := roof(12, job.Replace, job.NewBoard)
	c.Profile.SealedAge, c.Profile.SandableAge = 1.5, 2
	cold := func(to int) *Ground {
		s := fair(may4, 1).always(forecast.Air, 7).always(forecast.Dew, -6).always(forecast.Solar, 60)
		s.hour(forecast.Cloud, to, 72, forecast.Unknown()) // no cloud, no deck temperature
		return NewGround(forecast.Issue{Det: run(forecast.Deterministic, s.hours)}, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
	}
	start := clock(may4, 7.5)
	sealed, _, _, known := cold(24).Outturn(c, may4, start, false)
	r := walkOf(t, cold(24), c, may4, 0, start)
	if !sealed || !known || r.sealedAt-48 < 18.01 {
		t.Fatalf("with all hours: sealed %v at %.2f, known %v; the test wants it after 18:00", sealed, r.sealedAt-48, known)
	}
	if sealed, _, _, known := cold(18).Outturn(c, may4, start, false); sealed || known {
		t.Errorf("without the evening: sealed %v, known %v", sealed, known)
	}
	// nor whether a crew that would have waited through a gap did
	gap := fair(may4, 1).hour(forecast.Rain, 8, 9, forecast.Unknown())
	g := NewGround(forecast.Issue{Det: run(forecast.Deterministic, gap.hours)}, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
	if r := walkOf(t, g, small(), may4, 0, start); !r.sealed {
		t.Fatalf("the walk waits through the gap: %+v", r)
	}
	if sealed, _, _, known := g.Outturn(small(), may4, start, false); sealed || known {
		t.Errorf("with a gap at 08:00: sealed %v, known %v", sealed, known)
	}
	coat := small()
	coat.Job.LaidM2 = 8
	if sealed, _, _, known := cold(20).Outturn(coat, may4, start, false); sealed || known {
		t.Errorf("topcoat without the night: sealed %v, known %v", sealed, known)
	}
}

// TestJudgeDoesNotChangeTheGround: verdicts may be asked for in any order.
func TestJudgeDoesNotChangeTheGround(t *testing.T) {
	s := someScene(t, 11, 14)
	g := s.ground()
	b := job.DefaultFirm().Bounds
	first := g.Judge(s.c, s.d, time.Time{}, b)
	for n := range 4 {
		g.Judge(s.c, s.d.AddDays(n-2), time.Time{}, b)
		g.Outturn(s.c, s.d, clock(s.d, 9), false)
	}
	if again := g.Judge(s.c, s.d, time.Time{}, b); !reflect.DeepEqual(first, again) {
		t.Errorf("%+v\nthen %+v", first, again)
	}
}

// TestPacesAreTheLognormalsQuantiles: however few the members, the spread is
// the right one, and another run deals it out otherwise.
func TestPacesAreTheLognormalsQuantiles(t *testing.T) {
	p := Polyester()
	for _, n := range []int{1, 19, 200} {
		xs := slowness("a", n, p)
		log, sq := 0.0, 0.0
		for _, x := range xs {
			log += math.Log(x / p.SlowMedian)
			sq += math.Pow(math.Log(x/p.SlowMedian), 2)
		}
		if sd := math.Sqrt(sq / float64(n)); math.Abs(log) > 1e-9 || n > 9 && math.Abs(sd-p.SlowSD) > 0.02 {
			t.Errorf("%d members: mean log %.4f, sd %.3f", n, log/float64(n), sd)
		}
		if n > 1 && reflect.DeepEqual(xs, slowness("b", n, p)) || !reflect.DeepEqual(xs, slowness("a", n, p)) {
			t.Errorf("%d members: paces do not hang on the run alone", n)
		}
	}
}

// TestOutturnOnAHotDay: the forecast let the crew open the roof, so the heat that
// came is no reason not to have opened it: laid under the laminate's own bound, it
// holds. What was never opened is judged as if the heat had been foreseen.
func TestOutturnOnAHotDay(t *testing.T) {
	c := small()
	c.Profile.HeatBefore = 30 // under the laminate's own bound, so that the two can be told apart
	g := fair(may4, 1).hour(forecast.Air, 9, 17, 24).hour(forecast.Solar, 9, 17, 500).ground(c)
	start := clock(may4, 7.5)
	r := walkOf(t, g, c, may4, 0, start)
	if r.sealed || r.cause != LimitDeck {
		t.Fatalf("the test wants a day too hot to open a roof: %+v", r)
	}
	if sealed, _, _, known := g.Outturn(c, may4, start, false); sealed || !known {
		t.Errorf("not opened: sealed %v, known %v", sealed, known)
	}
	if sealed, _, _, known := g.Outturn(c, may4, start, true); !sealed || !known {
		t.Errorf("opened by a cooler forecast: sealed %v, known %v", sealed, known)
	}
	if sealed, _, _, _ := g.Outturn(c, may4, start, false); sealed {
		t.Error("asking has changed the ground")
	}
}
