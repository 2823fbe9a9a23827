package replay

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// stream gives the random numbers that belong to a name: the same name, the
// same numbers, in whatever order streams are asked for.
func stream(seed uint64, name string, args ...any) *rand.Rand {
	h := fnv.New64a()
	fmt.Fprintf(h, "%d/%s", seed, name)
	for _, a := range args {
		fmt.Fprintf(h, "/%v", a)
	}
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// normalShare gives the share of a standard normal below z.
func normalShare(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// normalScore gives the z below which a share p (0 < p < 1) of a standard
// normal lies.
func normalScore(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// drift is a first-order autoregression of unit variance.
type drift struct {
	keep, push, now float64
	rng             *rand.Rand
}

// newDrift starts a drift that keeps a share of itself each step.
func newDrift(rng *rand.Rand, keep float64) *drift {
	return &drift{keep: keep, push: math.Sqrt(1 - keep*keep), now: rng.NormFloat64(), rng: rng}
}

// next gives the value of the next step.
func (d *drift) next() float64 {
	d.now = d.keep*d.now + d.push*d.rng.NormFloat64()
	return d.now
}
