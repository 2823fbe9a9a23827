package skill

import (
	"math"
	"math/rand/v2"
	"testing"
)

// drawn gives n days whose chances come true as often as true(p) says.
func drawn(n int, seed uint64, truth func(p float64) float64) []Scored {
	rng := rand.New(rand.NewPCG(seed, 7))
	out := make([]Scored, n)
	for i := range out {
		p := rng.Float64()
		out[i] = Scored{p, rng.Float64() < truth(p)}
	}
	return out
}

func honest(p float64) float64 { return p }

func TestReliabilityTable(t *testing.T) {
	bins := Reliability(spread(rain24), 10)
	if len(bins) != 10 {
		t.Fatalf("%d bins, want 10", len(bins))
	}
	b := bins[2] // chances of .2: 59 days, 5 events
	if b.N != 59 || math.Abs(b.Freq-5./59) > 1e-12 || math.Abs(b.Chance-0.2) > 1e-12 || b.From > 0.2 || b.To < 0.3-1e-12 {
		t.Errorf("bin %+v", b)
	}
	// 59 tries of .2 fall on 6 to 18 nineteen times in twenty (binomial quantiles)
	if b.Low != 6./59 || b.High != 18./59 {
		t.Errorf("band %g to %g of 59, want 6 to 18", b.Low*59, b.High*59)
	}
	if last := bins[9]; last.N != 24 {
		t.Errorf("the last bin holds %d days, want those of .9 and 1", last.N)
	}
}

func TestBinomialBandHoldsNineteenInTwenty(t *testing.T) {
	for _, n := range []int{1, 7, 40, 365, 5000} {
		for _, p := range []float64{0.001, 0.03, 0.5, 0.77, 0.999} {
			low, high := binomialBand(n, p)
			var in float64
			for k := range n + 1 {
				if f := float64(k) / float64(n); f >= low && f <= high {
					in += math.Exp(logChoose(n, k) + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
				}
			}
			if np := p * float64(n); in < 0.95-1e-9 || low*float64(n) > math.Ceil(np) || high*float64(n) < math.Floor(np) {
				t.Errorf("n %d, p %g: %g to %g holds %g", n, p, low, high, in)
			}
		}
	}
}

func TestSlopeTellsHonestFromBold(t *testing.T) {
	slope, at0 := Slope(Reliability(drawn(20000, 1, honest), 10))
	near(t, "slope of honest chances", slope, 1, 0.04)
	near(t, "and at 0", at0, 0, 0.03)
	slope, _ = Slope(Reliability(drawn(20000, 1, func(p float64) float64 { return 0.25 + p/2 }), 10))
	near(t, "slope of bold chances", slope, 0.5, 0.04)
	if s, _ := Slope(Reliability([]Scored{{0.5, true}}, 10)); !math.IsNaN(s) {
		t.Errorf("slope of one bin is %g", s)
	}
}

func TestCalibrationErrorInItsBandWhereHonest(t *testing.T) {
	inside := 0
	for seed := range uint64(40) {
		ss := drawn(180, seed, honest)
		low, high := CalibrationBand(ss, nil, 10, 400, 1)
		if e := CalibrationError(Reliability(ss, 10)); e >= low && e <= high {
			inside++
		}
	}
	if inside < 33 { // 38 of 40 are expected; fewer than 34 come by chance in 3 of 1,000
		t.Errorf("%d of 40 honest years inside the band", inside)
	}
	ss := drawn(180, 3, func(p float64) float64 { return 0.3 + 0.4*p })
	_, high := CalibrationBand(ss, nil, 10, 400, 1)
	if e := CalibrationError(Reliability(ss, 10)); e <= high {
		t.Errorf("bold chances: error %.3f inside the band up to %.3f", e, high)
	}
	if a, b := CalibrationError(Reliability(ss, 10)), calibrationError(ss, 10); math.Abs(a-b) > 1e-12 {
		t.Errorf("two ways to one error: %g and %g", a, b)
	}
	near(t, "error of the published set", CalibrationError(Reliability(spread(rain24), 10)), handError(), 1e-12)
}

// handError works the published set's error out by hand: the tenths alone but
// for the last two, which share a bin.
func handError() float64 {
	var sum, n float64
	last := given{}
	var lastSum float64
	for _, g := range rain24 {
		n += float64(g.n)
		if g.chance >= 0.9 {
			last.n += g.n
			last.events += g.events
			lastSum += g.chance * float64(g.n)
			continue
		}
		sum += math.Abs(g.chance*float64(g.n) - float64(g.events))
	}
	return (sum + math.Abs(lastSum-float64(last.events))) / n
}

func TestNoDaysNoScores(t *testing.T) {
	low, high := CalibrationBand(nil, nil, 10, 100, 1)
	for _, x := range []float64{Brier(nil), CalibrationError(nil), low, high, PartsOf(nil, 10).Skill()} {
		if !math.IsNaN(x) {
			t.Errorf("a score of no days is %g", x)
		}
	}
	if got := Reliability(nil, 10); len(got) != 0 {
		t.Errorf("a table of no days: %+v", got)
	}
	if n := len(Reliability([]Scored{{math.NaN(), true}}, 10)); n > 1 {
		t.Errorf("%d bins of one day", n)
	}
}

// Five leads of one day are not five days: the band of their error is wider.
func TestBandOfDaysGivenSeveralTimes(t *testing.T) {
	var ss []Scored
	var day []int
	for d, s := range drawn(150, 4, honest) {
		for range 5 {
			ss, day = append(ss, s), append(day, d)
		}
	}
	_, alone := CalibrationBand(ss, nil, 10, 400, 1)
	_, together := CalibrationBand(ss, day, 10, 400, 1)
	_, once := CalibrationBand(drawn(150, 4, honest), nil, 10, 400, 1)
	if together < 1.5*alone || math.Abs(together-once) > 0.02 {
		t.Errorf("band up to %.3f together, %.3f alone, %.3f given once", together, alone, once)
	}
}
