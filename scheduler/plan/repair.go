package plan

import "math/rand/v2"

// How the repair goes; found by trial on the planning benchmark.
const (
	repairTaken = 30        // columns taken out at first
	repairWork  = 1_000_000 // columns looked at for one part
	repairTries = 1         // see proof.tries
)

// repair improves a plan: all that some crews do or all that is done in a few
// days is taken out, and that part is planned again by the method of the proof,
// the rest standing. The part grows while it is easily gone through to the end
// and shrinks when it is not.
type repair struct {
	m     *model
	price []float64
	rng   *rand.Rand
	best  *found
	taken float64 // columns to take out
}

// run repairs until so much work is done.
func (r *repair) run(work int64) {
	for work > 0 {
		now := r.best.packing(r.m)
		in := now.chosen()
		if len(in) == 0 {
			return
		}
		sub := r.around(r.pick(in))
		x := newProof(r.best, repairWork)
		x.tries = repairTries
		x.search(sub, r.price, r.best.gain+1)
		work -= repairWork - x.work + int64(r.m.cols.len())
		if x.work > 0 {
			r.taken = min(r.taken*1.1, float64(len(in)))
		} else {
			r.taken = max(4, r.taken*0.8)
		}
	}
}

// pick draws the columns that stay: all but those of a few days or a few classes.
func (r *repair) pick(in []int32) []int32 {
	cols := &r.m.cols
	var rank func(c int32) int
	if r.rng.IntN(2) == 0 {
		day := int(cols.first[in[r.rng.IntN(len(in))]])
		rank = func(c int32) int { return max(int(cols.first[c])-day, day-int(cols.last[c]), 0) }
	} else {
		order := r.rng.Perm(len(r.m.crews))
		rank = func(c int32) int { return order[cols.class[c]] }
	}
	for out := 0; ; out++ {
		var stay []int32
		for _, c := range in {
			if rank(c) > out {
				stay = append(stay, c)
			}
		}
		if float64(len(in)-len(stay)) >= r.taken || len(stay) == 0 {
			return stay
		}
	}
}

// around gives the model of the columns that stay and those that can stand
// beside them.
func (r *repair) around(stay []int32) *model {
	s := newPacking(r.m)
	stays := make([]bool, r.m.cols.len())
	for _, c := range stay {
		stays[c] = true
		s.put(c)
	}
	return r.m.only(func(c int32) bool { return stays[c] || s.fits(c) })
}
