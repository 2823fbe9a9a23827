package replay

import (
	"math"
	"math/rand/v2"
	"slices"

	"laycast/scheduler/plan"
)

// packing is a plan of the whole season along the prices of the bound: it tells how
// much the bound may be too high.
type packing struct {
	f      *foreseer
	rng    *rand.Rand
	earned float64 // what the best so far earns
	turns  [][]turn
	free   []float64 // crews, by time of the day
}

func newPacking(f *foreseer) *packing {
	p := &packing{f: f, rng: rand.New(rand.NewPCG(1, 0x666f756e64)), turns: make([][]turn, len(f.roofs)), free: make([]float64, 2*f.s.Days)}
	for j := range p.free {
		p.free[j] = f.crews
	}
	return p
}

// improve takes some roofs off the plan and puts them and those left out back in
// another order, so many times, and keeps what earns more.
func (p *packing) improve(price []float64, tries int) {
	for range tries {
		was := slices.Clone(p.turns)
		p.takeOff()
		p.putIn(price, 0.7+0.35*p.rng.Float64())
		p.putIn(price, 0)
		if got := p.earns(); got >= p.earned {
			p.earned = got
			continue
		}
		for i := range p.turns {
			p.book(p.turns[i], 1)
		}
		p.turns = was
		for i := range p.turns {
			p.book(p.turns[i], -1)
		}
	}
}

// takeOff takes roofs off the plan that were worked in the same weeks.
func (p *packing) takeOff() {
	from := p.rng.IntN(p.f.s.Days)
	to, share := from+4+p.rng.IntN(30), 0.3+0.7*p.rng.Float64()
	for i, ts := range p.turns {
		if slices.ContainsFunc(ts, func(x turn) bool { return from <= x.day && x.day < to }) && p.rng.Float64() < share {
			p.book(ts, 1)
			p.turns[i] = nil
		}
	}
}

// putIn puts roofs that are not in the plan where they pay most, beyond a part of
// the prices, for as long as there is time.
func (p *packing) putIn(price []float64, part float64) {
	now := make([]float64, len(price))
	for _, i := range p.rng.Perm(len(p.turns)) {
		if p.turns[i] != nil {
			continue
		}
		for j := range now {
			if now[j] = part * price[j]; p.free[j] < 1 {
				now[j] = math.Inf(1)
			}
		}
		p.turns[i], _ = p.f.roofs[i].best(now)
		p.book(p.turns[i], -1)
	}
}

// book takes the time of turns (-1), or gives it back (1).
func (p *packing) book(ts []turn, by float64) {
	for _, x := range ts {
		for _, j := range x.times() {
			p.free[j] += by
		}
	}
}

// earns adds the plan up, with the rounds that crews drive.
func (p *packing) earns() float64 {
	sum, hm := 0.0, int64(0)
	halves := make([][]plan.Place, len(p.free))
	for i, ts := range p.turns {
		r, end := &p.f.roofs[i], 0
		for _, x := range ts {
			sum, end = sum+x.gain, x.to
			if x.at == wholeDay {
				sum -= x.drive
			} else {
				j := x.times()[0]
				halves[j] = append(halves[j], r.at)
			}
		}
		sum += r.worth[end]
	}
	for d := range p.f.s.Days {
		hm += rounds(halves[2*d], halves[2*d+1])
	}
	return sum - p.f.road(hm)
}

// rounds gives the road of crews that work at one place in the morning and at one in
// the afternoon, each morning with the nearest afternoon that is left.
func rounds(am, pm []plan.Place) (hm int64) {
	if len(am) < len(pm) {
		am, pm = pm, am
	}
	home := plan.Place{}
	pm = slices.Clone(pm)
	for _, a := range am {
		if len(pm) == 0 {
			hm += 2 * plan.RoadHm(a, home)
			continue
		}
		near := 0
		for i, b := range pm {
			if plan.RoadHm(a, b) < plan.RoadHm(a, pm[near]) {
				near = i
			}
		}
		hm += plan.RoadHm(home, a) + plan.RoadHm(a, pm[near]) + plan.RoadHm(pm[near], home)
		pm = slices.Delete(pm, near, near+1)
	}
	return hm
}
