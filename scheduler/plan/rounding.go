package plan

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

// greedy puts columns in by falling score, each that still fits; ties go to
// the earlier column.
func (m *model) greedy(score []float64) *packing {
	order := make([]int32, 0, len(score))
	for c := range score {
		if score[c] > 0 {
			order = append(order, int32(c))
		}
	}
	slices.SortFunc(order, func(x, y int32) int {
		return cmp.Or(cmp.Compare(score[y], score[x]), cmp.Compare(x, y))
	})
	s := newPacking(m)
	for _, c := range order {
		if s.fits(c) {
			s.put(c)
		}
	}
	return s
}

// byGain is a plan without prices: by gain for each day it takes.
func (m *model) byGain() *packing {
	score := make([]float64, m.cols.len())
	for c, g := range m.cols.gain {
		score[c] = float64(g) / float64(m.cols.last[c]-m.cols.first[c]+1)
	}
	return m.greedy(score)
}

// rounded is a plan made from the prices: the columns most often on a best path
// first, filled up by gain.
func (q *prices) rounded() *packing {
	score := make([]float64, len(q.share))
	for c, s := range q.share {
		score[c] = float64(q.m.cols.gain[c]) * (s/q.total + 1e-6)
	}
	return q.m.greedy(score)
}

// dive rounds step by step: the columns most often on a best path are settled,
// the rest is priced anew, until all is settled. It gives up when what is left
// cannot beat the best plan known.
func (q *prices) dive(best *found, rounds int, rng *rand.Rand) (work int64) {
	for {
		best.take(q.rounded())
		b := q.whole()
		if b.gain <= best.gain {
			return work
		}
		m, ok := q.settle(b, best.gain, rng)
		if !ok {
			return work
		}
		next := newPrices(m, q.best)
		next.scale = min(1, q.scale*2)
		next.improve(rounds, best.gain)
		work += next.work
		q = next
	}
}

// settle fixes columns; false when none is left to fix.
func (q *prices) settle(b bounds, floor int64, rng *rand.Rand) (*model, bool) {
	m := q.m
	type sure struct {
		c     int32
		share float64
	}
	count := make([]int, m.jobs+1)
	for c := range m.cols.a {
		count[m.cols.a[c]]++
		count[m.cols.b[c]]++
	}
	var order []sure
	for c := range int32(m.cols.len()) {
		a, b := m.cols.a[c], m.cols.b[c]
		share := q.share[c] / q.total
		if m.must[a] && count[a] == 1 && (int(b) == m.jobs || m.must[b] && count[b] == 1) {
			share = 2
		} else if rng != nil {
			share += Noise * rng.Float64()
		}
		order = append(order, sure{c, share})
	}
	slices.SortFunc(order, func(x, y sure) int { return cmp.Or(cmp.Compare(y.share, x.share), cmp.Compare(x.c, y.c)) })
	s := newPacking(m)
	fixed := make([]bool, m.cols.len())
	n := 0
	for _, o := range order {
		if o.share < Sure && n >= int(Least) {
			break
		}
		if !s.fits(o.c) {
			continue
		}
		s.put(o.c)
		fixed[o.c] = true
		if o.share < 2 {
			n++
		}
	}
	if n == 0 {
		return nil, false
	}
	sub := m.only(func(c int32) bool { return fixed[c] || b.col[c] > floor && s.fits(c) })
	sub.must = slices.Clone(m.must)
	for c, f := range fixed {
		if f {
			sub.must[m.cols.a[c]] = true
			if int(m.cols.b[c]) < m.jobs {
				sub.must[m.cols.b[c]] = true
			}
		}
	}
	return sub, true
}
