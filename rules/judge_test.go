package rules

import (
	"math"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
)

func TestFairDaySealsInEveryMember(t *testing.T) {
	day := fair(may4, 20).judge(small())
	if day.Members != 20 || day.Best != 0 || day.Basis != FromMembers || day.Job != "J1" || day.Date != may4 {
		t.Fatalf("verdict %+v", day)
	}
	best, _ := day.BestStart()
	if want := clock(may4, 7.5); !best.At.Equal(want) || best.Sealed != 1 || best.Full != 1 || best.RainOpen != 0 {
		t.Errorf("best start %+v, want all sealed and topcoated from %s", best, want)
	}
	if len(day.Failing) != 0 || len(day.Windows) != 1 || !day.Windows[0].From.Equal(best.At) {
		t.Errorf("failing %v, windows %v", day.Failing, day.Windows)
	}
	want := []Stage{Strip, DeckStage, Laminate, Cure, Topcoat, TopcoatCure}
	if len(day.Stages) != len(want) {
		t.Fatalf("stages %v, want %v", day.Stages, want)
	}
	for i, s := range day.Stages {
		if s.Stage != want[i] || s.Tightest.Margin <= 0 {
			t.Errorf("stage %d is %+v, want %s with room to spare", i, s, want[i])
		}
	}
	if !day.Stages[0].From.Equal(clock(may4, 8)) {
		t.Errorf("strip from %s, want 08:00: half an hour of setting up", day.Stages[0].From)
	}
	if day.SealedBy.After(day.SealedByLate) || !day.SealedBy.Equal(day.Stages[3].To) {
		t.Errorf("sealed by %s, late %s, cure ends %s", day.SealedBy, day.SealedByLate, day.Stages[3].To)
	}
}

// TestLatestTopcoat: on a fair day the careful pace must be done by 17:30, half
// an hour before the end of work; where rain is likely later the topcoat must be
// rain-proof before it; a roof that is too large for a topcoat that day has its
// overcoat window of 48 hours.
func TestLatestTopcoat(t *testing.T) {
	cs := small()
	day := fair(may4, 20).judge(cs)
	p := cs.Profile
	work := p.careful() * (8/p.SandRate + 8/p.TopcoatRate)
	if want := clock(may4, 17.5-work); day.CoatBy.Sub(want).Abs() > time.Minute {
		t.Errorf("topcoat by %s, want %s", day.CoatBy, want)
	}
	if want := day.SealedBy.Add(48 * time.Hour); !day.OvercoatBy.Equal(want) {
		t.Errorf("overcoat window until %s, want %s", day.OvercoatBy, want)
	}
	wet := fair(may4, 20).hour(forecast.Rain, 18, 20, 1).judge(cs)
	k := len(wet.Stages) - 1
	cure := wet.Stages[k].To.Sub(wet.Stages[k].From)
	if want := clock(may4, 18-work).Add(-cure); wet.Stages[k].Stage != TopcoatCure || wet.CoatBy.Sub(want).Abs() > time.Minute || !wet.CoatBy.Before(day.CoatBy) {
		t.Errorf("with rain at 18:00 topcoat by %s, want %s (it cures for %s)", wet.CoatBy, want, cure)
	}
	soon := fair(may4, 20).hour(forecast.Rain, 16, 20, 1).judge(cs)
	if !soon.CoatBy.IsZero() || soon.OvercoatBy.IsZero() {
		t.Errorf("with rain at 16:00 topcoat by %s, overcoat window until %s; want none, and some", soon.CoatBy, soon.OvercoatBy)
	}
}

// TestRainOnWetResin puts rain into an hour in which one member laminates.
func TestRainOnWetResin(t *testing.T) {
	for _, c := range []struct {
		work job.Work
		mm   float32
		stop bool
		open bool
	}{
		{job.Replace, 0.1, true, true},
		{job.Replace, 0.09, false, false},
		{job.Overboard, 0.1, true, false},
		{job.Overboard, 0.09, false, false},
		{job.Relaminate, 0.1, true, false},
		{job.Balcony, 2, true, false},
	} {
		deck := map[job.Work]job.Deck{job.Replace: job.NewBoard, job.Overboard: job.NewBoard, job.Relaminate: job.GRP, job.Balcony: job.Concrete}[c.work]
		cs := roof(8, c.work, deck)
		const m = 4
		start := clock(may4, 7.5)
		for _, stage := range []Stage{Laminate, Cure} {
			s := fair(may4, 20)
			before := walkOf(t, s.ground(cs), cs, may4, m, start)
			p, ok := before.span(stage)
			if !ok || !before.sealed {
				t.Fatalf("%s: a fair day gave %+v", c.work, before)
			}
			h := int(math.Ceil(p.to)) - 1 - 48
			got := walkOf(t, s.member(forecast.Rain, m, h, h+1, c.mm).ground(cs), cs, may4, m, start)
			if got.sealed == c.stop || got.rainOpen != c.open || c.stop && got.cause != LimitRain {
				t.Errorf("%s, %.2f mm in the %s at %d h: sealed %v, rain open %v, cause %q", c.work, c.mm, stage, h, got.sealed, got.rainOpen, got.cause)
			}
		}
	}
}

func TestCoverSheetsKeepOutALittleRain(t *testing.T) {
	for mm, sealed := range map[float32]bool{0.05: true, 0.2: true, 0.21: false, 3: false} {
		got := walkOf(t, fair(may4, 20).hour(forecast.Rain, 8, 9, mm).ground(small()), small(), may4, 0, clock(may4, 7.5))
		// 0.21 mm keeps the roof shut at 08:00, so the rain must find it open
		early := walkOf(t, fair(may4, 20).hour(forecast.Rain, 9, 10, mm).ground(small()), small(), may4, 0, clock(may4, 7.5))
		if p, _ := got.span(Strip); !got.sealed || (p.from != 48+8) == sealed {
			t.Errorf("%.2f mm at 08:00: sealed %v, strip from hour %.1f", mm, got.sealed, p.from)
		}
		if early.sealed != sealed || early.rainOpen == sealed {
			t.Errorf("%.2f mm at 09:00: sealed %v, rain open %v", mm, early.sealed, early.rainOpen)
		}
	}
}

// TestLittleRainWetsNewBoards: rain that the cover sheets keep out of the
// building still wets the boards, and the laminate waits until they are dry.
func TestLittleRainWetsNewBoards(t *testing.T) {
	cs, start := small(), clock(may4, 7.5)
	dull := fair(may4, 20).always(forecast.Solar, 250).always(forecast.RH, 60).always(forecast.Dew, 8)
	dry := walkOf(t, dull.ground(cs), cs, may4, 0, start)
	p, _ := dry.span(Laminate)
	h := int(p.from) - 48 - 1
	wet := walkOf(t, dull.hour(forecast.Rain, h, h+1, 0.2).ground(cs), cs, may4, 0, start)
	q, ok := wet.span(Laminate)
	if !dry.sealed || !ok || q.from < p.from+1 {
		t.Errorf("laminate from %.2f on dry boards, from %.2f (%v) after 0.2 mm in the hour before", p.from, q.from, wet.cause)
	}
}

func TestWetMorningWaits(t *testing.T) {
	s := fair(may4, 20).hour(forecast.Rain, 5, 10, 0.6)
	got := walkOf(t, s.ground(small()), small(), may4, 0, clock(may4, 7.5))
	if p, _ := got.span(Strip); !got.sealed || p.from != 48+10 {
		t.Errorf("sealed %v, strip from hour %.2f, want 10:00", got.sealed, p.from-48)
	}
	// a shower after the opening is another matter: the later start wins
	day := fair(may4, 20).hour(forecast.Rain, 9, 10, 0.6).judge(small())
	best, _ := day.BestStart()
	if day.Starts[0].RainOpen != 1 || day.Starts[0].Sealed != 0 || best.Sealed != 1 || !best.At.Equal(clock(may4, 8.5)) {
		t.Errorf("first %+v, best %+v; want the first to be rained on and 08:30 (on the roof from 10:00) to win", day.Starts[0], best)
	}
}

func TestDewInTheMorningWaits(t *testing.T) {
	s := fair(may4, 20).hour(forecast.Dew, 4, 14, 15.9).hour(forecast.Solar, 4, 14, 0).hour(forecast.Cloud, 4, 14, 100)
	got := walkOf(t, s.ground(small()), small(), may4, 0, clock(may4, 7.5))
	strip, _ := got.span(Strip)
	if lam, _ := got.span(Laminate); !got.sealed || strip.from != 48+8 || lam.from < 48+14 {
		t.Errorf("sealed %v, strip from %.2f, laminate from %.2f; want the strip at 08:00 and the laminate after 14:00", got.sealed, strip.from-48, lam.from-48)
	}
}

// TestNoStageBegunThatCannotEnd: a crew does not know that it is quick today,
// so it does not begin a laminate that the middle pace would not end in time.
func TestNoStageBegunThatCannotEnd(t *testing.T) {
	c := roof(4, job.Replace, job.NewBoard)
	for until, sealed := range map[int]bool{16: true, 17: false} {
		g := fair(may4, 20).hour(forecast.RH, 8, until, 90).ground(c)
		quick := 0
		for m, x := range g.slow {
			if x < g.slow[quick] {
				quick = m
			}
		}
		p, _ := g.dayPlan(c, may4)
		lam := p.nominal.laminate
		if early, late := 17+g.slow[quick]*lam, 17+c.Profile.SlowMedian*lam; early > 17.5 || late < 17.5 {
			t.Fatalf("from 17:00 the quick end at %.2f, the middle at %.2f; the test wants them on both sides of 17:30", early, late)
		}
		r := g.walk(&p, quick, g.hour(clock(may4, 7.5)))
		if _, begun := r.span(Laminate); r.sealed != sealed || begun != sealed || !sealed && r.cause != LimitRH {
			t.Errorf("humid until %d:00: %+v", until, r)
		}
	}
}

// limitCase is a whole day at one value of one measure.
type limitCase struct {
	v     forecast.Var
	x     float32
	cause Limit // "" seals
}

// TestValuesAtTheLimit: the bound itself holds where the plan of record says
// "at most" and "at least", and breaks "none"; in the quantised float32 that
// hours are kept in.
func TestValuesAtTheLimit(t *testing.T) {
	for _, c := range []limitCase{
		{forecast.Wind, 10, ""}, {forecast.Wind, 10.01, LimitWind},
		{forecast.Gust, 15, ""}, {forecast.Gust, 15.01, LimitGust},
		{forecast.RH, 85, ""}, {forecast.RH, 85.1, LimitRH},
		{forecast.Rain, 0, ""}, {forecast.Rain, 0.2, LimitRain}, {forecast.Rain, 0.1, LimitRain},
		{forecast.Air, 5, ""}, {forecast.Air, 4.99, LimitAir},
		{forecast.Air, 30, ""}, {forecast.Air, 30.01, LimitAir},
		{forecast.Air, -1, LimitFrost}, {forecast.Air, 0, LimitFrost}, {forecast.Air, 0.01, LimitAir},
	} {
		s := fair(may4, 20).always(forecast.Solar, 120).always(forecast.Dew, -6).hour(c.v, 0, 24, c.x)
		day := s.judge(small())
		for _, st := range day.Starts {
			if (st.Sealed > 0) != (c.cause == "") && st.At.Before(clock(may4, 8)) {
				t.Errorf("%s %.2f all day: %+v", c.v, c.x, st)
			}
		}
		if c.cause != "" && (len(day.Failing) != 1 || day.Failing[0].Limit != c.cause || day.Failing[0].Members != 20) {
			t.Errorf("%s %.2f all day: failing %+v, want %s in all 20", c.v, c.x, day.Failing, c.cause)
		}
	}
}

// TestRainLimitsInFloat32: 0.09, 0.10, 0.20 and 0.21 as float32 lie beside the
// decimal, on both sides.
func TestRainLimitsInFloat32(t *testing.T) {
	p := Polyester()
	for _, c := range []struct {
		mm         float64
		none, open bool
	}{{0.09, true, true}, {0.1, false, true}, {0.11, false, true}, {0.2, false, true}, {0.21, false, false}} {
		h := forecast.NewHours(clock(may4, 0), 1, 1, forecast.Rain)
		h.Cols[forecast.Rain][0] = float32(c.mm)
		x := float64(forecast.Quantise(h).Cols[forecast.Rain][0])
		if noRain().holds(x) != c.none || p.Opening[0].holds(x) != c.open {
			t.Errorf("%.2f mm (%.17g): none %v, under cover sheets %v", c.mm, x, noRain().holds(x), p.Opening[0].holds(x))
		}
	}
}

func TestWindPausesAndStops(t *testing.T) {
	got := walkOf(t, fair(may4, 20).hour(forecast.Wind, 7, 10, 11).ground(small()), small(), may4, 0, clock(may4, 7.5))
	if p, _ := got.span(Strip); !got.sealed || p.from != 48+10 {
		t.Errorf("wind until 10:00: sealed %v, strip from %.2f", got.sealed, p.from-48)
	}
	got = walkOf(t, fair(may4, 20).hour(forecast.Wind, 10, 20, 11).ground(small()), small(), may4, 0, clock(may4, 7.5))
	if _, opened := got.span(Strip); got.sealed || got.rainOpen || got.cause != LimitWind || !opened {
		t.Errorf("wind from 10:00 on an open roof: %+v", got)
	}
}

func TestColdDoesNotCureInTime(t *testing.T) {
	cold := fair(may4, 20).always(forecast.Air, 7).always(forecast.Dew, -6).always(forecast.Solar, 60)
	slow, quick := small(), small()
	slow.Profile.SealedAge, slow.Profile.SandableAge = 3, 4
	if day := cold.judge(quick); day.Starts[0].Sealed != 1 {
		t.Errorf("at 7 °C the usual cure: %+v", day.Starts[0])
	}
	day := cold.judge(slow)
	if day.Starts[0].Sealed != 0 || day.Failing[0].Limit != LimitTime {
		t.Errorf("at 7 °C three hours of age: %+v, failing %+v", day.Starts[0], day.Failing)
	}
	if warm := fair(may4, 20).judge(slow); warm.Starts[0].Sealed != 1 || warm.SealedByLate.After(clock(may4, 20)) {
		t.Errorf("at 16 °C three hours of age: %+v, late %s", warm.Starts[0], warm.SealedByLate)
	}
}

func TestHotDeckIsNotOpened(t *testing.T) {
	hot := fair(may4, 20).hour(forecast.Air, 6, 20, 27).hour(forecast.Solar, 9, 18, 500).hour(forecast.Cloud, 0, 24, 0)
	cs := small()
	cs.Profile.HeatBefore = 35 // under the laminate's own bound, so that the two can be told apart
	top := 0.0
	for _, h := range hot.ground(cs).HourTable(clock(may4, 9), clock(may4, 18)) {
		top = math.Max(top, h.Surface)
	}
	if top <= 35 || top > 40 {
		t.Fatalf("the deck reaches %.1f °C; the test wants it between 35 and 40", top)
	}
	day := hot.judge(cs)
	if day.Starts[0].Sealed != 0 || day.Starts[0].RainOpen != 0 || len(day.Stages) != 0 || day.Failing[0].Limit != LimitDeck {
		t.Errorf("replace: %+v, stages %v, failing %+v; want it never opened", day.Starts[0], day.Stages, day.Failing)
	}
	if day := hot.judge(roof(8, job.Overboard, job.NewBoard)); day.Starts[0].Sealed != 1 {
		t.Errorf("overboard opens nothing, and the laminate bears 40 °C: %+v, failing %+v", day.Starts[0], day.Failing)
	}
	cool := hot.hour(forecast.Solar, 9, 18, 300)
	if day := cool.judge(cs); day.Starts[0].Sealed != 1 {
		t.Errorf("with less sun: %+v", day.Starts[0])
	}
}

func TestUnknownHours(t *testing.T) {
	nan := forecast.Unknown()
	for v := forecast.Air; v <= forecast.Solar; v++ {
		day := fair(may4, 20).member(v, 3, 15, 16, nan).judge(small())
		if day.Members != 19 || !day.Known() {
			t.Errorf("%s unknown at 15:00 in one member: %d members", v, day.Members)
		}
		s := fair(may4, 20)
		for m := range 11 {
			s.member(v, m, 19, 20, nan)
		}
		day = s.judge(small())
		if day.Members != 9 || day.Known() || len(day.Starts) != 0 || len(day.Windows) != 0 || day.Basis != FromNothing {
			t.Errorf("%s unknown at 19:00 in 11 of 20: %+v", v, day)
		}
		if day := s.member(v, 0, 19, 20, s.hours.Cols[v][19*s.hours.N]).judge(small()); day.Members != LeastMembers || !day.Known() {
			t.Errorf("%s known in 10: %d members, best %d", v, day.Members, day.Best)
		}
	}
	// at night, after the day is sealed, a gap takes away nothing but the topcoat
	day := fair(may4, 20).hour(forecast.Air, 21, 22, nan).judge(small())
	if day.Members != 20 || day.Starts[0].Sealed != 1 || day.Starts[0].Full != 0 {
		t.Errorf("unknown at 21:00: %+v", day.Starts)
	}
}

func TestBeyondTheHorizon(t *testing.T) {
	g := fair(may4, 20).ground(small())
	last := may4.AddDays(2) // the hours end at its midnight
	b := job.DefaultFirm().Bounds
	for _, c := range []struct {
		d     job.Date
		known bool
	}{{may4.AddDays(-3), false}, {may4.AddDays(-2), true}, {last, true}, {last.AddDays(1), false}, {last.AddDays(300), false}} {
		day := g.Judge(small(), c.d, time.Time{}, b)
		if day.Known() != c.known || !c.known && (day.Members != 0 || day.Basis != FromNothing) {
			t.Errorf("%s: %+v", c.d, day)
		}
	}
	if day := g.Judge(small(), last, time.Time{}, b); day.Starts[0].Sealed != 1 || day.Starts[0].Full != 0 {
		t.Errorf("last day: %+v; want it sealed, and no topcoat that nobody can see through the night", day.Starts[0])
	}
	// a topcoat asks for 14 hours without frost, so its day must be known longer
	coat := small()
	coat.Job.LaidM2, coat.Job.SealedOn = 8, last.AddDays(-1)
	if day := g.Judge(coat, last, time.Time{}, b); day.Known() {
		t.Errorf("topcoat on the last day: %+v; want unknown", day)
	}
}

func TestNoForecastNoChance(t *testing.T) {
	c := small()
	det := fair(may4, 1)
	for name, is := range map[string]forecast.Issue{
		"nothing":       {},
		"deterministic": {Det: run(forecast.Deterministic, det.hours)},
		"empty":         {Ens: &forecast.Run{}, Det: &forecast.Run{}},
		"no members":    {Ens: &forecast.Run{Hours: forecast.Hours{Start: clock(may4, 0), N: 24}}},
		"nine members":  {Ens: run(forecast.Ensemble, fair(may4, 9).hours)},
	} {
		g := NewGround(is, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
		if day := g.Judge(c, may4, time.Time{}, job.DefaultFirm().Bounds); day.Known() || len(day.Starts) != 0 || day.Basis != FromNothing {
			t.Errorf("%s: %+v", name, day)
		}
		g.HourTable(clock(may4, 0), clock(may4, 24))
	}
}

func TestTopcoatVisit(t *testing.T) {
	c := small()
	c.Job.LaidM2, c.Job.SealedOn = 8, may4.AddDays(-1)
	day := fair(may4, 20).judge(c)
	best, _ := day.BestStart()
	if best.Sealed != 1 || best.Full != 1 || len(day.Stages) != 2 || day.Stages[0].Stage != Topcoat || day.Stages[1].Stage != TopcoatCure {
		t.Errorf("best %+v, stages %v", best, day.Stages)
	}
	if !day.SealedBy.Equal(day.Stages[1].To) {
		t.Errorf("done by %s, the topcoat is rain-proof at %s", day.SealedBy, day.Stages[1].To)
	}
	frost := fair(may4, 20).hour(forecast.Air, 22, 26, -4).hour(forecast.Solar, 20, 30, 0).hour(forecast.Dew, 20, 30, -8)
	if day := frost.judge(c); day.Starts[0].Full != 0 || day.Failing[0].Limit != LimitFrost || day.Starts[0].RainOpen != 0 {
		t.Errorf("frost in the night: %+v, failing %+v", day.Starts[0], day.Failing)
	}
	rain := fair(may4, 20).hour(forecast.Rain, 8, 19, 0.3)
	if day := rain.judge(c); day.Starts[0].Full != 0 || day.Failing[0].Limit != LimitRain || day.Starts[0].RainOpen != 0 {
		t.Errorf("rain all day: %+v, failing %+v", day.Starts[0], day.Failing)
	}
}

func TestFromLeavesOutEarlierStarts(t *testing.T) {
	g := fair(may4, 20).ground(small())
	b := job.DefaultFirm().Bounds
	all := g.Judge(small(), may4, time.Time{}, b)
	late := g.Judge(small(), may4, clock(may4, 9).Add(time.Minute), b)
	if !late.Starts[0].At.Equal(clock(may4, 9.5)) || len(late.Starts) != len(all.Starts)-4 {
		t.Errorf("from 09:01 the first of %d starts (of %d) is %s", len(late.Starts), len(all.Starts), late.Starts[0].At)
	}
	if day := g.Judge(small(), may4, clock(may4, 20), b); day.Known() {
		t.Errorf("in the evening: %+v", day)
	}
}

// Dressing makes no more of a forecast than it knows: two hundred members of
// nine that the source sent in full are nine. A lone run is one by nature.
func TestDressedMembersCountAsThoseTheyAreMadeOf(t *testing.T) {
	c := small()
	for _, x := range []struct {
		parents, unknown int // of the parents
		members          int
		basis            Basis
	}{{12, 0, 200, FromDressed}, {12, 2, 166, FromDressed}, {12, 3, 9, FromNothing}, {1, 0, 200, FromDressed}, {1, 1, 0, FromNothing}} {
		s := fair(may4, 200)
		for m := range 200 {
			if m%x.parents < x.unknown {
				s.member(forecast.Wind, m, 10, 12, forecast.Unknown())
			}
		}
		r := run(forecast.Ensemble, s.hours)
		r.Parents = x.parents
		day := NewGround(forecast.Issue{Ens: r}, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile).Judge(c, may4, time.Time{}, job.DefaultFirm().Bounds)
		if day.Members != x.members || day.Basis != x.basis || day.Known() != (x.basis == FromDressed) {
			t.Errorf("%d of %d parents unknown: %d members, basis %s, known %v; want %d, %s", x.unknown, x.parents, day.Members, day.Basis, day.Known(), x.members, x.basis)
		}
	}
}

// TestAKnownPace: where it is not known how fast the crew works, each member has a
// crew of its own, and rain that comes in the middle of them leaves the roof in
// doubt. Where it is known there is none.
func TestAKnownPace(t *testing.T) {
	c := roof(20, job.Replace, job.NewBoard)
	var doubtful int
	for from := 12; from < 18; from++ {
		s := fair(may4, 20).hour(forecast.Rain, from, 24, 0.6)
		quick, slow, open := c, c, s.judge(c)
		quick.Slow, slow.Slow = 0.65*c.Profile.SlowMedian, 1.5*c.Profile.SlowMedian
		best := func(d Day) float64 { x, _ := d.BestStart(); return x.Sealed }
		q, l, o := best(s.judge(quick)), best(s.judge(slow)), best(open)
		if q != 0 && q != 1 || l != 0 && l != 1 || l > o || o > q {
			t.Errorf("rain from %d:00: quick %g, any %g, slow %g", from, q, o, l)
		}
		if o > 0 && o < 1 {
			doubtful++
		}
	}
	if doubtful == 0 {
		t.Error("no rain left any doubt: the test tells nothing")
	}
}
