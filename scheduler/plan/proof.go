package plan

import "slices"

// How the proof goes; found by trial on the planning benchmark.
const (
	proofRounds = 100        // price rounds at a node
	proofTries  = 6          // splits looked into before one is chosen
	tryRounds   = 30         // price rounds on each side of a split looked into
	passWork    = 10_000_000 // columns looked at before the next, wider pass
	narrowest   = 10_000     // the first pass looks within 1/narrowest below the bound
	widen       = 3          // each pass looks this many times deeper
)

// proof goes through plans. Depth first: find prices for the columns that could
// still be in a better plan, drop those that by the bounds cannot be, and when
// the bound still leaves room split the plans in two: those that do some job in
// one chosen set of its columns, and the rest. When every branch is closed the
// best plan found is the best there is.
type proof struct {
	best  *found
	cut   int64 // only plans that gain more are looked for
	work  int64 // columns that may still be looked at
	tries int
	gave  []float64 // by job: what splitting on it lowered the bound by, averaged
}

func newProof(best *found, work int64) *proof {
	return &proof{best: best, work: work, tries: proofTries}
}

// floor is the gain that a plan has to exceed to be of interest.
func (x *proof) floor() int64 { return max(x.cut, x.best.gain) }

// climb searches the plans of m that come close to the bound first, then ever
// wider, until the best is proven or the work is done. A pass that finds nothing
// shows that there is nothing so close to the bound, which lowers it. So little
// is lost on plans far from the best, even while no good plan is known.
func (x *proof) climb(m *model, from []float64, b bounds) int64 {
	bound, left := b.gain, x.work
	for depth := max(1, bound/narrowest); left > 0 && bound > x.best.gain; depth = min(depth*widen, bound) {
		x.cut, x.work = bound-depth, min(left, passWork)
		if x.cut <= x.best.gain {
			x.work = left
		}
		left -= x.work
		sub := m.only(func(c int32) bool { return b.col[c] > x.floor() })
		bound = min(bound, x.search(sub, from, bound))
		left += x.work
	}
	x.work = left
	return bound
}

// search goes through the plans of m, of which top is a bound, and gives a
// better bound on them: the floor when all were gone through.
func (x *proof) search(m *model, from []float64, top int64) int64 {
	if x.work <= 0 {
		return top
	}
	q := newPrices(m, from)
	q.improve(proofRounds, x.floor())
	x.work -= q.work
	b := q.whole()
	if b.gain > x.floor() {
		x.best.take(q.rounded())
	}
	if b.gain <= x.floor() {
		return x.floor()
	}
	var share []float64
	m = m.only(func(c int32) bool {
		if b.col[c] <= x.floor() {
			return false
		}
		share = append(share, q.average(c))
		return true
	})
	s, ok := x.choose(m, q.best, share, b.gain)
	if !ok {
		return x.floor()
	}
	bound := x.floor()
	for _, inside := range [2]bool{s.share >= 0.5, s.share < 0.5} {
		bound = max(bound, x.search(m.split(&s, inside), q.best, b.gain))
	}
	return min(b.gain, bound)
}

// choose looks a few price rounds down both sides of the likeliest sets and
// takes the one that lowers the bound most on both. It finds none when every
// job is settled; then the only plan left has been seen.
func (x *proof) choose(m *model, from, share []float64, gain int64) (side, bool) {
	sides := m.sides(share)
	if len(sides) == 0 {
		return side{}, false
	}
	if x.gave == nil {
		x.gave = make([]float64, m.jobs)
	}
	slices.SortFunc(sides, x.likelier)
	if x.tries <= 1 {
		return sides[0], true
	}
	room := float64(gain - x.floor())
	top, best := -1.0, side{}
	for _, s := range sides[:min(len(sides), x.tries)] {
		score := 1.0
		for _, inside := range [2]bool{true, false} {
			sub := newPrices(m.split(&s, inside), from)
			sub.improve(tryRounds, x.floor())
			x.work -= sub.work
			score *= max(leastDrop, min(float64(gain)-sub.bound, room))
		}
		x.learn(s.job, score)
		if score > top {
			top, best = score, s
		}
	}
	return best, true
}
