package replay

import (
	"math"

	"laycast/scheduler/plan"
)

// Foresight is what a season could at most have earned for somebody who knew
// its weather and every job beforehand.
type Foresight struct {
	Bound int64 // no policy can earn more, cents over doing nothing
	Found int64 // a plan that earns so much, by the same relaxed rules
}

// Why no policy earns more than the bound, the record being what decides. Whatever a
// policy did, each roof went one of its courses (courses.go): visits that failed and
// dates that fell only cost. A roof is worked at most once a day, and a crew does one
// whole day's work in a day or a half in the morning and a half from noon on; so on no
// day are more mornings or more afternoons taken than there are crews. For one roof a
// crew drives there and back. A round of two is halved: to each its own way from the
// depot and half the way between them, at least that to the nearest roof which could
// have been the other.
//
// Now give each morning and each afternoon a price, whatever it be. What a policy earned
// is no more than the prices of all that the crews have, and for each roof what its
// course earned less the prices of what it took; and that is no more than its best
// course earns so. The sum is the bound. It holds at any prices; the search is for
// those at which it is least.
//
// It is too high where the prices let courses of a roof be mixed (half a day that stands
// alone leaves the other half to a mixed whole day), and where work that is half a day's on
// some day counts as half on every day.

// foresee works out the bound of every policy.
func foresee(s *Season, rounds int) Foresight {
	return newForeseer(s, newTruth(s)).run(rounds)
}

// foreseeKnowing works out the bound of a policy that is told the truth. A deck that the
// forecast sees too hot keeps the roof closed (rules), so one who knows each day's heat
// has fewer days than one whom a forecast let open the roof.
func foreseeKnowing(s *Season, rounds int) Foresight {
	t := newTruth(s)
	t.knows = true
	return newForeseer(s, t).run(rounds)
}

func newForeseer(s *Season, t *truth) *foreseer {
	f := &foreseer{s: s, crews: float64(len(s.Crews))}
	for _, a := range s.Jobs {
		if r := courses(t, a); len(r.works) > 0 {
			f.roofs = append(f.roofs, r)
		}
	}
	f.drives()
	return f
}

// drives gives every day's work what at least it drives.
func (f *foreseer) drives() {
	halves := make([][]plan.Place, f.s.Days)
	for i := range f.roofs {
		r, last := &f.roofs[i], -1
		for _, w := range r.works {
			if w.half && w.day != last {
				halves[w.day], last = append(halves[w.day], r.at), w.day
			}
		}
	}
	for i := range f.roofs {
		r := &f.roofs[i]
		for k := range r.works {
			w := &r.works[k]
			own, hm := false, 2*plan.RoadHm(r.at, plan.Place{})
			if w.drive = f.road(hm); !w.half {
				continue
			}
			// a round by way of a roof where nothing held is as long, but for rounding
			w.drive = f.road(max(0, hm-1))
			for _, b := range halves[w.day] {
				if b == r.at && !own { // the roof itself, or one beside it as well
					own = true
					continue
				}
				w.drive = min(w.drive, f.road(hm+plan.RoadHm(r.at, b))/2)
			}
		}
	}
}

// road gives what so many hectometres cost.
func (f *foreseer) road(hm int64) float64 { return float64(hm) * float64(f.s.Firm.Costs.Km) / 10 }

type foreseer struct {
	s     *Season
	crews float64
	roofs []roof
	found *packing
}

// The times of a day that are priced. A price stands at 2*day, or 2*day+1.
const (
	morning = iota
	afternoon
	wholeDay
)

// turn is a day's work at a time of the day.
type turn struct {
	*dayWork
	at int
}

// times gives the places of the prices that a turn pays.
func (x turn) times() []int {
	switch x.at {
	case wholeDay:
		return []int{2 * x.day, 2*x.day + 1}
	default:
		return []int{2*x.day + x.at}
	}
}

// cost gives the cheapest time of a day's work, and what it costs with the driving.
func (w *dayWork) cost(price []float64) (float64, int) {
	am, pm := price[2*w.day], price[2*w.day+1]
	switch {
	case !w.half:
		return am + pm + w.drive, wholeDay
	case w.late && pm < am:
		return pm + w.drive, afternoon
	}
	return am + w.drive, morning
}

// best gives a roof's best course at the prices, and what it earns less them. It
// works back from the season's end.
func (r *roof) best(price []float64) ([]turn, float64) {
	first, last := r.works[0].day, r.works[len(r.works)-1].day
	if r.value == nil {
		r.value = make([][]float64, last-first+2)
		for i := range r.value {
			r.value[i] = make([]float64, len(r.stands))
		}
		copy(r.value[last-first+1], r.worth)
	}
	at := len(r.works)
	for i := last; i >= first; i-- {
		now, then := r.value[i-first], r.value[i-first+1]
		for k, older := range r.wait {
			now[k] = then[older]
		}
		for ; at > 0 && r.works[at-1].day == i; at-- {
			w := &r.works[at-1]
			cost, _ := w.cost(price)
			now[w.from] = max(now[w.from], w.gain-cost+then[w.to])
		}
	}
	return r.along(price), r.value[0][0]
}

// along reads the best course off the values.
func (r *roof) along(price []float64) (out []turn) {
	first, k, at := r.works[0].day, 0, 0
	for i := range len(r.value) - 1 {
		now, then := r.value[i], r.value[i+1]
		to := r.wait[k]
		waits := now[k] == then[to]
		for ; at < len(r.works) && r.works[at].day == first+i; at++ {
			w := &r.works[at]
			if waits || w.from != k {
				continue
			}
			if cost, when := w.cost(price); w.gain-cost+then[w.to] == now[k] {
				out = append(out, turn{w, when})
				to, waits = w.to, true
			}
		}
		k = to
	}
	return out
}

// run moves prices until the bound stands.
func (f *foreseer) run(rounds int) Foresight {
	price := make([]float64, 2*f.s.Days)
	step := make([]float64, len(price))
	best := math.Inf(1)
	var bestPrice []float64
	scale, stall := 1.0, 0
	f.found = newPacking(f)
	for round := range rounds {
		bound, over := f.at(price)
		if bound < best {
			best, stall, scale = bound, 0, min(1, scale*1.05)
			bestPrice = append(bestPrice[:0], price...)
		} else if stall++; stall > 20 {
			scale, stall = scale*0.7, 0
			copy(price, bestPrice)
			_, over = f.at(price)
			clear(step)
		}
		if round%50 == 0 {
			f.found.improve(bestPrice, 10)
		}
		norm := 0.0
		for j := range price {
			if step[j] = 0.6*step[j] + 0.4*over[j]; price[j] > 0 || step[j] > 0 {
				norm += step[j] * step[j]
			}
		}
		if norm == 0 {
			break
		}
		// towards the best plan known, or a little below the bound
		by := scale * max(best-f.found.earned, best*1e-4) / norm
		for j := range price {
			price[j] = max(0, price[j]+by*step[j])
		}
	}
	f.found.improve(bestPrice, rounds)
	// the road is scored to the cent below
	return Foresight{Bound: int64(math.Ceil(best)) + 1, Found: int64(f.found.earned)}
}

// at gives the bound at some prices, and by how much more is taken of each time
// than there is.
func (f *foreseer) at(price []float64) (bound float64, over []float64) {
	over = make([]float64, len(price))
	for j, p := range price {
		bound, over[j] = bound+f.crews*p, -f.crews
	}
	for i := range f.roofs {
		turns, earns := f.roofs[i].best(price)
		bound += earns
		for _, x := range turns {
			for _, j := range x.times() {
				over[j]++
			}
		}
	}
	return bound, over
}
