package plan

import (
	"cmp"
	"slices"
)

// packing is a set of columns of a model that fit together: no job twice, no
// class with more columns on a day than it has crews.
type packing struct {
	m     *model
	byJob []int32 // column that does the job; -1: left out; the last entry is nobody's
	used  []int16 // class*days+day: crews at work
	gain  int64
}

func newPacking(m *model) *packing {
	s := &packing{m: m, byJob: make([]int32, m.jobs+1), used: make([]int16, len(m.crews)*m.days)}
	for j := range s.byJob {
		s.byJob[j] = -1
	}
	return s
}

// room tells whether column c fits beside the columns that are in.
func (s *packing) room(c int32) bool {
	cols := &s.m.cols
	k := int(cols.class[c])
	for d := cols.first[c]; d <= cols.last[c]; d++ {
		if s.used[k*s.m.days+int(d)] >= s.m.crews[k] {
			return false
		}
	}
	return true
}

// fits tells whether column c can be put in as things stand.
func (s *packing) fits(c int32) bool {
	cols := &s.m.cols
	return s.byJob[cols.a[c]] < 0 && s.byJob[cols.b[c]] < 0 && s.room(c)
}

// put puts column c in.
func (s *packing) put(c int32) {
	cols := &s.m.cols
	s.byJob[cols.a[c]] = c
	if int(cols.b[c]) < s.m.jobs {
		s.byJob[cols.b[c]] = c
	}
	at := int(cols.class[c]) * s.m.days
	for d := cols.first[c]; d <= cols.last[c]; d++ {
		s.used[at+int(d)]++
	}
	s.gain += cols.gain[c]
}

// chosen lists the columns that are in, by class and first day.
func (s *packing) chosen() []int32 {
	var cs []int32
	for j, c := range s.byJob[:s.m.jobs] {
		if c >= 0 && int(s.m.cols.a[c]) == j {
			cs = append(cs, c)
		}
	}
	slices.Sort(cs)
	return cs
}

// found is the best plan so far: columns of the whole problem and their gain.
type found struct {
	ids  []int32
	gain int64
}

// take keeps the packing if it is better.
func (f *found) take(s *packing) bool {
	if s.gain <= f.gain {
		return false
	}
	f.gain = s.gain
	f.ids = f.ids[:0]
	for _, c := range s.chosen() {
		f.ids = append(f.ids, s.m.cols.id[c])
	}
	return true
}

// packing gives the plan found as a packing of m; columns m no longer has are
// left out of it.
func (f *found) packing(m *model) *packing {
	s := newPacking(m)
	i := 0
	for c, id := range m.cols.id {
		for i < len(f.ids) && f.ids[i] < id {
			i++
		}
		if i < len(f.ids) && f.ids[i] == id {
			s.put(int32(c))
		}
	}
	return s
}

// placings gives the columns found, and the frozen jobs, to real crews.
// Crews of a class are alike, so any of them that is free will do.
func (p *problem) placings(f *found) []placed {
	out := slices.Clone(p.frozen)
	free := make([]int, len(p.in.Crews)) // by crew: first day after its last column
	cols := &p.model.cols
	for _, c := range f.ids {
		first, last := int(cols.first[c]), int(cols.last[c])
		crews := p.classes[cols.class[c]].crews
		crew := crews[max(0, slices.IndexFunc(crews, func(i int) bool { return free[i] <= first }))]
		free[crew] = last + 1
		slot := int(cols.slot[c])
		out = append(out, p.place(int(cols.a[c]), crew, first, last, slot))
		if b := int(cols.b[c]); b < p.jobs {
			out = append(out, p.place(b, crew, first, last, 1-slot))
		}
	}
	slices.SortFunc(out, func(x, y placed) int {
		return cmp.Or(cmp.Compare(x.first, y.first), cmp.Compare(x.slot, y.slot), cmp.Compare(x.crew, y.crew), cmp.Compare(x.job, y.job))
	})
	return out
}

func (p *problem) place(j, crew, first, last, slot int) placed {
	w := p.in.Jobs[j].Ways[p.in.Crews[crew].Size]
	return placed{job: j, crew: crew, first: first, last: last, slot: slot, way: &w}
}
