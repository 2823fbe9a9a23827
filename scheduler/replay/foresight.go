package replay

import (
	"math"
	"slices"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/plan"
)

// Foresight is what a season could at most have earned for somebody who knew
// its weather and every job beforehand.
type Foresight struct {
	Bound int64 // no policy can earn more, cents over doing nothing
	Found int64 // a plan that earns so much, by the same relaxed rules
}

// The bound is a relaxation, so that it holds for every policy: each bay is a
// piece of work of its own with its share of the job's money, on any day on
// which some start would have sealed it, in any order; nobody is ever told a
// date, no roof fails, and for a roof of several bays the topcoat takes no time.
// A roof of one bay needs a half day more for its topcoat, save on a day that
// takes both, in half a day where its sealing takes no more. Pieces are then packed
// onto crew-days: with a price on each piece every crew-day takes what pays best,
// and the prices and the best takings add up to a bound whatever the prices are.

// piece is something to be done once.
type piece struct {
	half bool
	gain []int64 // by day, before driving; 0: cannot be done
	with int     // the piece that is done along with it; -1: none
	both []int64 // by day: the gain of the two together; 0: not that day
	when []could // by day: at which end of it a half-day piece can be done
	at   plan.Place
}

// foresee works out the bound.
func foresee(s *Season, rounds int) Foresight {
	f := &packer{s: s, crews: len(s.Crews), days: s.Days}
	t := newTruth(s)
	for _, a := range s.Jobs {
		f.add(t, a)
	}
	return f.run(rounds)
}

type packer struct {
	s           *Season
	crews, days int
	pieces      []piece
}

// add makes the pieces of a job.
func (f *packer) add(t *truth, a Arrival) {
	b := job.Booking{Job: a.Job, State: job.Booked, NextVisit: 1}
	n, half := f.bays(t, b)
	if n == 0 {
		return
	}
	at := f.s.place(a.Job.Site)
	v, back := float64(a.Job.Value), float64(f.s.Firm.Costs.ReturnCost)
	full := v * (1 - leftWorth(f.s, a.Job))         // gained by a roof sealed and topcoated in a day
	bare := full - v*coatShare*(1-leftShare) - back // and by one that is sealed
	seal := piece{half: half, with: -1, at: at, gain: make([]int64, f.days), both: make([]int64, f.days)}
	coat := piece{half: true, with: -1, at: at, gain: make([]int64, f.days)}
	seal.when, coat.when = make([]could, f.days), make([]could, f.days)
	coated := b
	coated.LaidM2, coated.SealedOn = b.Roof.AreaM2, a.On
	last := a.Job.Deadline
	if n > 1 {
		last = last.AddDays(grace)
	}
	for i := range f.days {
		d := f.s.From.AddDays(i)
		if !f.s.Firm.Work.Working(d) || d.Before(a.On) || d.Before(a.Job.Earliest) {
			continue
		}
		if coat.when[i] = t.best(coated, d); coat.when[i].sealed && n == 1 {
			coat.gain[i] = up(v * coatShare * (1 - leftShare))
		}
		if d.After(last) {
			continue
		}
		seal.when[i] = t.best(b, d)
		if !seal.when[i].sealed {
			continue
		}
		whole := seal.when[i].full
		end := d
		if end.After(a.Job.Deadline) {
			end = a.Job.Deadline
		}
		saved := float64(lateLeft(f.s, a.Job) - lateness(a.Job, end))
		if n == 1 {
			seal.gain[i] = up(bare + saved)
			if whole {
				seal.both[i] = up(full + saved)
			}
			continue
		}
		// its topcoat takes no time
		seal.gain[i] = up((full - back + saved) / float64(n))
		if whole {
			seal.gain[i] = up((full + saved) / float64(n))
		}
	}
	if n == 1 {
		seal.with = len(f.pieces) + 1
		f.pieces = append(f.pieces, seal, coat)
		return
	}
	for range n {
		f.pieces = append(f.pieces, seal)
	}
}

func up(x float64) int64 { return int64(math.Ceil(x)) }

// bays gives the least number of bays that a job takes on any day of the season.
func (f *packer) bays(t *truth, b job.Booking) (n int, half bool) {
	for i := range f.days {
		d := f.s.From.AddDays(i)
		c := t.caseOf(b)
		if bay, ok := c.NextBay(d); ok && bay.Task == rules.Lay && (n == 0 || bay.Of < n) {
			n = bay.Of
		}
		half = half || c.HalfDays(d) == 1
	}
	return n, half
}

// taking is what a crew does on one day.
type taking struct {
	pieces [4]int // two roofs' sealing and topcoat; -1 where there is none
	net    float64
	gain   int64
}

func nothing() taking { return taking{pieces: [4]int{-1, -1, -1, -1}} }

// has reports whether a piece is among those taken.
func (t taking) has(j int) bool { return j >= 0 && slices.Contains(t.pieces[:], j) }

// run moves prices until the bound stands.
func (f *packer) run(rounds int) Foresight {
	price := make([]float64, len(f.pieces))
	step := make([]float64, len(f.pieces))
	best := math.Inf(1)
	var bestPrice []float64
	scale, stall := 1.0, 0
	target := 0.0
	for round := range rounds {
		used := make([]float64, len(f.pieces))
		bound := 0.0
		for _, p := range price {
			bound += p
		}
		for d := range f.days {
			t := f.dearest(d, price)
			bound += float64(f.crews) * t.net
			for _, j := range t.pieces {
				if j >= 0 {
					used[j] += float64(f.crews)
				}
			}
		}
		if bound < best {
			best, stall = bound, 0
			bestPrice = append(bestPrice[:0], price...)
		} else if stall++; stall > 20 {
			scale, stall = scale*0.85, 0
			copy(price, bestPrice)
		}
		if round%50 == 0 && bestPrice != nil {
			target = max(target, float64(f.greedy(bestPrice)))
		}
		norm := 0.0
		for j := range price {
			step[j] = 0.6*step[j] + 0.4*(used[j]-1)
			norm += step[j] * step[j]
		}
		if norm == 0 {
			break
		}
		// towards the best plan known, or a little below the bound
		by := scale * max(best-target, best*1e-4) / norm
		for j := range price {
			price[j] = max(0, price[j]+by*step[j])
		}
	}
	return Foresight{Bound: int64(math.Ceil(best)), Found: int64(target)}
}

// half is what a crew can do in half a day: a piece, or a roof's sealing and its
// topcoat where a day takes both.
type half struct {
	j, with int
	net     float64
	gain    int64
}

// dearest finds what pays a crew best on day d; nothing where nothing does.
func (f *packer) dearest(d int, price []float64) taking {
	best := nothing()
	var halves []half
	top := 0.0
	for j := range f.pieces {
		p := &f.pieces[j]
		drive := f.drive(p.at, p.at)
		offer := func(with int, gain int64, cost float64) {
			net := float64(gain) - cost
			if net-float64(drive) > best.net {
				best = taking{pieces: [4]int{j, with, -1, -1}, net: net - float64(drive), gain: gain - drive}
			}
			if p.half && net > 0 {
				halves = append(halves, half{j, with, net, gain})
				top = max(top, net)
			}
		}
		if p.gain[d] > 0 {
			offer(-1, p.gain[d], price[j])
		}
		if p.with >= 0 && p.both[d] > 0 {
			offer(p.with, p.both[d], price[j]+price[p.with])
		}
	}
	for i, a := range halves {
		if a.net+top <= best.net {
			continue
		}
		for _, b := range halves[i+1:] {
			if a.net+b.net <= best.net || a.j == b.j || a.with == b.j || b.with == a.j {
				continue
			}
			x, y := f.pieces[a.j].when[d], f.pieces[b.j].when[d]
			if !(x.morning && y.afternoon || x.afternoon && y.morning) {
				continue
			}
			drive := f.drive(f.pieces[a.j].at, f.pieces[b.j].at)
			if net := a.net + b.net - float64(drive); net > best.net {
				best = taking{pieces: [4]int{a.j, a.with, b.j, b.with}, net: net, gain: a.gain + b.gain - drive}
			}
		}
	}
	return best
}

// drive is the cost of the round over two places (or one).
func (f *packer) drive(a, b plan.Place) int64 {
	home := plan.Place{}
	hm := plan.RoadHm(a, home) + plan.RoadHm(a, b) + plan.RoadHm(b, home)
	return hm * int64(f.s.Firm.Costs.Km) / 10
}

// greedy makes a plan along the prices: crew-day by crew-day, the one that pays
// best first, nothing twice.
func (f *packer) greedy(price []float64) int64 {
	p := append([]float64(nil), price...)
	left := make([]int, f.days)
	now := make([]taking, f.days)
	for d := range left {
		left[d] = f.crews
		now[d] = f.dearest(d, p)
	}
	total := int64(0)
	for {
		at := -1
		for d := range now {
			if left[d] > 0 && now[d].pieces[0] >= 0 && (at < 0 || now[d].net > now[at].net) {
				at = d
			}
		}
		if at < 0 {
			return total
		}
		t := now[at]
		total += t.gain
		left[at]--
		for _, j := range t.pieces {
			if j >= 0 {
				p[j] = math.Inf(1)
			}
		}
		for d, x := range now {
			if slices.ContainsFunc(t.pieces[:], x.has) {
				now[d] = f.dearest(d, p)
			}
		}
	}
}
