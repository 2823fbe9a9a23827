package plan

import (
	"cmp"
	"math/rand/v2"
	"slices"
)

// How a dive goes; found by trial on the planning benchmark.
const (
	diveRounds = 60     // price rounds between two settlings
	diveSure   = 0.95   // columns taken this often are settled at once
	diveShare  = 0.05   // share of the jobs open that is settled at the least
	diveWidth  = 0.01   // columns that by the bounds cost more than this share are left aside
	diveWork   = 20     // overhead counted for each column of the last model,
	diveBase   = 10_000 // and for the dive itself
	diveNoise  = 0.6    // on the averages, in a dive by lot
)

// greedy puts columns in by falling score, each that still fits; columns scored
// 0 are left out.
func (s *packing) greedy(score []float64) {
	for _, c := range ranked(score) {
		if s.fits(c) {
			s.put(c)
		}
	}
}

// ranked lists the places of a slice by falling score, those above 0; ties go to
// the earlier.
func ranked(score []float64) []int32 {
	var order []int32
	for c, v := range score {
		if v > 0 {
			order = append(order, int32(c))
		}
	}
	slices.SortFunc(order, func(x, y int32) int {
		if c := cmp.Compare(score[y], score[x]); c != 0 {
			return c
		}
		return cmp.Compare(x, y)
	})
	return order
}

// fill puts columns in by gain for each day they take, each that still fits.
func (s *packing) fill() {
	cols := &s.m.cols
	score := make([]float64, cols.len())
	for c, g := range cols.gain {
		if s.fits(int32(c)) {
			score[c] = float64(g) / float64(cols.last[c]-cols.first[c]+1)
		}
	}
	s.greedy(score)
}

// byGain is a plan without prices.
func (m *model) byGain() *packing {
	s := newPacking(m)
	s.fill()
	return s
}

// rounded is a plan made from the prices: the columns most often on a best path
// first, filled up by gain.
func (q *prices) rounded() *packing {
	score := make([]float64, q.m.cols.len())
	for c := range score {
		score[c] = float64(q.m.cols.gain[c]) * q.average(int32(c))
	}
	s := newPacking(q.m)
	s.greedy(score)
	s.fill()
	return s
}

// dive rounds step by step: the columns most often on a best path are settled,
// the rest is priced anew, until all is settled. It gives up when what is left
// cannot beat the best plan known. With rng it strays from the averages. It
// gives the work done: columns looked at, and some for the overhead.
func (q *prices) dive(best *found, rng *rand.Rand) (work int64) {
	for {
		best.take(q.rounded())
		b := q.whole()
		if b.gain <= best.gain {
			return work + diveBase + diveWork*int64(q.m.cols.len())
		}
		floor := max(best.gain, b.gain-int64(diveWidth*float64(b.gain)))
		m := q.settle(rng, func(c int32) bool { return b.col[c] > floor })
		if m == nil {
			return work + diveBase + diveWork*int64(q.m.cols.len())
		}
		q = newPrices(m, q.best)
		q.improve(diveRounds, best.gain)
		work += q.work
	}
}

// settle gives the model with the surest columns fixed and without those that
// clash with them or are not worth keeping; nil when nothing is left to fix.
func (q *prices) settle(rng *rand.Rand, keep func(c int32) bool) *model {
	m := q.m
	score, open := q.sureness(rng)
	least := 1 + int(diveShare*float64(open))
	s := newPacking(m)
	fixed := make([]bool, m.cols.len())
	must := slices.Clone(m.must)
	n := 0
	for _, c := range ranked(score) {
		if score[c] < diveSure && n >= least {
			break
		}
		if !s.fits(c) {
			continue
		}
		s.put(c)
		fixed[c] = true
		if score[c] < settled {
			n++
		}
		must[m.cols.a[c]] = true
		if int(m.cols.b[c]) < m.jobs {
			must[m.cols.b[c]] = true
		}
	}
	if n == 0 {
		return nil
	}
	sub := m.only(func(c int32) bool { return fixed[c] || keep(c) && s.fits(c) })
	sub.must = must
	return sub
}

const (
	settled = 10   // the score of a column whose jobs have to be done and have no other
	unused  = 1e-9 // the score of a column on no best path
)

// sureness scores the columns for settling and counts the jobs still open.
func (q *prices) sureness(rng *rand.Rand) (score []float64, open int) {
	m := q.m
	count := make([]int32, m.jobs+1)
	for c := range m.cols.a {
		count[m.cols.a[c]]++
		count[m.cols.b[c]]++
	}
	for _, n := range count[:m.jobs] {
		if n > 1 {
			open++
		}
	}
	alone := func(j int32) bool { return int(j) == m.jobs || m.must[j] && count[j] == 1 }
	score = make([]float64, m.cols.len())
	for c := range score {
		switch {
		case alone(m.cols.a[c]) && alone(m.cols.b[c]):
			score[c] = settled
		case rng != nil:
			score[c] = unused + q.average(int32(c)) + float64(diveNoise*rng.Float64())
		default:
			score[c] = unused + q.average(int32(c))
		}
	}
	return score, open
}
