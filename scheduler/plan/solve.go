package plan

import (
	"math/rand/v2"
	"slices"
)

// MaxDays is the longest horizon; days beyond are not planned.
const MaxDays = 400

// How much is done, in columns looked at, never in time: so the same input gives
// the same plan. A hundred million take about a third of a second.
const (
	turns      = 3          // of prices and dives
	turnRounds = 300        // price rounds in each
	turnReach  = 0.03       // see prices.reach
	lastRounds = 200        // price rounds before the search
	quickWork  = 10_000_000 // first try of the proof
	lotWork    = 1_000      // dives by lot, for each column
	mostLots   = 80_000_000 // at the most
	fixWork    = 20_000_000 // repair
	longWork   = 30_000_000 // second try of the proof
	colWork    = 1_000      // and this much more for each column
)

// Solve finds a plan and a bound on the best there could be. It never fails:
// what cannot be placed is in Left with the reason. The same input gives the
// same plan. It is made for up to some 500 jobs and 30 crews.
//
// The steps: prices give a bound (prices.go), diving along them gives plans
// (rounding.go), parts of the plan are planned again (repair.go), and what the
// bound leaves open is searched through (proof.go).
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
	rng := rand.New(rand.NewPCG(uint64(m.cols.len()), uint64(best.gain)))
	q := newPrices(m, m.guess())
	for turn := range turns {
		q.reach = turnReach
		q.improve(turnRounds, best.gain)
		b := q.whole()
		if turn == 0 {
			q.dive(best, nil)
		} else {
			q.dive(best, rng)
		}
		if b.gain <= best.gain {
			return best, b.gain
		}
		q = newPrices(q.m.only(func(c int32) bool { return b.col[c] >= best.gain }), q.best)
	}
	q.improve(lastRounds, best.gain)
	return best, q.finish(best, rng, int64(m.cols.len()))
}

// finish searches what the bound of the prices leaves open and gives the bound.
func (q *prices) finish(best *found, rng *rand.Rand, cols int64) int64 {
	b := q.whole()
	m := q.m.only(func(c int32) bool { return b.col[c] >= best.gain })
	b.col = slices.DeleteFunc(b.col, func(v int64) bool { return v < best.gain })
	bound := newProof(best, quickWork).climb(m, q.best, b)
	if bound <= best.gain {
		return bound
	}
	lots := newPrices(m, q.best)
	lots.improve(diveRounds, best.gain)
	for left := min(lotWork*cols, mostLots); left > 0; {
		left -= lots.dive(best, rng)
	}
	r := &repair{m: m, price: q.best, rng: rng, best: best, taken: repairTaken}
	r.run(fixWork)
	return min(bound, newProof(best, longWork+colWork*cols).climb(m, q.best, b))
}

// plan writes the answer; bound is a bound on the gain of the columns.
func (p *problem) plan(s *found, bound int64) Plan {
	placings := p.placings(s)
	gains := p.in.gains(placings)
	out := Plan{Base: p.base, Objective: p.base}
	placed := make([]bool, p.jobs)
	for i, v := range placings {
		if p.pin(v.job) != nil {
			bound -= p.bonus
		}
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
