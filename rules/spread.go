package rules

import (
	"math"
	"slices"
	"time"
)

// Band is how a measure lies over the members in one hour, in the measure's own
// unit: the values that a tenth, a quarter, half, three quarters and nine tenths
// of them do not pass.
type Band struct {
	At                                   time.Time
	Tenth, Quarter, Middle, Upper, Ninth float64
	Known                                int // members that know the hour
}

// Spread gives the bands of what a limit looks at over the hours in [from, to).
// Hours that half of the members or more do not know are left out.
func (g *Ground) Spread(l Limit, from, to time.Time) []Band {
	var out []Band
	for i := max(int(math.Floor(g.hour(from))), 0); i < g.n && float64(i) < g.hour(to); i++ {
		xs := make([]float64, 0, g.count)
		for m := range g.count {
			if v := g.value(l, m, i); v == v {
				xs = append(xs, v)
			}
		}
		if 2*len(xs) <= g.count {
			continue
		}
		slices.Sort(xs)
		at := func(q float64) float64 { return xs[min(int(q*float64(len(xs))), len(xs)-1)] }
		out = append(out, Band{At: g.at(float64(i)), Tenth: at(0.1), Quarter: at(0.25), Middle: at(0.5), Upper: at(0.75), Ninth: at(0.9), Known: len(xs)})
	}
	return out
}

// LaminateLeast gives the least value that a profile asks of a measure while the
// laminate goes on; false where it asks for none.
func (p Profile) LaminateLeast(l Limit) (float64, bool) {
	for _, b := range p.Laminating {
		if b.Limit == l && b.Least {
			return b.Value, true
		}
	}
	return 0, false
}
