package plan

import "math/rand/v2"

// The repair search. Take part of the plan out, all that some crews do or all
// that is done in a few days, and plan that part again by the method of the
// proof, the rest standing. Better plans are kept; the part grows while it is
// easily gone through to the end and shrinks when it is not.
type repair struct {
	m     *model
	price []float64
	scale float64
	rng   *rand.Rand
	best  *found
	work  int64
	size  float64 // columns to take out
}

// run repairs until the work is done.
func (r *repair) run() {
	for r.work > 0 {
		now := r.best.packing(r.m)
		cs := now.chosen()
		if len(cs) == 0 {
			return
		}
		keep := r.pick(cs)
		sub := r.around(now, keep)
		x := &proof{best: r.best, work: int64(Sub), rounds: int(SubRounds), tries: int(SubTries), tryRounds: 20, gave: make([]float64, r.m.jobs)}
		x.search(sub, r.price, r.scale)
		r.work -= int64(Sub) - x.work + int64(r.m.cols.len())
		if x.work > 0 {
			r.size = min(r.size*1.1, float64(len(cs)))
		} else {
			r.size = max(4, r.size*0.8)
		}
	}
}

// pick draws the columns that stay: all but those of a few days or a few classes.
func (r *repair) pick(cs []int32) []int32 {
	cols := &r.m.cols
	var rank func(c int32) int
	if r.rng.IntN(2) == 0 {
		day := int(cols.first[cs[r.rng.IntN(len(cs))]])
		rank = func(c int32) int { return max(int(cols.first[c])-day, day-int(cols.last[c]), 0) }
	} else {
		order := r.rng.Perm(len(r.m.crews))
		rank = func(c int32) int { return order[cols.class[c]] }
	}
	for out := 0; ; out++ {
		var keep []int32
		for _, c := range cs {
			if rank(c) > out {
				keep = append(keep, c)
			}
		}
		if float64(len(cs)-len(keep)) >= r.size || len(keep) == 0 {
			return keep
		}
	}
}

// around gives the plans that have the columns kept: these, and those that can
// stand beside them.
func (r *repair) around(now *packing, keep []int32) *model {
	s := newPacking(r.m)
	stays := make([]bool, r.m.cols.len())
	for _, c := range keep {
		stays[c] = true
		s.put(c)
	}
	return r.m.only(func(c int32) bool { return stays[c] || s.fits(c) })
}
