package rules

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"math/rand/v2"
)

// mask says which limits an hour breaks, one bit each.
type mask uint16

// The bits of a mask. Water is not among them: a new board starts dry, so its
// film depends on when it was laid.
const (
	bitRain mask = 1 << iota
	bitWind
	bitGust
	bitAir
	bitFrost
	bitDeck
	bitMargin
	bitRH
	bitUnknown
	bitDry // set by the walk alone
)

var bitLimits = [...]Limit{LimitRain, LimitWind, LimitGust, LimitAir, LimitFrost, LimitDeck, LimitDewMargin, LimitRH, LimitUnknown, LimitDry}

func bitOf(l Limit) mask {
	for i, x := range bitLimits {
		if x == l {
			return 1 << i
		}
	}
	return 0
}

// first gives the limit of the lowest bit that is set.
func (m mask) first() Limit {
	for i, l := range bitLimits {
		if m&(1<<i) != 0 {
			return l
		}
	}
	return LimitUnknown
}

// slowness gives each member its multiple of the nominal time: the quantiles of
// the lognormal, dealt out in an order seeded by the run, so that the spread is
// the right one however few the members.
func slowness(seed string, n int, p Profile) []float64 {
	sum := sha256.Sum256([]byte("slowness|" + seed))
	rng := rand.New(rand.NewPCG(binary.LittleEndian.Uint64(sum[:8]), binary.LittleEndian.Uint64(sum[8:16])))
	out := make([]float64, n)
	for i, k := range rng.Perm(n) {
		q := (float64(k) + 0.5) / float64(n)
		out[i] = p.SlowMedian * math.Exp(p.SlowSD*normalQuantile(q))
	}
	return out
}
