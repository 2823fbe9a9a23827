package plan

import (
	"cmp"
	"slices"
)

// builder makes the columns of one class after another.
type builder struct {
	p      *problem
	sizes  map[int]*sized
	near   [][]int32 // by job: half-day jobs near enough to share a crew-day, later in order
	roads  [][]int64 // the distances to them
	halves [][]half  // by day, of the class in hand
	days   [][]column
	cols   columns
	worth  []bool // by job: a column exists
	fits   []bool // by job: a start exists, worth it or not
	able   []bool // by job: a crew has skill and hands
	starts []bool // by job: a day exists on which it could begin, its length aside
}

// sized holds what does not depend on the crew but on its size: the starts of
// every job and what each earns before driving, over leaving the job out.
type sized struct {
	ways   []*Way
	starts [][]start
}

type start struct {
	first, last int16
	n           int16    // days worked
	gain        [2]int64 // by slot; [0] alone for a whole day
	ok          [2]bool
}

// half is a half-day job on one day.
type half struct {
	job int32
	start
	depot int64 // road to the depot, hm
}

type column struct {
	gain int64
	a, b int32
	last int16
	slot int8
}

func newBuilder(p *problem) *builder {
	b := &builder{p: p, sizes: make(map[int]*sized)}
	b.worth, b.fits = make([]bool, p.jobs), make([]bool, p.jobs)
	b.able, b.starts = make([]bool, p.jobs), make([]bool, p.jobs)
	b.near, b.roads = make([][]int32, p.jobs), make([][]int64, p.jobs)
	half := make([]bool, p.jobs)
	for j := range p.in.Jobs {
		for _, w := range p.in.Jobs[j].Ways {
			half[j] = half[j] || w.HalfDays == 1
		}
	}
	for x := range p.in.Jobs {
		for y := x + 1; y < p.jobs && half[x]; y++ {
			if !half[y] {
				continue
			}
			if hm := RoadHm(p.in.Jobs[x].At, p.in.Jobs[y].At); hm <= p.in.Costs.PairMaxHm {
				b.near[x] = append(b.near[x], int32(y))
				b.roads[x] = append(b.roads[x], hm)
			}
		}
	}
	return b
}

// size gives the starts of every job for crews of a size.
func (b *builder) size(n int) *sized {
	if s := b.sizes[n]; s != nil {
		return s
	}
	in := b.p.in
	s := &sized{ways: make([]*Way, b.p.jobs), starts: make([][]start, b.p.jobs)}
	for j := range in.Jobs {
		job := &in.Jobs[j]
		w, ok := job.Ways[n]
		if !ok || w.HalfDays < 1 || job.Fixed != nil {
			continue
		}
		s.ways[j] = &w
		for d := range b.p.days {
			if job.Pin != nil && d != job.Pin.Day {
				continue
			}
			if st, ok := b.start(job, &w, d, b.p.leave[j]); ok {
				s.starts[j] = append(s.starts[j], st)
			}
			if in.M > 0 && (in.open(job, &w, d, 0) || in.open(job, &w, d, 1)) && in.working(d) && in.allowed(job, d, d) {
				b.starts[j] = true
			}
		}
	}
	b.sizes[n] = s
	return s
}

func (b *builder) start(job *Job, w *Way, d int, leave int64) (start, bool) {
	in := b.p.in
	need := daysNeeded(w.HalfDays)
	last, ok := in.run(d, need, job.NoGap)
	if !ok || in.M < 1 || !in.allowed(job, d, last) {
		return start{}, false
	}
	st := start{first: int16(d), last: int16(last), n: int16(need)}
	for s := range 2 {
		if (s == 0 || w.HalfDays == 1) && in.open(job, w, d, s) {
			st.ok[s] = true
			st.gain[s] = in.reward(job, w, d, s, last) - leave
		}
	}
	return st, st.ok[0] || st.ok[1]
}

// class makes the columns of class k.
func (b *builder) class(k int) {
	p := b.p
	crew := &p.in.Crews[p.classes[k].crews[0]]
	s := b.size(crew.Size)
	b.days, b.halves = make([][]column, p.days), make([][]half, p.days)
	for j := range p.in.Jobs {
		if s.ways[j] == nil || !crew.can(p.in.Jobs[j].Skill) || !p.in.Jobs[j].pinnedTo(crew) {
			continue
		}
		b.able[j] = true
		b.singles(k, j, s.starts[j], s.ways[j].HalfDays == 1, crew)
	}
	for d := range b.halves {
		b.pairs(d)
	}
	for _, v := range p.frozen {
		if v.crew == p.classes[k].crews[0] && v.way.HalfDays == 1 {
			b.beside(k, v, s, crew)
		}
	}
	b.flush(k)
}

// singles makes the columns of job j alone.
func (b *builder) singles(k, j int, starts []start, isHalf bool, crew *Crew) {
	depot := RoadHm(b.p.in.Jobs[j].At, crew.Depot)
	trip := b.p.in.drive(2 * depot)
	for _, st := range starts {
		if !b.free(k, st) {
			continue
		}
		b.fits[j] = true
		slot := int8(0)
		if isHalf {
			b.halves[st.first] = append(b.halves[st.first], half{job: int32(j), start: st, depot: depot})
			if !st.ok[0] || st.ok[1] && st.gain[1] > st.gain[0] {
				slot = 1
			}
		}
		b.add(int(st.first), column{gain: st.gain[slot] - trip*int64(st.n), a: int32(j), b: int32(b.p.jobs),
			last: st.last, slot: slot})
	}
}

func (b *builder) free(k int, st start) bool {
	for d := st.first; d <= st.last; d++ {
		if b.p.in.working(int(d)) && !b.p.classes[k].free[d] {
			return false
		}
	}
	return true
}

func (b *builder) add(d int, c column) {
	if c.gain <= 0 {
		return
	}
	b.worth[c.a] = true
	if int(c.b) < b.p.jobs {
		b.worth[c.b] = true
	}
	b.days[d] = append(b.days[d], c)
}

// pairs makes the columns of two half-day jobs on day d, in the better order.
// A pair that gains no more than one of its jobs alone is left out.
func (b *builder) pairs(d int) {
	in := b.p.in
	hs := b.halves[d]
	at := make([]int32, b.p.jobs) // job -> place in hs, plus one
	for i, h := range hs {
		at[h.job] = int32(i) + 1
	}
	for i := range hs {
		x := &hs[i]
		for n, yj := range b.near[x.job] {
			if at[yj] == 0 {
				continue
			}
			y := &hs[at[yj]-1]
			c, ok := pair(x, y)
			if !ok {
				continue
			}
			c.gain -= in.drive(x.depot + b.roads[x.job][n] + y.depot)
			if c.gain > max(x.alone(in), y.alone(in)) {
				c.last = int16(d)
				b.add(d, c)
			}
		}
	}
}

func (h *half) alone(in *Input) int64 {
	g := h.gain[0]
	if !h.ok[0] || h.ok[1] && h.gain[1] > g {
		g = h.gain[1]
	}
	return g - in.drive(2*h.depot)
}

// pair joins two half-day jobs in the better order, driving not counted.
func pair(x, y *half) (column, bool) {
	xy, yx := x.ok[0] && y.ok[1], y.ok[0] && x.ok[1]
	c := column{a: x.job, b: y.job, gain: x.gain[0] + y.gain[1]}
	if other := y.gain[0] + x.gain[1]; yx && (!xy || other > c.gain) {
		c.slot, c.gain = 1, other
	}
	return c, xy || yx
}

// beside makes the columns that add a half-day job to a frozen one.
func (b *builder) beside(k int, v placed, s *sized, crew *Crew) {
	in := b.p.in
	for _, w := range b.p.frozen {
		if w.crew == v.crew && w.job != v.job && w.first <= v.first && v.first <= w.last {
			return // its other half is frozen too
		}
	}
	there := in.Jobs[v.job].At
	home := RoadHm(there, crew.Depot)
	slot := 1 - v.slot
	for j := range in.Jobs {
		if s.ways[j] == nil || s.ways[j].HalfDays != 1 || !crew.can(in.Jobs[j].Skill) || !in.Jobs[j].pinnedTo(crew) {
			continue
		}
		road := RoadHm(in.Jobs[j].At, there)
		for _, st := range s.starts[j] {
			if int(st.first) != v.first || !st.ok[slot] || road > in.Costs.PairMaxHm {
				continue
			}
			b.fits[j] = true
			extra := in.drive(home+road+RoadHm(in.Jobs[j].At, crew.Depot)) - in.drive(2*home)
			b.add(v.first, column{gain: st.gain[slot] - extra, a: int32(j), b: int32(b.p.jobs), last: st.last, slot: int8(slot)})
		}
	}
}

// flush packs the columns of class k.
func (b *builder) flush(k int) {
	c := &b.cols
	for d, cols := range b.days {
		slices.SortStableFunc(cols, func(x, y column) int { return cmp.Compare(min(1, int(x.last)-d), min(1, int(y.last)-d)) })
		for _, col := range cols {
			c.id = append(c.id, int32(c.len()))
			c.gain = append(c.gain, col.gain)
			c.a, c.b = append(c.a, col.a), append(c.b, col.b)
			c.first, c.last = append(c.first, int16(d)), append(c.last, col.last)
			c.class, c.slot = append(c.class, int16(k)), append(c.slot, col.slot)
		}
	}
}

// explain says why a job has no column.
func (p *problem) explain(b *builder) {
	for j := range p.why {
		switch {
		case p.why[j] != "" || b.worth[j]:
		case !b.able[j]:
			p.why[j] = NoCrew
		case b.fits[j]:
			p.why[j] = NotWorth
		case b.starts[j]:
			p.why[j] = p.noStart(b, j)
		default:
			p.why[j] = NoDay
		}
	}
}

// noStart tells a visit too long for its days from one whose days no able crew has free.
func (p *problem) noStart(b *builder, j int) Reason {
	for _, s := range b.sizes {
		if len(s.starts[j]) > 0 {
			return NoDay
		}
	}
	return TooLong
}
