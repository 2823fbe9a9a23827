package plan

import "math/rand/v2"

// MaxDays is the longest horizon; days beyond are not planned.
const MaxDays = 400

// Solve finds a plan and a bound on the best there could be. It never fails:
// what cannot be placed is in Left with the reason. The same input gives the
// same plan.
func Solve(in Input) Plan {
	in.Days = min(in.Days, MaxDays)
	p := newProblem(&in)
	best, bound := p.model.solve()
	return p.plan(best, bound)
}

// solve finds a packing of a model and a bound on its gain.
func (m *model) solve() (*found, int64) {
	best := &found{}
	best.take(m.byGain())
	q := newPrices(m, nil)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := 0; i < 3; i++ {
		q.improve(500, best.gain)
		best.take(q.rounded())
		b := q.whole()
		if b.gain <= best.gain {
			return best, best.gain
		}
		if debug {
			println(q.m.cols.len(), b.gain, best.gain)
		}
		for d := range int(Dives) {
			r := rng
			if d == 0 {
				r = nil
			}
			had := best.gain
			w := q.dive(best, int(DiveRounds), r)
			if debug {
				println("dive", d, had, best.gain, w)
			}
		}
		s := q.scale
		q = newPrices(m.only(func(c int32) bool { return b.col[c] >= best.gain }), q.best)
		q.scale = s * 2
		m = q.m
	}
	q.improve(200, best.gain)
	b := q.whole()
	mm := m.only(func(c int32) bool { return b.col[c] >= best.gain })
	r := &repair{m: mm, price: q.best, scale: q.scale, rng: rng, best: best, work: int64(Repair), size: Size}
	if Repair > 1 {
		r.run()
	}
	if debug {
		println("repaired", best.gain)
	}
	x := &proof{best: best, work: int64(Work), rounds: int(Rounds), tries: int(Tries), tryRounds: int(TryRounds), gave: make([]float64, m.jobs)}
	bound := x.climb(m.only(func(c int32) bool { return b.col[c] >= best.gain }), q.best, q.scale, b.gain)
	return best, min(b.gain, bound)
}

// plan writes the answer; bound is a bound on the gain of the columns.
func (p *problem) plan(s *found, bound int64) Plan {
	placings := p.placings(s)
	gains := p.in.gains(placings)
	out := Plan{Base: p.base, Objective: p.base}
	placed := make([]bool, p.jobs)
	for i, v := range placings {
		out.Placings = append(out.Placings, Placing{
			Job: p.in.Jobs[v.job].ID, Crew: p.in.Crews[v.crew].ID, Day: v.first, Slot: v.slot,
			HalfDays: v.way.HalfDays, Days: p.in.daysBetween(v.first, v.last), Gain: gains[i],
		})
		out.Objective += gains[i]
		placed[v.job] = true
	}
	for j := range p.in.Jobs {
		if !placed[j] {
			why := p.why[j]
			if why == "" {
				why = NoRoom
			}
			out.Left = append(out.Left, Left{Job: p.in.Jobs[j].ID, Reason: why})
		}
	}
	out.Bound = p.base + p.frozenAt + bound
	out.Proven = out.Objective == out.Bound
	return out
}
