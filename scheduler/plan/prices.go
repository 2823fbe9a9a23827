package plan

import "math"

// The bound. Every job gets a price; a crew that wants to do it must pay. Given
// prices each class of crews is on its own: its best run of columns through the
// days is found backwards by day. The sum of all prices and of what the crews
// then earn is at least the gain of the best plan, for any prices >= 0, so the
// printed bound is right even when the prices are not yet good. A job that has
// to be done may have a negative price.
//
// Products are wrapped in float64() where a sum follows: otherwise some machines
// would round them together with the sum and find another plan.
type prices struct {
	m      *model
	price  []float64 // by job, and 0 for no job
	value  []float64 // class*(days+1)+d: best from day d on
	pick   []int32   // the column taken there; -1: idle
	used   []float64 // by job: how often the best paths do it
	dir    []float64 // of the steps
	best   []float64 // prices of the best bound
	bound  float64   // the best bound
	share  []float64 // by column: running sum of being on a best path
	weight float64   // of the newest path in the sum, growing
	total  float64   // of all weights
	scale  float64   // of the steps
	reach  float64   // share of the bound that a step aims below it at the least
	work   int64     // columns looked at
}

// How the prices move; all found by trial on the planning benchmark.
const (
	firstScale   = 0.1  // of the step that would reach the gain aimed at
	keepDir      = 0.85 // deflection: how much of the old direction stays
	stallRounds  = 7    // rounds without progress before the step is shortened
	shorten      = 0.85 // how much
	averageShare = 0.03 // weight of the newest paths in the average
)

// newPrices begins from the prices given.
func newPrices(m *model, from []float64) *prices {
	n, paths := m.jobs+1, len(m.crews)*(m.days+1)
	f := make([]float64, 4*n+paths+m.cols.len())
	cut := func(n int) []float64 { s := f[:n:n]; f = f[n:]; return s }
	q := &prices{m: m, bound: math.Inf(1), weight: 1, scale: firstScale}
	q.price, q.used, q.dir, q.best = cut(n), cut(n), cut(n), cut(n)
	q.value, q.share = cut(paths), cut(m.cols.len())
	q.pick = make([]int32, paths)
	copy(q.price, from)
	return q
}

// guess gives prices to begin with: half of what a job could gain.
func (m *model) guess() []float64 {
	price := make([]float64, m.jobs+1)
	for c, g := range m.cols.gain {
		a, b := m.cols.a[c], m.cols.b[c]
		v := float64(g) / 2
		if int(b) < m.jobs {
			v /= 2
			price[b] = max(price[b], v)
		}
		price[a] = max(price[a], v)
	}
	return price
}

// backward finds the best paths of every class and gives the bound.
func (q *prices) backward() float64 {
	m, price := q.m, q.price
	bound := 0.0
	for _, v := range price {
		bound += v
	}
	gain, a, b, last := m.cols.gain, m.cols.a, m.cols.b, m.cols.last
	stride := m.days + 1
	for k := range m.crews {
		value, pick := q.value[k*stride:(k+1)*stride], q.pick[k*stride:(k+1)*stride]
		from, multi := m.from[k*stride:(k+1)*stride], m.multi[k*stride:(k+1)*stride]
		for d := m.days - 1; d >= 0; d-- {
			at, best := int32(-1), 0.0
			for c := from[d]; c < multi[d]; c++ {
				if v := float64(gain[c]) - price[a[c]] - price[b[c]]; v > best {
					at, best = c, v
				}
			}
			best += value[d+1]
			for c := multi[d]; c < from[d+1]; c++ {
				if v := float64(gain[c]) - price[a[c]] + value[last[c]+1]; v > best {
					at, best = c, v
				}
			}
			value[d], pick[d] = best, at
		}
		bound += float64(float64(m.crews[k]) * value[0])
	}
	q.work += int64(len(gain) + len(q.value) + 4*len(price))
	return bound
}

// follow counts what the best paths use.
func (q *prices) follow() {
	m := q.m
	clear(q.used)
	q.weight /= 1 - averageShare
	q.total += q.weight
	for k, crews := range m.crews {
		n := float64(crews)
		for d := 0; d < m.days; {
			c := q.pick[k*(m.days+1)+d]
			if c < 0 {
				d++
				continue
			}
			q.used[m.cols.a[c]] += n
			q.used[m.cols.b[c]] += n
			q.share[c] += float64(n * q.weight)
			d = int(m.cols.last[c]) + 1
		}
	}
}

// step moves the prices against the direction of too little or too much use,
// by scale times what would lower the bound by drop.
func (q *prices) step(drop float64) {
	must, norm := q.m.must, 0.0
	for j := range q.m.jobs {
		g := 1 - q.used[j]
		if q.price[j] == 0 && g > 0 && !must[j] {
			g = 0
		}
		d := float64(keepDir*q.dir[j]) + float64((1-keepDir)*g)
		q.dir[j] = d
		norm += float64(d * d)
	}
	if norm == 0 {
		return
	}
	t := q.scale * drop / norm
	for j := range q.m.jobs {
		v := q.price[j] - float64(t*q.dir[j])
		if v < 0 && !must[j] {
			v = 0
		}
		q.price[j] = v
	}
}

// improve runs rounds of price steps towards a gain, and stops when the bound
// shows that no plan has more than that.
func (q *prices) improve(rounds int, gain int64) {
	stall := 0
	for range rounds {
		bound := q.backward()
		if bound < q.bound {
			q.bound, stall = bound, 0
			copy(q.best, q.price)
		} else if stall++; stall >= stallRounds {
			q.scale, stall = q.scale*shorten, 0
		}
		if q.bound < float64(gain)+1 {
			return
		}
		q.follow()
		q.step(max(1, bound-float64(gain), q.reach*bound))
	}
}

// average is how often the best paths took column c lately, of each crew.
func (q *prices) average(c int32) float64 {
	if q.total == 0 {
		return 0
	}
	return q.share[c] / q.total
}

// bounds are the prices of the best bound in whole numbers, so that rounding
// cannot make them wrong, and what follows from them.
type bounds struct {
	gain int64   // in whole cents: no plan of the model has more
	col  []int64 // by column: no plan that has it has more
}

const perCent = 1024 // whole prices count in 1/1024 cent

// whole works out the bounds.
func (q *prices) whole() bounds {
	m := q.m
	price := make([]int64, len(q.best))
	var top int64
	for j, v := range q.best {
		price[j] = int64(v * perCent)
		top += price[j]
	}
	stride := m.days + 1
	loss := make([]int64, m.cols.len())
	value, ahead := make([]int64, stride), make([]int64, stride)
	for k, crews := range m.crews {
		from, to := m.from[k*stride], m.from[k*stride+m.days]
		for d := m.days - 1; d >= 0; d-- {
			value[d] = value[d+1]
			for c := m.from[k*stride+d]; c < m.from[k*stride+d+1]; c++ {
				loss[c] = m.cols.gain[c]*perCent - price[m.cols.a[c]] - price[m.cols.b[c]]
				value[d] = max(value[d], loss[c]+value[m.cols.last[c]+1])
			}
		}
		clear(ahead)
		c := from
		for d := range m.days {
			ahead[d+1] = max(ahead[d+1], ahead[d])
			for ; c < to && int(m.cols.first[c]) == d; c++ {
				end := m.cols.last[c] + 1
				ahead[end] = max(ahead[end], ahead[d]+loss[c])
				loss[c] = value[0] - ahead[d] - loss[c] - value[end]
			}
		}
		top += int64(crews) * value[0]
	}
	for c := range loss {
		loss[c] = floorDiv(top-loss[c], perCent)
	}
	return bounds{gain: floorDiv(top, perCent), col: loss}
}
