package rules

import (
	"math"
	"math/bits"
	"slices"
)

// bitRow is one yes or no for each hour of a member.
type bitRow []uint64

func (b bitRow) set(i int)      { b[i>>6] |= 1 << (i & 63) }
func (b bitRow) has(i int) bool { return b[i>>6]>>(i&63)&1 != 0 }

// next gives the first hour from i on that is set, the end of the row where
// there is none.
func (b bitRow) next(i int) int {
	w := i >> 6
	if w >= len(b) {
		return len(b) << 6
	}
	x := b[w] >> (i & 63) << (i & 63)
	for x == 0 {
		if w++; w == len(b) {
			return w << 6
		}
		x = b[w]
	}
	return w<<6 + bits.TrailingZeros64(x)
}

// nextClear gives the first hour from i on that is not set, the end of the row
// where there is none.
func (b bitRow) nextClear(i int) int {
	w := i >> 6
	if w >= len(b) {
		return len(b) << 6
	}
	x := ^b[w] >> (i & 63) << (i & 63)
	for x == 0 {
		if w++; w == len(b) {
			return w << 6
		}
		x = ^b[w]
	}
	return w<<6 + bits.TrailingZeros64(x)
}

// bitRows holds a row for each member. Hours beyond the last are set, so that
// whatever is asked of them is answered the careful way.
type bitRows struct {
	bits  []uint64
	words int // in a row
}

func newBitRows(members, hours int) bitRows {
	r := bitRows{words: (hours + 63) / 64}
	r.bits = make([]uint64, members*r.words)
	if rest := hours & 63; rest != 0 {
		for m := range members {
			r.bits[(m+1)*r.words-1] = ^uint64(0) << rest
		}
	}
	return r
}

func (r bitRows) row(m int) bitRow { return bitRow(r.bits[m*r.words : (m+1)*r.words]) }

// limitBits says which limits the hours of each member break: a row for each
// bound that differs from the others, one for each measure that is not known,
// and one for each set in which something is broken or unknown.
type limitBits struct {
	bounds  []Bound
	kind    []mask             // of each bound, its limit as a bit
	broken  []bitRows          // by bound
	ofSet   [stageSets][]int   // the bounds of each set, as indices; the dry deck apart
	limits  []Limit            // the measures that bounds look at
	unknown []bitRows          // by measure
	asks    [stageSets][]int   // the measures of each set, as indices
	bad     [stageSets]bitRows // broken or unknown; the dry deck apart
	dry     [stageSets]bool    // the set asks for a dry deck
	hours   int
}

// newLimitBits sorts the bounds of a profile. A new board starts dry, so the
// dry deck hangs on when it was laid and is left to the walk.
func newLimitBits(p *Profile, members, hours int) limitBits {
	l := limitBits{hours: hours}
	for set := range stageSets {
		for _, b := range p.bounds(set) {
			if b.Limit == LimitDry {
				l.dry[set] = asksDry(set)
				continue
			}
			b.Unit, b.Source = "", ""
			k := slices.Index(l.bounds, b)
			if k < 0 {
				k = len(l.bounds)
				l.bounds, l.kind, l.broken = append(l.bounds, b), append(l.kind, bitOf(b.Limit)), append(l.broken, newBitRows(members, hours))
			}
			l.ofSet[set] = append(l.ofSet[set], k)
			k = slices.Index(l.limits, b.Limit)
			if k < 0 {
				k = len(l.limits)
				l.limits, l.unknown = append(l.limits, b.Limit), append(l.unknown, newBitRows(members, hours))
			}
			if !slices.Contains(l.asks[set], k) {
				l.asks[set] = append(l.asks[set], k)
			}
		}
		l.bad[set] = newBitRows(members, hours)
	}
	return l
}

// asksDry reports whether a set may ask for a dry deck: what goes onto the deck
// may, what cures on it has it behind it.
func asksDry(set int) bool { return set == setPrimer || set == setLaminate || set == setTopcoat }

// mark works out the rows of member m.
func (l *limitBits) mark(x *measures, m int) {
	for k, limit := range l.limits {
		row := l.unknown[k].row(m)
		for i, v := range x.of(limit) {
			if v != v {
				row.set(i)
			}
		}
	}
	for k, b := range l.bounds {
		b.mark(l.broken[k].row(m), x.of(b.Limit))
	}
	for set := range l.bad {
		row := l.bad[set].row(m)
		for _, k := range l.ofSet[set] {
			row.add(l.broken[k].row(m))
		}
		for _, k := range l.asks[set] {
			row.add(l.unknown[k].row(m))
		}
	}
}

func (b bitRow) add(other bitRow) {
	for i, x := range other {
		b[i] |= x
	}
}

// mark sets the hours whose value is known and breaks the bound: those that
// holds refuses.
func (b Bound) mark(row bitRow, c column) {
	sign, edge := -1.0, -tolerance // broken under the edge
	if b.Least {
		sign = 1
	}
	if b.Strict {
		edge = math.Nextafter(tolerance, 1)
	}
	var word uint64
	for i, v := range c {
		if sign*(v-b.Value) < edge {
			word |= 1 << (i & 63)
		}
		if i&63 == 63 {
			row[i>>6] |= word
			word = 0
		}
	}
	if word != 0 {
		row[len(c)>>6] |= word
	}
}

// of gives the column that a limit looks at. Frost looks at the colder of air
// and deck.
func (x *measures) of(l Limit) column {
	switch l {
	case LimitRain:
		return x.rain
	case LimitWind:
		return x.wind
	case LimitGust:
		return x.gust
	case LimitAir:
		return x.air
	case LimitDeck:
		return x.surface
	case LimitDewMargin:
		return x.margin
	case LimitRH:
		return x.rh
	case LimitFrost:
		return x.coldest
	}
	return nil
}

// firstUnknown gives the first hour from i on in which something that the set
// asks for is not known, the end of the hours where all is.
func (l *limitBits) firstUnknown(set, m, i int) int {
	first := l.hours
	for _, k := range l.asks[set] {
		first = min(first, l.unknown[k].row(m).next(i))
	}
	return first
}

// mask gives what hour i of member m breaks of a set, the dry deck apart.
func (l *limitBits) mask(set, m, i int) mask {
	var out mask
	for _, k := range l.ofSet[set] {
		if l.broken[k].row(m).has(i) {
			out |= l.kind[k]
		}
	}
	for _, k := range l.asks[set] {
		if l.unknown[k].row(m).has(i) {
			out |= bitUnknown
		}
	}
	return out
}

// breaks reports whether hour i of member m breaks one of some limits of a set.
func (l *limitBits) breaks(set, m, i int, of mask) bool {
	for _, k := range l.ofSet[set] {
		if of&l.kind[k] != 0 && l.broken[k].row(m).has(i) {
			return true
		}
	}
	return false
}

// count adds, for each hour, one where member m breaks one of some limits of a
// set.
func (l *limitBits) count(into []int, set, m int, of mask) {
	for i := range l.hours {
		if l.breaks(set, m, i, of) {
			into[i]++
		}
	}
}
