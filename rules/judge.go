package rules

import (
	"cmp"
	"math"
	"slices"
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
	for m := range g.count {
		if g.known(m, starts[0], p.knownTo) {
			live = append(live, m)
		}
	}
	if day.Members = len(live); g.sent(live) < LeastMembers {
		day.Members = g.sent(live)
		return day
	}
	day.Basis = g.basis
	out := g.outcomes(&p, live, starts)
	day.Starts = make([]Start, 0, len(starts))
	for k, t := range starts {
		day.Starts = append(day.Starts, c.honest(share(out[k*len(live):(k+1)*len(live)], g.at(t))))
	}
	day.Best = bestOf(day.Starts, b)
	day.Windows = windows(day.Starts, b)
	g.explain(&day, &p, starts[day.Best], out[day.Best*len(live):(day.Best+1)*len(live)], live)
	day.NoReturn = g.at(p.noReturn)
	day.NoReturnMedian = g.at(max(p.workEnd-c.needAt(p.bay, c.Profile.SlowMedian), p.noReturn))
	g.sky(&day, &p, starts[day.Best], live)
	g.coatLatest(&day, &p)
	return day
}

// coatLatest says until when a roof that is laid on the day is topcoated. On the
// day itself the careful pace must be done by the end of work, and the topcoat
// rain-proof before rain becomes likely. Where the middle member finds no time
// for it that day, neither is said of the day, only how long the overcoat window
// lasts.
func (g *Ground) coatLatest(day *Day, p *dayPlan) {
	if p.bay.Task == Coat || day.SealedBy.IsZero() {
		return
	}
	hour := float64(time.Hour)
	day.OvercoatBy = day.SealedBy.Add(time.Duration(p.c.Profile.OvercoatHours * hour))
	k := slices.IndexFunc(day.Stages, func(s Span) bool { return s.Stage == TopcoatCure })
	if k < 1 {
		return
	}
	coat, cure := day.Stages[k-1], day.Stages[k]
	work := time.Duration(p.c.Profile.careful() * (p.nominal.sand + p.nominal.topcoat) * hour)
	latest := g.at(p.workEnd).Add(-work)
	if dry := day.RainFrom.Add(-work - cure.To.Sub(cure.From)); !day.RainFrom.IsZero() && dry.Before(latest) {
		latest = dry
	}
	if latest.Before(coat.From) {
		latest = coat.From
	}
	day.CoatBy = latest
}

// sent gives of how many members that the source sent those of `live` are made.
func (g *Ground) sent(live []int) int { return sentBy(g.ahead.Parents, live) }

// sentBy does so by a run's number of parents: dressing makes no more of a
// forecast than it knows. A lone run that was dressed counts as its dressed
// members: it is one by nature and not for a fault.
func sentBy(parents int, live []int) int {
	if parents < 2 {
		return len(live)
	}
	seen, count := make([]bool, parents), 0
	for _, m := range live {
		if !seen[m%parents] {
			seen[m%parents] = true
			count++
		}
	}
	return count
}

// outcomes lives the day in every member from every start: member k's from
// start s stands at s*len(live)+k. Starts that wait for the same moment have
// the same outcome.
func (g *Ground) outcomes(p *dayPlan, live []int, starts []float64) []outcome {
	out := make([]outcome, len(starts)*len(live))
	for k, m := range live {
		w := newWalker(g, p, m)
		begun, last := math.NaN(), outcome{}
		for s, t := range starts {
			w.arrive(t)
			if !w.await() {
				continue
			}
			if w.t != begun {
				begun = w.t
				last = w.outcome()
			}
			out[s*len(live)+k] = last
		}
	}
	return out
}

// share counts the members.
func share(rs []outcome, at time.Time) Start {
	s, n := Start{At: at}, float64(len(rs))
	for i := range rs {
		if rs[i].sealed {
			s.Sealed++
		}
		if rs[i].full {
			s.Full++
		}
		if rs[i].rainOpen {
			s.RainOpen++
		}
	}
	s.Sealed, s.Full, s.RainOpen = s.Sealed/n, s.Full/n, s.RainOpen/n
	return s
}

// forGo is how much of the best start's chance may be given up for a start that would
// be called go: a chance is hardly known better than to a twentieth. Ours, no source.
const forGo = 0.05

// bestOf gives the best start. Where it would not be called go by its chances and
// another would that is as likely but for a twentieth, it is that one: else a roof is
// put on hold for an hour with a better chance of its topcoat and too great a risk of
// rain, though it could be laid at another.
func bestOf(ss []Start, b job.Bounds) int {
	best := nearlyBest(ss, func(Start) bool { return true })
	if best < 0 || ss[best].Within(b) {
		return best
	}
	least := ss[best].Sealed - forGo
	if other := nearlyBest(ss, func(s Start) bool { return s.Within(b) && s.Sealed >= least }); other >= 0 {
		return other
	}
	return best
}

// nearlyBest gives the earliest of the starts that count which are nearly as good as the
// best of them: rain on an open roof costs as much as a seal gains, and a topcoat on the
// day counts a quarter. Nearly means within a fiftieth, so that a crew is not sent late
// for the noise of one member in a hundred. It is -1 where none counts.
func nearlyBest(ss []Start, counts func(Start) bool) int {
	worth := func(s Start) float64 { return s.Sealed - s.RainOpen + s.Full/4 }
	top := math.Inf(-1)
	for _, s := range ss {
		if counts(s) {
			top = math.Max(top, worth(s))
		}
	}
	return slices.IndexFunc(ss, func(s Start) bool { return counts(s) && worth(s) >= top-0.02 })
}

// windows gives the ranges of starts that would be called go by their chances.
func windows(ss []Start, b job.Bounds) []Window {
	var out []Window
	open := false
	for _, s := range ss {
		in := s.Within(b)
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

// explain fills in what the best start is made of. Only what is shown is lived
// again in full: the middle member, and those that fail.
func (g *Ground) explain(day *Day, p *dayPlan, start float64, rs []outcome, live []int) {
	order := make([]int, 0, len(rs))
	sealed := make([]float64, 0, len(rs))
	var failed tally
	for k := range rs {
		if rs[k].sealed {
			order = append(order, k)
			sealed = append(sealed, rs[k].sealedAt)
		} else {
			r := g.walk(p, live[k], start)
			failed.add(g, &r)
		}
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rs[a].sealedAt, rs[b].sealedAt) })
	middle := 0 // without a seal, the control shows how far it comes
	if len(order) > 0 {
		middle = order[len(order)/2]
		day.SealedBy = g.at(quantile(sealed, 0.5))
		day.SealedByLate = g.at(quantile(sealed, 0.9))
	}
	r := g.walk(p, live[middle], start)
	for _, x := range r.passages[:r.count] {
		day.Stages = append(day.Stages, Span{x.stage, g.at(x.from), g.at(x.to), g.tightest(live[middle], x)})
		if x.stage == Cure || x.stage == TopcoatCure {
			day.CureBeyond = day.CureBeyond || g.beyondGel(live[middle], x.from, x.to)
		}
	}
	day.Failing = failed.sorted()
}

// tightest gives the check of a passage that leaves the least room, over the
// hours in which the crew was at work or the resin cured. The dry deck is a
// condition before the laminate, not a margin, so it is left out.
func (g *Ground) tightest(m int, p passage) Check {
	best := Check{Margin: math.Inf(1)}
	for i := int(p.bound); i < g.n && (i < int(math.Ceil(p.to)) || i == int(p.bound)); i++ {
		if g.limits.mask(p.set, m, i)&^bitUnknown != 0 {
			continue // the crew stood by
		}
		for _, b := range g.profile.bounds(p.set) {
			if b.Limit == LimitDry {
				continue
			}
			v := g.value(b.Limit, m, i)
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

// tally counts the members that each limit stopped.
type tally []Failing

func (x *tally) add(g *Ground, r *result) {
	from := g.at(math.Floor(r.causeAt))
	to := from.Add(time.Hour)
	k := slices.IndexFunc(*x, func(f Failing) bool { return f.Limit == r.cause })
	if k < 0 {
		k = len(*x)
		*x = append(*x, Failing{Limit: r.cause, From: from, To: to})
	}
	f := &(*x)[k]
	f.Members++
	if from.Before(f.From) {
		f.From = from
	}
	if to.After(f.To) {
		f.To = to
	}
}

// sorted gives the limits that stopped most members first.
func (x tally) sorted() []Failing {
	slices.SortStableFunc(x, func(a, b Failing) int { return cmp.Compare(b.Members, a.Members) })
	return x
}

// Outturn lives a past day through the hours that are known to have been: what
// came of a roof that was begun at `start`, by a crew of the middle pace. known
// is false where hours are missing that it hangs on, and then nothing can be
// said. Whether the deck will be too hot is asked of the forecast before the roof
// is opened, never of the day itself: opened says that the forecast had let the
// crew open it. Without, the day's own heat decides, as if it had been foreseen.
func (g *Ground) Outturn(c Case, d job.Date, start time.Time, opened bool) (sealed, full, rained, known bool) {
	c.Slow = c.Profile.SlowMedian
	p, ok := g.dayPlan(c, d)
	if !ok || g.count == 0 {
		return false, false, false, false
	}
	if !g.known(0, g.hour(start), math.Min(p.sealBy, p.to)) {
		return false, false, false, false
	}
	past := *g
	if opened {
		past.hot = make([]bool, g.n)
	}
	r := past.walk(&p, 0, g.hour(start))
	if !r.sealed && r.cause == LimitUnknown {
		return false, false, false, false
	}
	return r.sealed, r.full, r.rainOpen, true
}
