package rules

import (
	"math"
	"testing"
)

// TestGelTimeCarriesTheAges: the factors at E = 50 kJ/mol relative to 20 °C are
// the derived rows of the check values (cure.csv, CHECKS section 6, grade D):
// .4846 at 10 °C, 1.9674 at 30 °C.
func TestGelTimeCarriesTheAges(t *testing.T) {
	for _, c := range []struct{ gel, at, want float64 }{
		{20, 20, 1}, {40, 20, 2}, {20, 10, 0.4846}, {20, 30, 1.9674}, {10, 30, 1.9674 / 2},
	} {
		p := Polyester()
		p.GelMin, p.GelAt = c.gel, c.at
		if got := p.curePace(); math.Abs(got-c.want) > 1e-4 {
			t.Errorf("a gel of %g min at %g °C: pace %.4f, want %.4f", c.gel, c.at, got, c.want)
		}
	}
}

// TestSlowResinSealsLater: with a resin that gels in twice the time the cure
// takes twice as long; and a deck far from where the gel time was measured is
// said to be so.
func TestSlowResinSealsLater(t *testing.T) {
	sky := fair(may4, 20)
	span := func(c Case) (hours float64, beyond bool) {
		day := sky.judge(c)
		for _, s := range day.Stages {
			if s.Stage == Cure {
				return s.To.Sub(s.From).Hours(), day.CureBeyond
			}
		}
		t.Fatalf("no cure: %+v", day)
		return 0, false
	}
	usual, slow := small(), small()
	slow.Profile.GelMin *= 2
	a, near := span(usual)
	b, _ := span(slow)
	// the weather is the same in every hour of the cure, so the times go as the ages
	if b < 1.7*a || b > 2.3*a {
		t.Errorf("the cure takes %.3f h, with the slow resin %.3f h", a, b)
	}
	far := small()
	far.Profile.GelMin, far.Profile.GelAt = 60, 2
	if _, beyond := span(far); !beyond || near {
		t.Errorf("beyond the gel's reach: %t measured at 2 °C, %t at 20 °C", beyond, near)
	}
}
