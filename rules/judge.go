package rules

import (
	"math"
	"sort"
	"time"

	"laycast/job"
)

// LeastMembers is how many members must be known through the whole of a start
// for it to have a chance at all.
const LeastMembers = 10

// Judge gives the verdict for one case on civil day d, for times on site not
// before `from`. The bounds say from which chance on a start is inside a
// window. A day on which nothing can be done, or about which too little is
// known, has Best = -1.
func (g *Ground) Judge(c Case, d job.Date, from time.Time, b job.Bounds) Day {
	day := Day{Job: c.Job.ID, Date: d, Basis: FromNothing, Best: -1}
	if g.n == 0 {
		return day
	}
	p, ok := g.dayPlan(c, d)
	if !ok {
		return day
	}
	starts := p.startsOf(g, from)
	if len(starts) == 0 {
		return day
	}
	var live []int
	for m := range g.members {
		if g.known(m, starts[0], p.knownTo) {
			live = append(live, m)
		}
	}
	if day.Members = len(live); len(live) < LeastMembers {
		return day
	}
	day.Basis = g.basis
	results := make([]result, len(live))
	walkAll := func(t float64) {
		for k, m := range live {
			results[k] = g.walk(&p, m, t)
		}
	}
	day.Starts = make([]Start, 0, len(starts))
	for _, t := range starts {
		walkAll(t)
		day.Starts = append(day.Starts, share(results, g.at(t)))
	}
	day.Best = bestOf(day.Starts)
	day.Windows = windows(day.Starts, b)
	walkAll(starts[day.Best]) // once more: to keep them all would take a megabyte a day
	g.explain(&day, results, live)
	day.NoReturn = g.at(p.noReturn)
	return day
}

// share counts the members.
func share(rs []result, at time.Time) Start {
	s, n := Start{At: at}, float64(len(rs))
	for _, r := range rs {
		if r.sealed {
			s.Sealed++
		}
		if r.full {
			s.Full++
		}
		if r.rainOpen {
			s.RainOpen++
		}
	}
	s.Sealed, s.Full, s.RainOpen = s.Sealed/n, s.Full/n, s.RainOpen/n
	return s
}

// bestOf gives the earliest of the starts that are nearly as good as the best:
// rain on an open roof costs as much as a seal gains, and a topcoat on the day
// counts a quarter. Nearly means within a fiftieth, so that a crew is not sent
// late for the noise of one member in a hundred.
func bestOf(ss []Start) int {
	worth := func(s Start) float64 { return s.Sealed - s.RainOpen + s.Full/4 }
	top := math.Inf(-1)
	for _, s := range ss {
		top = math.Max(top, worth(s))
	}
	for i, s := range ss {
		if worth(s) >= top-0.02 {
			return i
		}
	}
	return -1
}

// windows gives the ranges of starts that would be called go by their chances.
func windows(ss []Start, b job.Bounds) []Window {
	var out []Window
	open := false
	for _, s := range ss {
		in := s.Sealed >= b.Go && s.RainOpen <= b.GoRainOpen
		switch {
		case in && open:
			out[len(out)-1].To = s.At
		case in:
			out = append(out, Window{s.At, s.At})
		}
		open = in
	}
	return out
}

// explain fills in what the best start is made of.
func (g *Ground) explain(day *Day, rs []result, live []int) {
	order := make([]int, 0, len(rs))
	var sealed []float64
	for k, r := range rs {
		if r.sealed {
			order = append(order, k)
			sealed = append(sealed, r.sealedAt)
		}
	}
	sort.SliceStable(order, func(a, b int) bool { return rs[order[a]].sealedAt < rs[order[b]].sealedAt })
	middle := 0 // without a seal, the control shows how far it comes
	if len(order) > 0 {
		middle = order[len(order)/2]
		day.SealedBy = g.at(quantile(sealed, 0.5))
		day.SealedByLate = g.at(quantile(sealed, 0.9))
	}
	r := rs[middle]
	for _, p := range r.passages[:r.count] {
		day.Stages = append(day.Stages, Span{p.stage, g.at(p.from), g.at(p.to), g.tightest(live[middle], p)})
	}
	day.Failing = failing(g, rs)
}

// tightest gives the check of a passage that leaves the least room, over the
// hours in which the crew was at work or the resin cured. The dry deck is a
// condition before the laminate, not a margin, so it is left out.
func (g *Ground) tightest(m int, p passage) Check {
	best := Check{Margin: math.Inf(1)}
	for i := int(p.bound); i < g.n && (i < int(math.Ceil(p.to)) || i == int(p.bound)); i++ {
		if g.fails[p.set][m][i]&^bitUnknown != 0 {
			continue // the crew stood by
		}
		for _, b := range g.profile.bounds(p.set) {
			if b.Limit == LimitDry {
				continue
			}
			v := g.members[m].value(b.Limit, i)
			c := Check{Limit: b.Limit, At: g.at(float64(i)), Value: round2(v), Bound: b.Value, Margin: round2(b.margin(v)), Unit: b.Unit}
			if v == v && Tighter(c, best) {
				best = c
			}
		}
	}
	if math.IsInf(best.Margin, 1) {
		return Check{Limit: LimitUnknown, At: g.at(p.bound)}
	}
	return best
}

func round2(x float64) float64 { return math.Round(x*100) / 100 }

// failing counts the members that each limit stopped, most first.
func failing(g *Ground, rs []result) []Failing {
	var out []Failing
	for _, r := range rs {
		if r.sealed {
			continue
		}
		from := g.at(math.Floor(r.causeAt))
		to := from.Add(time.Hour)
		i := 0
		for i < len(out) && out[i].Limit != r.cause {
			i++
		}
		if i == len(out) {
			out = append(out, Failing{Limit: r.cause, From: from, To: to})
		}
		f := &out[i]
		f.Members++
		if from.Before(f.From) {
			f.From = from
		}
		if to.After(f.To) {
			f.To = to
		}
	}
	sort.SliceStable(out, func(a, b int) bool { return out[a].Members > out[b].Members })
	return out
}

// Outturn lives a past day through the hours that are known to have been: what
// came of a roof that was begun at `start`, by a crew of the middle pace. known
// is false where hours are missing that it hangs on, and then nothing can be
// said.
func (g *Ground) Outturn(c Case, d job.Date, start time.Time) (sealed, full, rained, known bool) {
	p, ok := g.dayPlan(c, d)
	if !ok || len(g.members) == 0 {
		return false, false, false, false
	}
	if !g.known(0, g.hour(start), math.Min(p.sealBy, p.to)) {
		return false, false, false, false
	}
	past := *g
	past.slow = []float64{c.Profile.SlowMedian}
	r := past.walk(&p, 0, g.hour(start))
	if !r.sealed && r.cause == LimitUnknown {
		return false, false, false, false
	}
	return r.sealed, r.full, r.rainOpen, true
}
