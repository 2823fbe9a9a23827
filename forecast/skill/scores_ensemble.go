package skill

import (
	"math"
	"slices"
)

// CRPS gives the continuous ranked probability score of members against what
// was, in the measure's unit: E|X-y| - E|X-X'|/2 over all pairs, a member with
// itself too, so the members are taken for the whole forecast. One member gives
// its absolute error. NaN without members. Gneiting and Raftery 2007, JASA 102.
func CRPS(members []float64, y float64) float64 {
	return crps(members, y, float64(len(members)))
}

// FairCRPS is CRPS with members taken for a sample of the forecast: pairs of a
// member with itself are left out, so that small and large ensembles compare.
// NaN with fewer than two members. Ferro 2014, QJRMS 140, from memory.
func FairCRPS(members []float64, y float64) float64 {
	if len(members) < 2 {
		return math.NaN()
	}
	return crps(members, y, float64(len(members)-1))
}

// crps sorts the members: the sum over pairs is then one sum, exactly. others
// is with how many members each is paired.
func crps(members []float64, y, others float64) float64 {
	x := slices.Clone(members)
	slices.Sort(x)
	n := float64(len(x))
	var off, pairs float64
	for i, v := range x {
		off += math.Abs(v - y)
		pairs += v * (2*float64(i) + 1 - n) // of |X-X'| over i < j
	}
	return off/n - pairs/(n*others)
}

// CRPSNormal gives the score of a normal forecast of mean mu and standard
// deviation sigma > 0. Gneiting et al. 2005, MWR 133, closed form.
func CRPSNormal(mu, sigma, y float64) float64 {
	z := (y - mu) / sigma
	below := 0.5 * math.Erfc(-z/math.Sqrt2)
	density := math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
	return sigma * (z*(2*below-1) + 2*density - 1/math.Sqrt(math.Pi))
}

// Rank gives where what was stands among the members: 0 is below all, n above
// all. Among equal members the place is u of the way, u in [0, 1) being drawn by
// the caller, so that ties do not make a histogram look skew.
func Rank(members []float64, y, u float64) int {
	below, equal := 0, 0
	for _, v := range members {
		switch {
		case v < y:
			below++
		case v == y:
			equal++
		}
	}
	return below + int(u*float64(equal+1))
}

// RankCounts counts ranks 0 to members in so many equal classes, lowest first.
// With classes = members + 1 it is the rank histogram itself. Ranks outside are
// left out.
func RankCounts(ranks []int, members, classes int) []int {
	out := make([]int, classes)
	for _, r := range ranks {
		if r >= 0 && r <= members {
			out[r*classes/(members+1)]++
		}
	}
	return out
}
