package plan

// The proof. Depth first: find prices for the columns that could still be in a
// better plan, drop those that by the bounds cannot be, and when the bound
// still leaves room split the plans in two: those that do some job in one
// chosen set of its columns, and the rest. When every branch is closed the best
// plan found is the best there is.
type proof struct {
	best      *found
	work      int64 // columns that may still be looked at
	rounds    int   // price rounds at a node
	nodes     int
	tries     int
	tryRounds int
	gave      []float64
	cut       int64 // only plans above are looked for
}

// search goes through the plans of m and gives a bound on them; it is the gain
// of the best plan when m was gone through to the end.
func (x *proof) search(m *model, from []float64, scale float64) int64 {
	x.nodes++
	q := newPrices(m, from)
	q.scale = scale
	q.improve(x.rounds, x.floor())
	x.work -= q.work
	b := q.whole()
	if b.gain <= x.floor() {
		return x.floor()
	}
	x.best.take(q.rounded())
	if b.gain <= x.floor() {
		return x.floor()
	}
	if x.work <= 0 {
		return b.gain
	}
	var share []float64
	m = m.only(func(c int32) bool {
		if b.col[c] <= x.floor() {
			return false
		}
		share = append(share, q.share[c]/q.total)
		return true
	})
	s, ok := x.choose(q, m, share, b.gain)
	if debug {
		println(x.nodes, b.gain, x.floor(), m.cols.len(), s.job, s.day, s.class, s.with, int(s.share*1000), int(s.drop[0]), int(s.drop[1]))
	}
	if !ok {
		return x.floor()
	}
	var bound int64
	for _, inside := range []bool{s.share >= 0.5, s.share < 0.5} {
		bound = max(bound, x.search(m.split(&s, inside), q.best, min(1, 2*q.scale)))
	}
	return min(b.gain, bound)
}

func (x *proof) floor() int64 { return max(x.cut, x.best.gain) }

// climb looks for plans close to the bound first.
func (x *proof) climb(m *model, from []float64, scale float64, bound int64) int64 {
	total := x.work
	for delta := int64(float64(bound) * Delta); ; delta = int64(float64(delta) * Mult) {
		x.cut = max(bound-delta, x.best.gain)
		x.work = min(total, int64(Pass))
		if x.cut == x.best.gain {
			x.work = total
		}
		had := x.work
		top := x.search(m, from, scale)
		total -= had - x.work
		if debug {
			println("pass", delta, bound, x.cut, x.best.gain, top, x.nodes, had-x.work)
		}
		bound = min(bound, max(top, x.best.gain))
		if bound <= x.best.gain || total <= 0 || x.cut <= x.best.gain && x.work <= 0 {
			return bound
		}
	}
}
