package plan

import (
	"cmp"
	"math"
	"slices"
)

// side is a set of columns of one job: those that begin on a day, or of these
// those of a class, or one of these alone, known by the job it shares the day
// with. The proof splits plans into those that use the set and those that do not.
type side struct {
	job        int32
	day, class int16      // class -1: any
	with       int32      // -1: anyone or no one
	share      float64    // of the average path that is in the set
	drop       [2]float64 // what the bound loses inside and outside
}

const anyone = -1

func (s *side) has(m *model, c int32) bool {
	return m.cols.first[c] == s.day && (s.class == anyone || m.cols.class[c] == s.class) &&
		(s.with == anyone || m.cols.a[c]+m.cols.b[c]-s.job == s.with)
}

// split gives the plans of m on one side.
func (m *model) split(s *side, inside bool) *model {
	sub := m.only(func(c int32) bool {
		return m.cols.a[c] != s.job && m.cols.b[c] != s.job || s.has(m, c) == inside
	})
	if inside && !m.must[s.job] {
		sub.must = slices.Clone(m.must)
		sub.must[s.job] = true
	}
	return sub
}

// byJob lists the columns of every job: those of j are list[at[j]:at[j+1]].
func (m *model) byJob() (list, at []int32) {
	at = make([]int32, m.jobs+3)
	for c := range m.cols.a {
		at[m.cols.a[c]+2]++
		at[m.cols.b[c]+2]++
	}
	for j := range m.jobs + 1 {
		at[j+2] += at[j+1]
	}
	list = make([]int32, at[m.jobs+2])
	for c := range m.cols.a {
		for _, j := range [2]int32{m.cols.a[c], m.cols.b[c]} {
			list[at[j+1]] = int32(c)
			at[j+1]++
		}
	}
	return list, at[:m.jobs+1]
}

// sides gives for every job not settled the set it is most in two minds about.
func (m *model) sides(share []float64) []side {
	list, at := m.byJob()
	var out []side
	for j := range int32(m.jobs) {
		cs := list[at[j]:at[j+1]]
		if len(cs) == 0 || len(cs) == 1 && m.must[j] {
			continue
		}
		best := side{share: -1}
		offer := func(s side, n int) {
			if (n < len(cs) || !m.must[j]) && (best.share < 0 || s.doubt() > best.doubt()) {
				best = s
			}
		}
		for i, c := range cs {
			day, class, with := m.cols.first[c], m.cols.class[c], m.cols.a[c]+m.cols.b[c]-j
			var on, pair, crew tally
			for l, o := range cs {
				if m.cols.first[o] != day {
					continue
				}
				same, mate := m.cols.class[o] == class, m.cols.a[o]+m.cols.b[o]-j == with
				on.add(l < i, share[o])
				if mate {
					pair.add(l < i, share[o])
				}
				if same {
					crew.add(l < i, share[o])
				}
			}
			on.offer(side{job: j, day: day, class: anyone, with: anyone}, offer)
			pair.offer(side{job: j, day: day, class: anyone, with: with}, offer)
			crew.offer(side{job: j, day: day, class: class, with: anyone}, offer)
		}
		out = append(out, best)
	}
	return out
}

type tally struct {
	seen  bool // an earlier column has the set already
	n     int
	share float64
}

func (t *tally) add(before bool, share float64) {
	t.seen = t.seen || before
	t.n++
	t.share += share
}

func (t *tally) offer(s side, to func(side, int)) {
	if !t.seen {
		s.share = t.share
		to(s, t.n)
	}
}

// doubt is greatest for a set half used.
func (s *side) doubt() float64 {
	d := math.Min(s.share, 1-s.share)
	if s.class != anyone {
		d *= CrewW
	}
	return d
}

// choose looks a few price rounds down both sides of the likeliest sets and
// takes the one that lowers the bound most on both.
func (x *proof) choose(q *prices, m *model, share []float64, gain int64) (side, bool) {
	sides := m.sides(share)
	if len(sides) == 0 {
		return side{}, false
	}
	slices.SortFunc(sides, func(a, b side) int {
		return cmp.Or(cmp.Compare(x.promise(&b), x.promise(&a)), cmp.Compare(a.job, b.job))
	})
	if x.tries <= 1 {
		return sides[0], true
	}
	top, best := -1.0, side{}
	for _, s := range sides[:min(len(sides), x.tries)] {
		for i := range s.drop {
			sub := newPrices(m.split(&s, i == 0), q.best)
			sub.scale = min(1, 2*q.scale)
			sub.improve(x.tryRounds, x.floor())
			x.work -= sub.work
			s.drop[i] = max(0, min(float64(gain)-sub.bound, float64(gain-x.floor())))
		}
		score := max(Eps, s.drop[0]) * max(Eps, s.drop[1])
		x.learn(s.job, math.Sqrt(score))
		if score > top {
			top, best = score, s
		}
	}
	return best, true
}

// learn remembers what splitting on a job gave.
func (x *proof) learn(job int32, gave float64) {
	x.gave[job] = 0.7*x.gave[job] + 0.3*gave
}

func (x *proof) promise(s *side) float64 { return (s.doubt() + 0.01) * (x.gave[s.job] + 1) }
