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
	bitDry // set by the walk, never in a stored mask
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

// The sets of limits, one for each kind of span.
const (
	setOpen = iota
	setLaminate
	setCure
	setSand
	setTopcoat
	setTopcoatCure
	stageSets
)

// bounds gives the bounds of a set.
func (p Profile) bounds(set int) []Bound {
	return [stageSets][]Bound{p.Opening, p.Laminating, p.Curing, p.Sanding, p.Topcoating, p.TopcoatCure}[set]
}

// value gives what a bound looks at in hour i. Frost looks at the colder of air
// and deck.
func (m *measures) value(l Limit, i int) float64 {
	switch l {
	case LimitRain:
		return m.rain[i]
	case LimitWind:
		return m.wind[i]
	case LimitGust:
		return m.gust[i]
	case LimitAir:
		return m.air[i]
	case LimitFrost:
		return math.Min(m.air[i], m.surface[i])
	case LimitDeck:
		return m.surface[i]
	case LimitDewMargin:
		return m.margin[i]
	case LimitRH:
		return m.rh[i]
	}
	return math.NaN()
}

// mark works out the masks of every member, hour and set.
func (g *Ground) mark() {
	for set := range g.fails {
		bounds := g.profile.bounds(set)
		g.fails[set] = make([][]mask, len(g.members))
		for k := range g.members {
			row := make([]mask, g.n)
			for i := range row {
				row[i] = g.members[k].maskAt(bounds, i)
			}
			g.fails[set][k] = row
		}
	}
}

func (m *measures) maskAt(bounds []Bound, i int) mask {
	var out mask
	for _, b := range bounds {
		if b.Limit == LimitDry {
			continue
		}
		v := m.value(b.Limit, i)
		switch {
		case v != v:
			out |= bitUnknown
		case !b.holds(v):
			out |= bitOf(b.Limit)
		}
	}
	return out
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

// LimitSet is the bounds of one kind of span, by name.
type LimitSet struct {
	Name   string
	Bounds []Bound
}

// Sets gives the limits of the profile, by the span in which they hold.
func (p Profile) Sets() []LimitSet {
	return []LimitSet{
		{"strip and deck", p.Opening}, {"laminate", p.Laminating}, {"cure", p.Curing},
		{"sand", p.Sanding}, {"topcoat", p.Topcoating}, {"topcoat cure", p.TopcoatCure},
	}
}
