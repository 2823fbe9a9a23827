package rules

import (
	"math"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
)

// lanesOf gives the lanes of a hand-made day, by the limit that names them.
func lanesOf(s *handmade, c Case) map[Limit]Lane {
	g := s.ground(c)
	day := g.Judge(c, s.day, time.Time{}, job.DefaultFirm().Bounds)
	out := map[Limit]Lane{}
	for _, l := range g.Lanes(c, day, clock(s.day, 6), clock(s.day, 21)) {
		out[l.Limits[0]] = l
	}
	return out
}

func (l Lane) at(t *testing.T, hour float64) LaneHour {
	t.Helper()
	for _, h := range l.Hours {
		if h.At.Equal(clock(may4, hour)) {
			return h
		}
	}
	t.Fatalf("the lane %v has no hour %g", l.Limits, hour)
	return LaneHour{}
}

func near(a, b float64) bool { return math.Abs(a-b) < 0.01 }

func TestLanesMeasureRoom(t *testing.T) {
	s := fair(may4, 20).hour(forecast.Wind, 12, 13, 8.3).hour(forecast.Gust, 13, 14, 15).hour(forecast.Wind, 14, 15, 11)
	for m := range 4 {
		s.member(forecast.Wind, m, 15, 16, 11.7)
	}
	wind := lanesOf(s, small())[LimitWind]
	if len(wind.Hours) != 15 || wind.Shared {
		t.Fatalf("%d hours, shared %v; want the 15 from 06:00 to 21:00", len(wind.Hours), wind.Shared)
	}
	// 8.3 m/s leaves 1.7 of 10, one standard error of three
	if h := wind.at(t, 12); !near(h.Middle, 1.0/3) || !near(h.Careful, 1.0/3) || h.Check.Limit != LimitWind || h.Check.Value != 8.3 || h.Check.Bound != 10 {
		t.Errorf("wind of 8.3 m/s: %+v", h)
	}
	// gusts at the bound hold it, without room; they are tighter than the wind
	if h := wind.at(t, 13); h.Middle != 0 || h.Broken != 0 || h.Closed() || h.Check.Limit != LimitGust {
		t.Errorf("gusts at the bound: %+v", h)
	}
	if h := wind.at(t, 14); h.Middle >= 0 || h.Broken != 20 || !h.Closed() {
		t.Errorf("wind over the bound: %+v", h)
	}
	// a fifth of the members: the middle does not see it, nine in ten do
	if h := wind.at(t, 15); h.Middle < 1 || h.Careful >= 0 || h.Broken != 4 || h.Closed() {
		t.Errorf("wind over the bound in 4 of 20: %+v", h)
	}
}

func TestLanesCountRain(t *testing.T) {
	s := fair(may4, 20).member(forecast.Rain, 3, 10, 11, 0.4)
	for m := range 10 {
		s.member(forecast.Rain, m, 11, 12, 0.4)
	}
	rain := lanesOf(s, small())[LimitRain]
	if h := rain.at(t, 9); h.Middle != 1 || h.Careful != 1 || h.Broken != 0 {
		t.Errorf("a dry hour: %+v", h)
	}
	if h := rain.at(t, 10); !near(h.Middle, 0.9) || !near(h.Careful, 0.5) || h.Broken != 1 || !near(h.Check.Value, 0.05) {
		t.Errorf("rain in 1 of 20: %+v", h)
	}
	if h := rain.at(t, 11); h.Middle > 0 || !h.Closed() {
		t.Errorf("rain in 10 of 20: %+v", h)
	}
}

func TestLanesOfOldAndNewDecks(t *testing.T) {
	s := fair(may4, 20).hour(forecast.Rain, 5, 7, 2)
	if _, ok := lanesOf(s, small())[LimitDry]; ok {
		t.Error("a lane for the dry deck where new boards are laid")
	}
	dry, ok := lanesOf(s, roof(8, job.Relaminate, job.GRP))[LimitDry]
	if !ok || !dry.at(t, 7).Closed() || dry.at(t, 20).Broken != 0 {
		t.Errorf("an old deck after rain at 05:00 to 07:00: %+v", dry.Hours)
	}
}

func TestLanesSayWhatIsAskedAndWhatIsNotKnown(t *testing.T) {
	s := fair(may4, 20)
	got := lanesOf(s, small())
	// rain matters from the strip to the last cure, save while the laminate is
	// sanded; dew only to what goes on the deck
	rain, dew := got[LimitRain], got[LimitDewMargin]
	if n := len(rain.Asked); n != 2 || !rain.Asked[0].From.Equal(clock(may4, 8)) {
		t.Errorf("rain is asked for in %v, want two spans from 08:00", rain.Asked)
	}
	if len(dew.Asked) == 0 || !dew.Asked[0].From.After(clock(may4, 8)) {
		t.Errorf("dew is asked for in %v, want spans from the laminate on", dew.Asked)
	}
	nan := float32(math.NaN())
	for m := range 10 {
		s.member(forecast.Wind, m, 12, 13, nan)
	}
	if h := lanesOf(s, small())[LimitWind].at(t, 12); h.Middle == h.Middle || h.Known != 10 || h.Closed() {
		t.Errorf("half of the members know nothing: %+v, want no room told", h)
	}
	var none Ground
	if ls := none.Lanes(small(), Day{}, clock(may4, 6), clock(may4, 21)); len(ls) != 0 {
		t.Errorf("a ground that knows nothing gave %v", ls)
	}
}

// TestLanesAgreeWithTheVerdict: in random weather a lane is closed in just the
// hours in which the middle member breaks one of its limits.
func TestLanesAgreeWithTheVerdict(t *testing.T) {
	closed := 0
	for seed := range uint64(40) {
		sc := someScene(t, seed, 15)
		g := sc.ground()
		day := sc.judge()
		for _, l := range g.Lanes(sc.c, day, g.start, g.at(float64(g.n))) {
			for _, h := range l.Hours {
				if h.Middle != h.Middle {
					continue
				}
				if h.Closed() {
					closed++
				}
				if h.Closed() && h.Middle > tolerance || !h.Closed() && h.Middle < -tolerance || h.Careful > h.Middle {
					t.Fatalf("seed %d, lane %v: %+v", seed, l.Limits, h)
				}
			}
		}
	}
	if closed == 0 {
		t.Error("no hour was closed in any scene: the test shows nothing")
	}
}
