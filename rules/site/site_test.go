package site

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"laycast/job"
	"laycast/rules"
	"laycast/rules/mix"
)

func num(x float64) *float64 { return &x }

func at(h, m int) time.Time { return time.Date(2027, time.May, 12, h, m, 0, 0, time.UTC) }

// recipe is a plain table; its doses are common practice, no source.
func recipe() mix.Recipe {
	return mix.Recipe{
		Bands:    []mix.Band{{From: 5, To: 10, Pct: 3}, {From: 10, To: 15, Pct: 2.5}, {From: 15, To: 22, Pct: 2}, {From: 22, To: 35, Pct: 1}},
		Measured: 2, Density: 1.15, UseShare: 0.66, Hot: 30, Cold: 10,
		Resin: mix.Batch{KgPerM2: 1.125, AreaM2: 1}, Topcoat: mix.Batch{KgPerM2: 0.5, AreaM2: 3},
	}
}

// fair is a forecast of a mild dry day from 7 to 24 h: 15 °C, dew point 8 °C, so
// 63 % by Magnus, deck at 18 °C.
func fair() []rules.Hour {
	var hs []rules.Hour
	for h := 7; h < 24; h++ {
		hs = append(hs, rules.Hour{At: at(h, 0), Air: 15, Dew: 8, Surface: 18, DewMargin: 10, RH: 63, Wind: 4, Gust: 6})
	}
	return hs
}

func visit(hs []rules.Hour) Visit {
	return Visit{
		Stage: rules.Laminate, Hours: hs, WorkEnd: at(17, 30), Work: 2 * time.Hour, Coat: time.Hour, Wooden: true,
		Profile: rules.Polyester(), Recipe: recipe(), Hands: 2,
	}
}

// Dew points by the table of ASHRAE's equations (psychro_reference.csv, CHECKS
// section 1: computed there with psychrolib; Magnus lies within 0.04 K of it).
func TestDewMarginByTheTable(t *testing.T) {
	for _, c := range []struct{ air, rh, surface, dew float64 }{
		{5, 85, 6, 2.6915}, {10, 80, 9, 6.7130}, {15, 60, 18, 7.3070}, {20, 90, 21, 18.3102},
	} {
		a := visit(fair()).Answer(job.Reading{Entry: job.Entry{At: at(9, 20)}, AirC: num(c.air), RHPct: num(c.rh), SurfaceC: num(c.surface)})
		if math.Abs(a.DewC-c.dew) > 0.04 || math.Abs(a.DewMarginK-(c.surface-c.dew)) > 0.04 || !a.DewMeasured || !a.DeckMeasured {
			t.Errorf("%g °C, %g %%, deck %g °C: dew point %.4f, margin %.4f; want %.4f and %.4f", c.air, c.rh, c.surface, a.DewC, a.DewMarginK, c.dew, c.surface-c.dew)
		}
	}
}

// The morning is damp: the deck stands 2 K over its dew point, 3 K are asked.
// The forecast warms it by 1 K an hour, so what was measured 2 K colder than it
// reaches 3 K where the forecast reaches 5 K.
func TestTheReadingShiftsTheHours(t *testing.T) {
	hs := fair()
	for i := range hs { // 8 h: surface 12 °C, 4 K over a dew point of 8; 9 h: 5 K
		hs[i].Surface = min(12+float64(hs[i].At.Hour()-8), 20)
		hs[i].DewMargin = hs[i].Surface - hs[i].Dew
	}
	v := visit(hs)
	if a := v.Answer(job.Reading{Entry: job.Entry{At: at(8, 10)}, SurfaceC: num(12)}); a.Advice != GoOn {
		t.Errorf("as forecast: %+v", a)
	}
	a := v.Answer(job.Reading{Entry: job.Entry{At: at(8, 10)}, SurfaceC: num(10)})
	if a.Advice != Wait || !a.From.Equal(at(9, 0)) || math.Abs(a.Off.SurfaceK+2) > 1e-9 || !strings.Contains(a.Why, "dew margin 2.0 K, at least 3") {
		t.Errorf("2 K colder: %+v", a)
	}
	if a = v.Answer(job.Reading{Entry: job.Entry{At: at(8, 10)}, SurfaceC: num(7)}); a.Advice != Wait || !a.From.Equal(at(12, 0)) {
		t.Errorf("5 K colder: 3 K is reached where the forecast has 8 K, at 12 h: %+v", a)
	}
	// humid air as measured: 15 °C and 95 % is a dew point of 14.2, and stays
	a = v.Answer(job.Reading{Entry: job.Entry{At: at(8, 10)}, AirC: num(15), RHPct: num(95), SurfaceC: num(12)})
	if a.Advice != Stop || !strings.Contains(a.Why, "dew margin") && !strings.Contains(a.Why, "humidity") {
		t.Errorf("humid: %+v", a)
	}
}

// Rain, the end of the day and the cure bound the work.
func TestWhatEndsTheDay(t *testing.T) {
	read := func(v Visit, h, m int) Answer {
		return v.Answer(job.Reading{Entry: job.Entry{At: at(h, m)}, AirC: num(15), RHPct: num(63), SurfaceC: num(18)})
	}
	v := visit(fair())
	// by hand: the cure runs at 18 °C, rate exp(-50000/8.314 (1/291.15 - 1/293.15)) = .8686, so
	// 0.75 h take 0.86 h: work from 14:30 is sealed at 17:22
	if a := read(v, 14, 30); a.Advice != GoOn {
		t.Errorf("two hours before the end: %+v", a)
	}
	if a := read(v, 16, 0); a.Advice != Stop || !strings.Contains(a.Why, "end of the day") {
		t.Errorf("too late: %+v", a)
	}
	rainy := fair()
	rainy[10].Rain = 1 // 17 h
	if a := read(visit(rainy), 14, 0); a.Advice != GoOn {
		t.Errorf("sealed at 16:52, rain at 17: %+v", a)
	}
	if a := read(visit(rainy), 14, 30); a.Advice != Stop || !strings.Contains(a.Why, "rain") {
		t.Errorf("sealed at 17:22, rain at 17: %+v", a)
	}
	v.RainFrom = at(17, 0) // a fifth of the members have it, the middle does not
	if a := read(v, 14, 30); a.Advice != Stop || !strings.Contains(a.Why, "rain is likely") {
		t.Errorf("rain is likely: %+v", a)
	}
}

// The latest topcoat: an hour of work, then 2 h at 20 °C, 2.30 h at 18 °C, before
// the rain of 17 h: it must begin by 13:41, so by 13:30.
func TestLatestTopcoat(t *testing.T) {
	rainy := fair()
	rainy[10].Rain = 1
	v := visit(rainy)
	v.Stage, v.Work = rules.Topcoat, v.Coat
	a := v.Answer(job.Reading{Entry: job.Entry{At: at(10, 0)}, AirC: num(15), RHPct: num(63), SurfaceC: num(18)})
	if !a.CoatBy.Equal(at(13, 30)) || a.Advice != GoOn {
		t.Errorf("topcoat by %s (%s), %+v", a.CoatBy, a.NoCoat, a)
	}
	a = v.Answer(job.Reading{Entry: job.Entry{At: at(14, 0)}, AirC: num(15), RHPct: num(63), SurfaceC: num(18)})
	if !a.CoatBy.IsZero() || a.NoCoat == "" || a.Advice == GoOn {
		t.Errorf("too late for a topcoat: %+v", a)
	}
}

// A reading of an hour before the forecast begins is held against nothing: what
// lies between is not known, so nobody hears "go on", nor until when to topcoat.
func TestAReadingBeforeTheForecast(t *testing.T) {
	v := visit(fair()[5:]) // from 12 h on
	a := v.Answer(job.Reading{Entry: job.Entry{At: at(9, 20)}, AirC: num(15), RHPct: num(63), SurfaceC: num(18), MoisturePct: num(12)})
	if a.Advice != Blind || !a.CoatBy.IsZero() || math.Abs(a.DewMarginK-10) > 0.1 {
		t.Errorf("%+v", a)
	}
	if a := v.Answer(job.Reading{Entry: job.Entry{At: at(12, 20)}, AirC: num(15), RHPct: num(63), SurfaceC: num(18), MoisturePct: num(12)}); a.Advice != GoOn {
		t.Errorf("in its first hour: %+v", a)
	}
}

// A meter overrides the forecast's deck, either way.
func TestTheMeterCounts(t *testing.T) {
	hs := fair()
	for i := range hs {
		hs[i].Water = 0.4 // the forecast never dries it
	}
	v := visit(hs)
	r := job.Reading{Entry: job.Entry{At: at(9, 20)}, AirC: num(15), RHPct: num(63), SurfaceC: num(18)}
	if a := v.Answer(r); a.Advice != Stop || !strings.Contains(a.Why, "water stands") {
		t.Errorf("wet by the forecast: %+v", a)
	}
	r.MoisturePct = num(14)
	if a := v.Answer(r); a.Advice != GoOn {
		t.Errorf("dry by the meter: %+v", a)
	}
	r.MoisturePct = num(18)
	if a := visit(fair()).Answer(r); a.Advice != Wait || !a.From.IsZero() || !strings.Contains(a.Why, "wet by its meter") {
		t.Errorf("wet by the meter: %+v", a)
	}
	v.Wooden = false // a reading of concrete is not in the % of wood
	r.MoisturePct = num(4)
	if a := v.Answer(r); a.Advice != Stop {
		t.Errorf("concrete: %+v", a)
	}
}

// Whatever is measured, nobody hears "go on" without a forecast that counts, nor
// with a limit broken that the crew itself measured.
func TestNeverGoOnBlindly(t *testing.T) {
	p := rules.Polyester()
	rapid.Check(t, func(t *rapid.T) {
		v := visit(fair())
		blind := rapid.Bool().Draw(t, "blind")
		switch {
		case blind && rapid.Bool().Draw(t, "old"):
			v.Blind = "the forecast is of 03:00"
		case blind:
			v.Hours = nil
		}
		opt := func(lo, hi float64, name string) *float64 {
			if rapid.Bool().Draw(t, "has "+name) {
				return num(rapid.Float64Range(lo, hi).Draw(t, name))
			}
			return nil
		}
		r := job.Reading{Entry: job.Entry{At: at(7, 0).Add(time.Duration(rapid.IntRange(0, 900).Draw(t, "minute")) * time.Minute)},
			AirC: opt(-5, 40, "air"), RHPct: opt(5, 100, "rh"), SurfaceC: opt(-5, 60, "surface"), MoisturePct: opt(0, 40, "moisture")}
		a := v.Answer(r)
		if a.Advice == GoOn {
			if blind {
				t.Fatalf("go on, blind: %+v", a)
			}
			for _, c := range a.Now {
				for _, b := range p.Laminating {
					if b.Limit == c.Limit && c.Margin < -0.01 {
						t.Fatalf("go on with %+v", c)
					}
				}
			}
			if r.MoisturePct != nil && *r.MoisturePct >= WetWood {
				t.Fatalf("go on, on a wet deck")
			}
		}
		for _, line := range a.Lines(time.UTC) {
			if strings.Contains(line, "NaN") || strings.Contains(line, "  ") || strings.Contains(line, ": .") {
				t.Fatalf("a crew reads %q", line)
			}
		}
	})
}
