package mix

import (
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"laycast/rules"
)

// recipe is a plain table; its doses are common practice, no source.
func recipe() Recipe {
	return Recipe{
		Bands:    []Band{{5, 10, 3}, {10, 15, 2.5}, {15, 22, 2}, {22, 28, 1.5}, {28, 35, 1}},
		Measured: 2, Density: 1.15, UseShare: 0.66, Hot: 30, Cold: 10,
		Resin: Batch{KgPerM2: 1.125, AreaM2: 1}, Topcoat: Batch{KgPerM2: 0.5, AreaM2: 3},
	}
}

// By hand. The built-in profile gels in 20 min at 20 °C; the rates of cure at
// 10 and 25 °C relative to 20 °C are .4846 and 1.4106 (CHECKS section 6, grade
// D, E = 50 kJ/mol).
func TestLinesByHand(t *testing.T) {
	for _, c := range []struct {
		deck, dose, mlPerKg, gel, work float64
		resin, topcoat                 Portion
		warns                          []string
	}{
		// 20 g in a kilogram / 1.15 = 17.4 ml; 20 x .66 = 13.2 min; a pair lays 14 x
		// 13 / 60 = 3.03 m², so the batch is the 1 m² it may be: 1.125 kg, weighed as
		// 1.1, + 22 g = 19 ml; topcoat 20 x 13 / 60 = 4.3 m², so 3: 1.5 kg + 30 g = 26 ml
		{20, 2, 17.4, 20, 13, Portion{1, 1.1, 19}, Portion{3, 1.5, 26}, nil},
		// 20 / .4846 = 41.27, and 2.5 % where 2 % was measured: x 0.8 = 33.02
		{10, 2.5, 21.7, 33, 21, Portion{1, 1.1, 24}, Portion{3, 1.5, 33}, []string{"cut in proportion"}},
		// 20 / 1.4106 = 14.18, the smaller dose would take longer: not counted on
		{25, 1.5, 13, 14, 9, Portion{1, 1.1, 14}, Portion{3, 1.5, 20}, nil},
		// hot: half batches, 0.5 m² x 1.125 = .5625, weighed as .6
		{33, 1, 8.7, 8, 5, Portion{0.5, 0.6, 5}, Portion{1.5, 0.8, 7}, []string{"over 10 K", "half batches"}},
		// exp(-50000 / 8.314 x (1/280.15 - 1/293.15)) = .38598; 20 / .38598 x 2/3 = 34.54
		{7, 3, 26.1, 34, 22, Portion{1, 1.1, 29}, Portion{3, 1.5, 39}, []string{"cut in proportion", "over 10 K", "cold deck"}},
	} {
		l := recipe().At(rules.Polyester(), 2, c.deck)
		if l.DosePct != c.dose || math.Abs(l.MlPerKg-c.mlPerKg) > 1e-9 || l.GelMin != c.gel || l.WorkMin != c.work || l.Resin != c.resin || l.Topcoat != c.topcoat {
			t.Errorf("%g °C: %+v", c.deck, l)
		}
		if len(l.Warnings) != len(c.warns) {
			t.Errorf("%g °C warns %q", c.deck, l.Warnings)
			continue
		}
		for i, w := range c.warns {
			if !strings.Contains(l.Warnings[i], w) {
				t.Errorf("%g °C warns %q, want %q", c.deck, l.Warnings[i], w)
			}
		}
	}
}

// Outside the owner's table there is no dose, no batch and no time, and the
// line says so.
func TestNothingOutsideTheTable(t *testing.T) {
	for deck, why := range map[float64]string{4.99: "colder", 35.01: "hotter", math.NaN(): "not known", math.Inf(-1): "not known"} {
		l := recipe().At(rules.Polyester(), 2, deck)
		if l.DosePct != 0 || l.MlPerKg != 0 || l.GelMin != 0 || l.Resin != (Portion{}) || l.Topcoat != (Portion{}) || len(l.Warnings) != 1 || !strings.Contains(l.Warnings[0], why) || !strings.Contains(l.Words(), "no dose") {
			t.Errorf("%g °C: %+v %s", deck, l, l.Words())
		}
	}
	if l := recipe().At(rules.Polyester(), 2, 35); l.DosePct != 1 {
		t.Errorf("the table's own end: %+v", l)
	}
	none := recipe()
	none.Bands = nil
	if l := none.At(rules.Polyester(), 2, 20); l.DosePct != 0 || len(l.Warnings) != 1 {
		t.Errorf("no table: %+v", l)
	}
}

func TestNobodyLaminatesAlone(t *testing.T) {
	l := recipe().At(rules.Polyester(), 1, 20)
	if l.Resin != (Portion{}) || l.Topcoat != (Portion{}) || len(l.Warnings) != 1 {
		t.Errorf("%+v", l)
	}
}

// A colder deck never takes less; a warmer one never leaves more time where the
// dose is the same; a batch is always down in its time.
func TestMixProperties(t *testing.T) {
	p := rules.Polyester()
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(5, 35).Draw(t, "colder")
		b := rapid.Float64Range(a, 35).Draw(t, "warmer")
		hands := rapid.IntRange(2, 6).Draw(t, "hands")
		x, y := recipe().At(p, hands, a), recipe().At(p, hands, b)
		if x.DosePct < y.DosePct || x.DosePct < 1 || x.DosePct > 4 {
			t.Fatalf("%g °C takes %g %%, %g °C %g %%", a, x.DosePct, b, y.DosePct)
		}
		if x.DosePct == y.DosePct && x.GelMin < y.GelMin {
			t.Fatalf("%g °C leaves %g min, %g °C %g", a, x.GelMin, b, y.GelMin)
		}
		if x.WorkMin >= x.GelMin || x.Resin.AreaM2/(p.LaminateRate*p.Pace(hands))*60 > x.WorkMin+1e-9 {
			t.Fatalf("%+v", x)
		}
	})
}

func TestCard(t *testing.T) {
	at := func(h, m int) time.Time { return time.Date(2027, 5, 4, h, m, 0, 0, time.UTC) }
	hours := []rules.Hour{{At: at(9, 0), Surface: 12}, {At: at(10, 0), Surface: 16}, {At: at(11, 0), Surface: math.NaN()}, {At: at(12, 0), Surface: 20}}
	spans := []rules.Span{{Stage: rules.DeckStage, From: at(8, 0), To: at(10, 20)}, {Stage: rules.Laminate, From: at(10, 20), To: at(12, 0)}, {Stage: rules.Cure, From: at(12, 0), To: at(13, 0)}}
	card := recipe().Card(rules.Polyester(), 2, hours, spans)
	want := []struct {
		stage rules.Stage
		dose  float64
	}{{"", 2.5}, {rules.Laminate, 2}, {rules.Laminate, 0}, {"", 2}}
	for i, w := range want {
		if card[i].Stage != w.stage || card[i].DosePct != w.dose || card[i].At != hours[i].At {
			t.Errorf("hour %d: %+v", i, card[i])
		}
	}
	if m := Mixing(card); len(m) != 2 || m[0].At != at(10, 0) {
		t.Errorf("mixing hours: %+v", m)
	}
	if m := Mixing(recipe().Card(rules.Polyester(), 2, hours, nil)); len(m) != 4 {
		t.Errorf("without stages all hours are shown, got %d", len(m))
	}
}

// The cautions that may never be missing.
func TestCautions(t *testing.T) {
	all := strings.Join(Cautions(), " ")
	for _, want := range []string{"accelerator", "eyes", "heat", "data sheet governs", "acetone"} {
		if !strings.Contains(all, want) {
			t.Errorf("no word of %s", want)
		}
	}
}
