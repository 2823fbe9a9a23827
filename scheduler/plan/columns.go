package plan

import (
	"fmt"
	"slices"
)

// A column is one thing a crew can do with an unbroken run of days: one job, or
// two half-day jobs on one day. The crew-day, not the half day, is what columns
// compete for; so half-days cannot collide and the driving saved by a pair is
// part of its gain.
//
// Columns lie in flat arrays, ordered by class, first day, and single days
// before longer visits: the bound walks over all of them thousands of times.
type columns struct {
	gain        []int64 // over leaving its jobs out, driving included; > 0
	a, b        []int32 // jobs; b is len(Jobs) when there is no second
	first, last []int16
	class       []int16
	slot        []int8  // of a; b has the other
	id          []int32 // its place among the columns of the whole problem
}

func (c *columns) len() int { return len(c.gain) }

// pick gives a copy of the columns listed.
func (c *columns) pick(which []int32) columns {
	return columns{
		gain: pick(c.gain, which), a: pick(c.a, which), b: pick(c.b, which),
		first: pick(c.first, which), last: pick(c.last, which),
		class: pick(c.class, which), slot: pick(c.slot, which), id: pick(c.id, which),
	}
}

func pick[T any](from []T, which []int32) []T {
	out := make([]T, len(which))
	for i, c := range which {
		out[i] = from[c]
	}
	return out
}

// class is a set of crews that are alike: depot, size, skills, days off.
// A crew with frozen or pinned work is a class of its own.
type class struct {
	crews []int
	free  []bool // by day; false: off or frozen
}

// problem is an Input made ready for the search.
type problem struct {
	in       *Input
	days     int
	jobs     int
	classes  []class
	model    *model
	leave    []int64
	base     int64
	frozen   []placed // where frozen jobs stand
	frozenAt int64    // their gain together
	why      []Reason // by job: why it has no column; "" when it has
	bonus    int64    // in the gain of every column of a pinned job, for each of them
}

// placed is a placing in indices.
type placed struct {
	job, crew, first, last, slot int
	way                          *Way
}

func newProblem(in *Input) *problem {
	p := &problem{in: in, days: max(0, in.Days), jobs: len(in.Jobs)}
	p.leave = make([]int64, p.jobs)
	for j := range in.Jobs {
		p.leave[j] = in.leave(&in.Jobs[j])
		p.base += p.leave[j]
	}
	p.freeze()
	p.group()
	b := newBuilder(p)
	b.pins()
	for k := range p.classes {
		b.class(k)
	}
	p.model = newModel(p.jobs, p.days, p.classes, b.cols)
	p.explain(b)
	return p
}

// freeze sets the frozen jobs where they must stand, in the order of Jobs; one
// that cannot stand there is left out with reason Clash.
func (p *problem) freeze() {
	p.why = make([]Reason, p.jobs)
	held := newHeld(p.in)
	for j := range p.in.Jobs {
		if p.in.Jobs[j].Fixed == nil {
			continue
		}
		v, ok := held.take(p.in, j)
		if !ok {
			p.why[j] = Clash
			continue
		}
		p.frozen = append(p.frozen, v)
	}
	for _, g := range p.in.gains(p.frozen) {
		p.frozenAt += g
	}
}

// held marks which half days of which crew are taken.
type held struct {
	days int
	busy []bool // (crew*days+day)*2+slot
}

func newHeld(in *Input) *held {
	n := max(0, in.Days)
	return &held{days: n, busy: make([]bool, len(in.Crews)*n*2)}
}

func (h *held) at(crew, day, slot int) *bool { return &h.busy[(crew*h.days+day)*2+slot] }

// take finds the place of frozen job j and marks it.
func (h *held) take(in *Input, j int) (placed, bool) {
	job, f := &in.Jobs[j], in.Jobs[j].Fixed
	c := slices.IndexFunc(in.Crews, func(c Crew) bool { return c.ID == f.Crew })
	if c < 0 || f.Slot < 0 || f.Slot > 1 || !in.Crews[c].can(job.Skill) {
		return placed{}, false
	}
	w, ok := job.Ways[in.Crews[c].Size]
	if !ok || w.HalfDays != 1 && f.Slot != 0 {
		return placed{}, false
	}
	last, ok := in.run(f.Day, daysNeeded(w.HalfDays), job.NoGap)
	if !ok {
		return placed{}, false
	}
	v := placed{job: j, crew: c, first: f.Day, last: last, slot: f.Slot, way: &w}
	for _, d := range in.daysBetween(v.first, v.last) {
		if in.Crews[c].off(d) || h.taken(v, d) {
			return placed{}, false
		}
	}
	for d := v.first; d <= v.last; d++ {
		for s := range 2 {
			if w.HalfDays != 1 || s == v.slot {
				*h.at(c, d, s) = true
			}
		}
	}
	return v, true
}

func (h *held) taken(v placed, d int) bool {
	if v.way.HalfDays == 1 {
		return *h.at(v.crew, d, v.slot)
	}
	return *h.at(v.crew, d, 0) || *h.at(v.crew, d, 1)
}

// group sorts the crews into classes, in the order of their first crew.
func (p *problem) group() {
	own := make([]bool, len(p.in.Crews))
	frozen := make(map[[2]int]bool)
	for _, v := range p.frozen {
		own[v.crew] = true
		for d := v.first; d <= v.last; d++ {
			frozen[[2]int{v.crew, d}] = true
		}
	}
	for j := range p.in.Jobs { // a crew with something pinned to it is not like another
		if pin := p.pin(j); pin != nil && pin.Crew != "" {
			if c := slices.IndexFunc(p.in.Crews, func(c Crew) bool { return c.ID == pin.Crew }); c >= 0 {
				own[c] = true
			}
		}
	}
	byKey := make(map[string]int)
	for c := range p.in.Crews {
		key := p.in.Crews[c].key(p.days)
		if own[c] {
			key = fmt.Sprint("own ", c)
		}
		k, seen := byKey[key]
		if !seen {
			k = len(p.classes)
			byKey[key] = k
			free := make([]bool, p.days)
			for d := range free {
				free[d] = p.in.working(d) && !p.in.Crews[c].off(d) && !frozen[[2]int{c, d}]
			}
			p.classes = append(p.classes, class{free: free})
		}
		p.classes[k].crews = append(p.classes[k].crews, c)
	}
}

// key is equal for crews that are alike.
func (c *Crew) key(days int) string {
	skills := slices.Clone(c.Skills)
	slices.Sort(skills)
	off := make([]int, 0, 8)
	for d := range days {
		if c.off(d) {
			off = append(off, d)
		}
	}
	return fmt.Sprintf("%v %d %q %v", c.Depot, c.Size, slices.Compact(skills), off)
}

// gains gives the gain of each placing over leaving its job out. The driving
// of a day shared by two jobs is split: each pays its own way to the depot and
// half the road between them.
func (in *Input) gains(ps []placed) []int64 {
	type crewDay struct{ crew, day int }
	visits := make(map[crewDay][]int)
	for i, v := range ps {
		for _, d := range in.daysBetween(v.first, v.last) {
			visits[crewDay{v.crew, d}] = append(visits[crewDay{v.crew, d}], i)
		}
	}
	out := make([]int64, len(ps))
	for i, v := range ps {
		job := &in.Jobs[v.job]
		out[i] = in.reward(job, v.way, v.first, v.slot, v.last) - in.leave(job)
		for _, d := range in.daysBetween(v.first, v.last) {
			out[i] -= in.share(ps, visits[crewDay{v.crew, d}], i)
		}
	}
	return out
}

// share is what placing i pays of the driving of a day with the placings on.
func (in *Input) share(ps []placed, on []int, i int) int64 {
	depot := in.Crews[ps[i].crew].Depot
	at := func(i int) Place { return in.Jobs[ps[i].job].At }
	if len(on) == 1 {
		return in.drive(2 * RoadHm(at(i), depot))
	}
	first, second := on[0], on[1]
	between := RoadHm(at(first), at(second))
	total := in.drive(RoadHm(at(first), depot) + between + RoadHm(at(second), depot))
	part := floorDiv((2*RoadHm(at(first), depot)+between)*in.Costs.PerKm, 20)
	if i == first {
		return part
	}
	return total - part
}
