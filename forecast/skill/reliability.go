package skill

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Bin is one row of a reliability table.
type Bin struct {
	From   float64 `json:"from"` // chances from here
	To     float64 `json:"to"`   // to below here; the last bin holds 1 too
	N      int     `json:"n"`
	Chance float64 `json:"chance"`    // mean of those given
	Freq   float64 `json:"frequency"` // how often it happened
	// Low and High hold the frequency nineteen times in twenty where chances of
	// this mean come true as they should: the binomial band about Chance.
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Reliability gives the table of so many bins of equal width; empty ones are
// left out.
func Reliability(ss []Scored, bins int) []Bin {
	var out []Bin
	width := 1 / float64(bins)
	for _, c := range classesOf(ss, bins) {
		k := math.Min(math.Floor(c[0].Chance*float64(bins)), float64(bins-1))
		b := Bin{From: k * width, To: (k + 1) * width, N: len(c), Chance: meanChance(c), Freq: frequency(c)}
		b.Low, b.High = binomialBand(b.N, b.Chance)
		out = append(out, b)
	}
	return out
}

// binomialBand gives the frequencies between which n tries of chance p fall
// nineteen times in twenty at least: each end leaves at most a fortieth out.
func binomialBand(n int, p float64) (low, high float64) {
	if p <= 0 || p >= 1 {
		return p, p
	}
	const out = 0.025
	var below float64 // share of outcomes below k
	lowSet := false
	for k := 0; k <= n; k++ {
		below += math.Exp(logChoose(n, k) + float64(k)*math.Log(p) + float64(n-k)*math.Log1p(-p))
		if !lowSet && below > out {
			low, lowSet = float64(k)/float64(n), true
		}
		if below >= 1-out {
			return low, float64(k) / float64(n)
		}
	}
	return low, 1
}

func logChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n + 1))
	b, _ := math.Lgamma(float64(k + 1))
	c, _ := math.Lgamma(float64(n - k + 1))
	return a - b - c
}

// Slope gives the slope of frequency on chance over the bins, each weighing as
// many days as it holds, and where the line is at chance 0. 1 and 0 are perfect;
// less than 1 is chances that say more than they know. NaN with fewer than two
// different chances.
func Slope(bins []Bin) (slope, at0 float64) {
	var n, x, y float64
	for _, b := range bins {
		w := float64(b.N)
		n, x, y = n+w, x+w*b.Chance, y+w*b.Freq
	}
	x, y = x/n, y/n
	var xx, xy float64
	for _, b := range bins {
		w := float64(b.N)
		xx += w * (b.Chance - x) * (b.Chance - x)
		xy += w * (b.Chance - x) * (b.Freq - y)
	}
	if xx == 0 {
		return math.NaN(), math.NaN()
	}
	return xy / xx, y - xy/xx*x
}

// CalibrationError gives the mean distance of frequency from chance over the
// bins, each weighing as many days as it holds (expected calibration error); NaN
// without days. It is above 0 by chance alone: see CalibrationBand.
func CalibrationError(bins []Bin) float64 {
	var n, sum float64
	for _, b := range bins {
		n += float64(b.N)
		sum += float64(b.N) * math.Abs(b.Chance-b.Freq)
	}
	return sum / n
}

// CalibrationBand gives the calibration errors between which chances like these
// fall nineteen times in twenty where they come true exactly as often as they
// say: days are drawn with replacement, and whether it happened is drawn from
// their chances (consistency resampling, Bröcker and Smith 2007, from memory).
// day numbers the days from 0 on, one number for each chance: the chances of one
// day, given at several leads, come true or fail together. nil takes every chance
// for a day of its own. Days are drawn one by one, so the band is narrow for days
// that follow one another. NaN without days.
func CalibrationBand(ss []Scored, day []int, bins, draws int, seed uint64) (low, high float64) {
	if len(ss) == 0 || draws < 1 {
		return math.NaN(), math.NaN()
	}
	days := daysOf(ss, day)
	rng := rand.New(rand.NewPCG(seed, uint64(len(ss))))
	found := make([]float64, draws)
	var again []Scored
	for k := range found {
		again = again[:0]
		for range days {
			u := rng.Float64()
			for _, s := range days[rng.IntN(len(days))] {
				again = append(again, Scored{s.Chance, u < s.Chance})
			}
		}
		found[k] = calibrationError(again, bins)
	}
	slices.Sort(found)
	at := func(q float64) float64 { return found[int(math.Round(q*float64(draws-1)))] }
	return at(0.025), at(0.975)
}

// daysOf puts chances together by day.
func daysOf(ss []Scored, day []int) [][]Scored {
	var out [][]Scored
	for i, s := range ss {
		d := i
		if day != nil {
			d = day[i]
		}
		for len(out) <= d {
			out = append(out, nil)
		}
		out[d] = append(out[d], s)
	}
	return out
}

// calibrationError is CalibrationError of a table that nobody sees.
func calibrationError(ss []Scored, bins int) float64 {
	off := make([]float64, bins)
	for _, s := range ss {
		off[min(int(s.Chance*float64(bins)), bins-1)] += s.Chance - s.outcome()
	}
	var sum float64
	for _, x := range off {
		sum += math.Abs(x)
	}
	return sum / float64(len(ss))
}
