package skill

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// record gives days of chances at one lead that come true as truth says.
func record(days, lead int, seed uint64, truth func(p float64) float64) (out []Past) {
	rng := rand.New(rand.NewPCG(seed, uint64(lead)))
	for d := range days {
		p := rng.Float64()
		hit := 0.0
		if rng.Float64() < truth(p) {
			hit = 1
		}
		out = append(out, Past{Lead: lead, Ago: float64(d), Chance: p, N: 1, Hits: hit})
	}
	return out
}

// bold are chances that say too much: their logit is twice what it should be.
func bold(p float64) float64 {
	x := math.Log(p/(1-p)) / 2
	return 1 / (1 + math.Exp(-x))
}

func TestNothingLearnedMovesNothing(t *testing.T) {
	for _, r := range []Recal{{}, Fit(nil, nil)} {
		for _, c := range []Chances{{0, 0, 1}, {1, 1, 0}, {0.42, 0.2, 0.31}} {
			if got := r.Apply(1, c); got != c {
				t.Errorf("%+v became %+v", c, got)
			}
		}
	}
	if got := (Recal{}).Apply(1, Chances{math.NaN(), math.NaN(), math.NaN()}); got.Sealed == got.Sealed {
		t.Errorf("unknown became %+v", got)
	}
}

func TestHonestRecordMovesLittle(t *testing.T) {
	var ps []Past
	for lead := range 6 {
		ps = append(ps, record(365, lead, 3, honest)...)
	}
	r := Fit(ps, nil)
	for lead := range 6 {
		for _, p := range []float64{0.05, 0.5, 0.9} {
			if got := r.Apply(lead, Chances{Sealed: p}).Sealed; math.Abs(got-p) > 0.06 {
				t.Errorf("lead %d: %.2f became %.3f", lead, p, got)
			}
		}
	}
}

// What was learned from one record makes another of the same kind more
// reliable, as far as the prior lets it.
func TestBoldChancesAreMadeReliable(t *testing.T) {
	r := Fit(record(1000, 1, 1, bold), nil)
	fresh := drawn(20000, 9, bold)
	before := Reliability(fresh, 10)
	for i := range fresh {
		fresh[i].Chance = r.Apply(1, Chances{Sealed: fresh[i].Chance}).Sealed
	}
	after := Reliability(fresh, 10)
	raw, _ := Slope(before)
	slope, _ := Slope(after)
	if raw > 0.7 || slope < raw+0.1 || slope > 1.05 {
		t.Errorf("slope %.3f became %.3f, want nearer 1", raw, slope)
	}
	if a, b := CalibrationError(before), CalibrationError(after); b > 0.65*a {
		t.Errorf("calibration error %.3f became %.3f", a, b)
	}
	// the other leads have no record of their own and follow
	if got := r.Apply(6, Chances{Sealed: 0.95}).Sealed; got > 0.93 {
		t.Errorf("a week ahead .95 stays %.3f", got)
	}
	if got := r.Apply(6, Chances{RainOpen: 0.95}).RainOpen; got != 0.95 {
		t.Errorf("rain while open was never scored and became %.3f", got)
	}
}

func TestOldRecordsFade(t *testing.T) {
	ps := record(300, 1, 1, bold)
	near365 := Fit(ps, nil).Sealed[1]
	for i := range ps {
		ps[i].Ago += 5 * recalHalfLife
	}
	old := Fit(ps, nil).Sealed[1]
	if !(old.Days < near365.Days/30 && math.Abs(old.Bend) < math.Abs(near365.Bend)/3) {
		t.Errorf("new %+v, five half-lives old %+v", near365, old)
	}
}

// A hundred cells on one day are not a hundred days.
func TestManyCellsOfOneDay(t *testing.T) {
	one := []Past{{Lead: 1, Ago: 3, Chance: 0.9, N: 200}}
	if d := Fit(one, nil).Sealed[1].Days; d > dayWeight {
		t.Errorf("one day weighs %g days", d)
	}
	if got := Fit(one, nil).Apply(1, Chances{Sealed: 0.9}).Sealed; got < 0.75 {
		t.Errorf("one bad day took .9 to %.3f", got)
	}
}

// Even where what was likely never happens the order of chances stays.
func TestContraryRecordKeepsTheOrder(t *testing.T) {
	r := Fit(record(3000, 1, 1, func(p float64) float64 { return 1 - p }), nil)
	last := -1.0
	for p := 0.0; p <= 1; p += 0.01 {
		got := r.Apply(1, Chances{Sealed: p}).Sealed
		if got <= last {
			t.Fatalf("%.2f became %.4f, not more than %.4f", p, got, last)
		}
		last = got
	}
}

func TestRecalProperties(t *testing.T) {
	chance := rapid.Float64Range(0, 1)
	rapid.Check(t, func(t *rapid.T) {
		past := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Past {
			n := float64(rapid.IntRange(1, 9).Draw(t, "n"))
			return Past{Lead: rapid.IntRange(0, 9).Draw(t, "lead"), Ago: float64(rapid.IntRange(0, 900).Draw(t, "ago")),
				Chance: chance.Draw(t, "chance"), N: n, Hits: float64(rapid.IntRange(0, int(n)).Draw(t, "hits"))}
		}), 0, 60)
		r := Fit(past.Draw(t, "sealed"), past.Draw(t, "rain"))
		raw, err := json.Marshal(r)
		if err != nil {
			t.Fatal(err)
		}
		var again Recal
		if err := json.Unmarshal(raw, &again); err != nil || again != r {
			t.Fatalf("%+v came back as %+v, %v", r, again, err)
		}
		lead := rapid.IntRange(-1, 20).Draw(t, "lead")
		sealed := chance.Draw(t, "s")
		c := Chances{Sealed: sealed, Full: sealed * chance.Draw(t, "f"), RainOpen: (1 - sealed) * chance.Draw(t, "r")}
		got := r.Apply(lead, c)
		if !(got.Sealed >= 0 && got.Sealed <= 1 && got.RainOpen >= 0 && got.Full >= 0 && got.Full <= got.Sealed+1e-12 && got.Sealed+got.RainOpen <= 1+1e-12) {
			t.Fatalf("%+v became %+v", c, got)
		}
		better := c
		better.Sealed = sealed + (1-sealed-c.RainOpen)*chance.Draw(t, "more")
		if b := r.Apply(lead, better); b.Sealed < got.Sealed-1e-12 {
			t.Fatalf("%+v became %+v, but %+v %+v", c, got, better, b)
		}
	})
}
