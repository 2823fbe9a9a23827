package plan

import (
	"cmp"
	"math"
	"slices"
)

// side is a set of columns of one job: those that begin on a day, or of these
// those with one crew class, or those that share the day with one other job. The
// proof splits plans into those that do the job in the set and those that do not.
type side struct {
	job   int32
	day   int16
	class int16   // anyone: any
	with  int32   // anyone: any job or none
	share float64 // how often the best paths do the job in the set
}

const anyone = -1

func (s *side) has(m *model, c int32) bool {
	return m.cols.first[c] == s.day && (s.class == anyone || m.cols.class[c] == s.class) &&
		(s.with == anyone || m.mate(c, s.job) == s.with)
}

// split gives the plans of m on one side.
func (m *model) split(s *side, inside bool) *model {
	sub := m.only(func(c int32) bool {
		return m.cols.a[c] != s.job && m.cols.b[c] != s.job || s.has(m, c) == inside
	})
	if inside && !m.must[s.job] {
		sub.must = slices.Clone(m.must)
		sub.must[s.job] = true
	}
	return sub
}

// sides gives for every job not settled the set it is most in two minds about.
func (m *model) sides(share []float64) []side {
	list, at := m.byJob()
	var out []side
	for j := range int32(m.jobs) {
		cs := list[at[j]:at[j+1]]
		if len(cs) > 1 || len(cs) == 1 && !m.must[j] {
			out = append(out, m.doubtful(j, cs, share))
		}
	}
	return out
}

// doubtful gives the set of the columns cs of job j that splits it best.
func (m *model) doubtful(j int32, cs []int32, share []float64) side {
	best, most := side{}, -1.0
	offer := func(s side) {
		n := 0
		for _, c := range cs {
			if s.has(m, c) {
				n++
				s.share += share[c]
			}
		}
		if n == len(cs) && m.must[j] {
			return // nothing would be split
		}
		if d := s.doubt(); d > most {
			best, most = s, d
		}
	}
	for _, least := range [2]float64{hardlyUsed, -1} {
		for i, c := range cs {
			if share[c] < least {
				continue
			}
			day, class, with := m.cols.first[c], m.cols.class[c], m.mate(c, j)
			for _, s := range [3]side{
				{job: j, day: day, class: anyone, with: anyone},
				{job: j, day: day, class: anyone, with: with},
				{job: j, day: day, class: class, with: anyone},
			} {
				if !slices.ContainsFunc(cs[:i], func(o int32) bool { return share[o] >= least && s.has(m, o) }) {
					offer(s)
				}
			}
		}
		if most >= 0 {
			break
		}
	}
	return best
}

const (
	// hardlyUsed is a share too small to base a split on, if there is a better.
	hardlyUsed = 0.01
	// crewDoubt lowers the interest in which crew does a job: crews are often
	// alike, and then nothing is gained by telling them apart.
	crewDoubt = 0.2
	// leastDrop stands for a side that does not lower the bound, in cents.
	leastDrop = 0.1
	// oldGave is how much of the older experience with a job stays.
	oldGave = 0.7
)

// doubt is greatest for a set used half the time.
func (s *side) doubt() float64 {
	d := math.Min(s.share, 1-s.share)
	if s.class != anyone {
		d *= crewDoubt
	}
	return d
}

// learn remembers what a split on a job gave: the product of the drops.
func (x *proof) learn(job int32, product float64) {
	x.gave[job] = float64(oldGave*x.gave[job]) + float64((1-oldGave)*math.Sqrt(product))
}

// likelier orders sides by doubt and by what their jobs gave before.
func (x *proof) likelier(s, o side) int {
	promise := func(s *side) float64 { return (max(0, s.doubt()) + 0.01) * (x.gave[s.job] + 1) }
	return cmp.Or(cmp.Compare(promise(&o), promise(&s)), cmp.Compare(s.job, o.job))
}
