package plan

// model is the bare packing problem: columns over classes of crews, each job at
// most once. The search works on smaller and smaller copies of it.
type model struct {
	jobs, days int
	crews      []int16 // by class: how many crews
	must       []bool  // by job: it has to be done
	cols       columns
	from       []int32 // from[class*(days+1)+d]: first column that begins on day d
	multi      []int32 // the same place: first of those longer than a day
}

func newModel(jobs, days int, classes []class, cols columns) *model {
	m := &model{jobs: jobs, days: days, must: make([]bool, jobs+1), cols: cols}
	for _, k := range classes {
		m.crews = append(m.crews, int16(len(k.crews)))
	}
	m.index()
	return m
}

// index finds where the columns of each class and day begin.
func (m *model) index() {
	n := len(m.crews) * (m.days + 1)
	both := make([]int32, 2*n)
	m.from, m.multi = both[:n], both[n:]
	c, end := int32(0), int32(m.cols.len())
	for k := range m.crews {
		for d := 0; d <= m.days; d++ {
			at := k*(m.days+1) + d
			m.from[at] = c
			here := func() bool {
				return c < end && int(m.cols.class[c]) == k && int(m.cols.first[c]) == d
			}
			for here() && m.cols.last[c] == m.cols.first[c] {
				c++
			}
			m.multi[at] = c
			for here() {
				c++
			}
		}
	}
}

// only gives a copy with the columns for which keep says yes.
func (m *model) only(keep func(c int32) bool) *model {
	which := make([]int32, 0, m.cols.len())
	for c := range int32(m.cols.len()) {
		if keep(c) {
			which = append(which, c)
		}
	}
	o := &model{jobs: m.jobs, days: m.days, crews: m.crews, must: m.must, cols: m.cols.pick(which)}
	o.index()
	return o
}

// byJob lists the columns of every job: those of j are list[at[j]:at[j+1]].
func (m *model) byJob() (list, at []int32) {
	at = make([]int32, m.jobs+3)
	for c := range m.cols.a {
		at[m.cols.a[c]+2]++
		at[m.cols.b[c]+2]++
	}
	for j := range m.jobs + 1 {
		at[j+2] += at[j+1]
	}
	list = make([]int32, at[m.jobs+2])
	for c := range m.cols.a {
		for _, j := range [2]int32{m.cols.a[c], m.cols.b[c]} {
			list[at[j+1]] = int32(c)
			at[j+1]++
		}
	}
	return list, at[:m.jobs+1]
}

// mate is the other job of column c beside j; jobs when there is none.
func (m *model) mate(c, j int32) int32 { return m.cols.a[c] + m.cols.b[c] - j }
