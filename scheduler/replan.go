package scheduler

import (
	"context"
	"fmt"
	"math"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/plan"
)

// horizon is how many days a plan looks ahead.
const horizon = 14

// members is the denominator in which chances enter the plan.
const members = 1000

// replanTask makes a new plan after news.
func (w *work) replanTask(ctx context.Context) error {
	w.out.Next.Due = w.now.AddDate(1, 0, 0)
	w.out.Next.Slot = w.out.Next.Due
	if err := w.replan(ctx); err != nil {
		return err
	}
	return w.publish()
}

// replan plans the days to come from the book as this task leaves it, and puts
// the plan and the visits it changes into the decision.
func (w *work) replan(ctx context.Context) error {
	is, err := w.issues(ctx)
	if err != nil {
		return err
	}
	p, err := newPlanner(w, is)
	if err != nil {
		return err
	}
	sol, err := p.solve()
	if err != nil {
		return err
	}
	far, err := p.pencil(sol)
	if err != nil {
		return err
	}
	week := p.week(sol, far)
	w.out.Week = &week
	return nil
}

// worthIt is the least gain for which visits are moved at all: 20 in the firm's
// currency, so that chances that jitter do not move people. Ours, no source.
const worthIt = 2000

// solve finds the plan, checks it by the rules alone, and keeps the one that
// stands where the new one hardly gains.
func (p *planner) solve() (plan.Plan, error) {
	sol := plan.Solve(p.in)
	if err := plan.Check(p.in, sol); err != nil {
		return sol, fmt.Errorf("the plan breaks a rule, so it is not used: %w", err)
	}
	return plan.Keep(p.in, p.standing(false), sol, worthIt), nil
}

// standing gives the placings as the visits have them now: those of the plan, or
// those that are pencilled in beyond the forecast.
func (p *planner) standing(pencilled bool) []plan.Placing {
	var out []plan.Placing
	for i, c := range p.cands {
		days := c.visit.Days[c.visit.Done:]
		if len(days) == 0 || p.pencilled(c) != pencilled {
			continue
		}
		v := plan.Placing{Job: c.visit.Job, Crew: c.visit.Crew, Slot: c.visit.Slot, Day: days[0].DaysSince(p.day0)}
		v.HalfDays = p.in.Jobs[i].Ways[p.w.crew(c.visit.Crew).Size].HalfDays
		for _, d := range days {
			v.Days = append(v.Days, d.DaysSince(p.day0))
		}
		out = append(out, v)
	}
	return out
}

// candidate is a visit that a plan may place.
type candidate struct {
	visit   job.Visit
	booking job.Booking // as it will stand when the visit comes
	days    map[int]map[job.Date]rules.Day
	fixed   bool
}

// planner turns the book into numbers and the numbers back into a week.
type planner struct {
	w      *work
	issues map[forecast.Cell]forecast.Issue
	day0   job.Date // tomorrow
	free   job.Date // first day on which something new may stand
	cands  []candidate
	left   []plan.WeekLeft
	in     plan.Input
	origin job.Point
}

func newPlanner(w *work, is map[forecast.Cell]forecast.Issue) (*planner, error) {
	p := &planner{w: w, issues: is, day0: w.today().AddDays(1)}
	var err error
	if p.free, err = w.free(); err != nil {
		return nil, err
	}
	p.frame()
	for _, v := range w.book.Visits {
		p.consider(v)
	}
	errs := make([]error, len(p.cands))
	p.in.Jobs = make([]plan.Job, len(p.cands))
	sideBySide(len(p.cands), func(i int) {
		p.in.Jobs[i], errs[i] = p.number(&p.cands[i])
	})
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	p.crowd()
	return p, nil
}

// free gives the first day on which something new may stand: tomorrow, or, when
// tomorrow's calls are out, the day after.
func (w *work) free() (job.Date, error) {
	callAt, err := next(w.book.Firm.Times.Call, job.Instant(w.today(), 0, w.zone).Add(-time.Second), w.zone)
	if err != nil {
		return job.Date{}, err
	}
	if w.now.Before(callAt) {
		return w.today().AddDays(1), nil
	}
	return w.today().AddDays(2), nil
}

// frame fills in what does not depend on the jobs: days, crews, costs.
func (p *planner) frame() {
	f := p.w.book.Firm
	p.in = plan.Input{Days: horizon, M: members, Costs: costs(f.Costs)}
	for i := range horizon {
		p.in.Working = append(p.in.Working, f.Work.Working(p.day0.AddDays(i)))
	}
	if len(p.w.book.Crews) > 0 {
		p.origin = p.w.book.Crews[0].Depot
	}
	for _, c := range p.w.book.Crews {
		k := plan.Crew{ID: c.ID, Size: c.Size, Skills: c.Skills, Depot: p.place(c.Depot)}
		for i := range horizon {
			k.Off = append(k.Off, c.Away(p.day0.AddDays(i)))
		}
		p.in.Crews = append(p.in.Crews, k)
	}
}

func costs(c job.Costs) plan.Costs {
	out := plan.Costs{ShortNotice: int64(c.ShortNotice), PerKm: int64(c.Km), PairMaxHm: int64(math.Round(c.PairKm * 10)),
		// a morning for an afternoon, and a date taken away with no new one: a
		// quarter of a short notice, and two of them; ours, no source
		SwapSlot: int64(c.ShortNotice) / 4, Unplace: 2 * int64(c.ShortNotice),
	}
	for _, t := range c.Move {
		out.Move = append(out.Move, plan.Tier{Days: t.Days, Cost: int64(t.Cost)})
	}
	return out
}

// place puts a point on the flat map around the first depot, in hectometres. A
// degree of latitude is 111.2 km on the mean sphere; over a firm's reach the
// flat map is right to well under a per cent.
func (p *planner) place(x job.Point) plan.Place {
	const perDegree = 1112
	return plan.Place{
		X: int64(math.Round((x.Lon - p.origin.Lon) * perDegree * math.Cos(p.origin.Lat*math.Pi/180))),
		Y: int64(math.Round((x.Lat - p.origin.Lat) * perDegree)),
	}
}

// consider makes a candidate of a visit, or says why it is not one.
func (p *planner) consider(v job.Visit) {
	b, ok := p.w.booking(v.Job)
	if !ok || b.State != job.Booked || (v.State != job.Planned && v.State != job.Started) {
		return
	}
	first := v.First()
	if !first.IsZero() && first.Before(p.day0) {
		// under way, or waiting to be closed: what is left of it may follow
		for v.Done < len(v.Days) && v.First().Before(p.day0) {
			v.Done++
		}
		if v.Done == len(v.Days) {
			if b.Asked {
				p.left = append(p.left, plan.WeekLeft{Job: b.ID, Reason: unplannable(b)})
			}
			return
		}
		first = v.First()
	}
	if v.Declined && first.IsZero() {
		p.left = append(p.left, plan.WeekLeft{Job: b.ID, Reason: "you said no to its new date; please settle one with the customer"})
		return
	}
	if why := unplannable(b); why != "" && first.IsZero() {
		p.left = append(p.left, plan.WeekLeft{Job: b.ID, Reason: why})
		return
	}
	b = p.w.underWay(b, p.day0)
	c := candidate{visit: v, booking: b, days: map[int]map[job.Date]rules.Day{}}
	k := p.w.standing(b.ID, first)
	overruled := b.Forbids(first) || b.Unsuits(first) || p.pinned(b) && b.Pinned.Day != first // the owner may move what is frozen
	frozen := first == v.Told && first.DaysSince(p.w.today()) <= p.w.book.Firm.Notice && !overruled
	c.fixed = !first.IsZero() && (first.Before(p.free) || frozen || (k != nil && k.Outcome != call.NoGo) || v.Done > 0)
	p.cands = append(p.cands, c)
}

// unplannable says in words why a job is kept out of every plan; "" when it is
// not.
func unplannable(b job.Booking) string {
	switch {
	case b.Asked:
		return "waiting for word on how its last day went"
	case b.Held != "":
		return "on hold: " + b.Held
	case b.HoldReason != "":
		return "on hold: " + b.HoldReason
	}
	return ""
}

// number turns a candidate into the plan's numbers. It changes the candidate alone:
// candidates are numbered side by side.
func (p *planner) number(c *candidate) (plan.Job, error) {
	b, f := c.booking, p.w.book.Firm
	j := plan.Job{
		ID: b.ID, At: p.place(job.Point{Lat: b.Site.Lat, Lon: b.Site.Lon}), Skill: b.Skill,
		Earliest: max(b.Earliest.DaysSince(p.day0), p.free.DaysSince(p.day0)),
		Promised: b.Promised.DaysSince(p.day0), Deadline: b.Deadline.DaysSince(p.day0),
		Ways: map[int]plan.Way{}, Moves: c.visit.Moves,
	}
	if err := p.price(&j, b, f.Costs); err != nil {
		return j, err
	}
	for _, d := range append(append([]job.Date{}, b.Blackout...), b.Forbidden...) {
		j.Blackout = append(j.Blackout, d.DaysSince(p.day0))
	}
	if !c.visit.Told.IsZero() {
		j.Current = &plan.Told{Day: c.visit.Told.DaysSince(p.day0), Slot: c.visit.Slot}
	}
	if p.pinned(b) {
		j.Pin = &plan.Pin{Day: b.Pinned.Day.DaysSince(p.day0), Crew: b.Pinned.Crew}
	}
	if c.fixed {
		j.Fixed = &plan.Fixed{Crew: c.visit.Crew, Day: c.visit.First().DaysSince(p.day0), Slot: c.visit.Slot}
	}
	for _, k := range p.w.book.Crews {
		if _, done := j.Ways[k.Size]; done {
			continue
		}
		way, err := p.way(c, k.Size)
		if err != nil {
			return j, err
		}
		if way.HalfDays > 0 {
			j.Ways[k.Size] = way
		}
	}
	if !c.fixed && p.likely(c) {
		j.Moves += promised
	}
	return j, nil
}

// promised is how many times over the price of moving a told date is doubled
// while its day is likely: a date is a promise, and moves for the weather, not
// to make room. Without it one job in two was moved (docs/plan.md). Ours, no source.
const promised = 3

// likely reports whether the date that a customer was told still stands in the
// plan, on a day that would not be called off by the chances of now.
func (p *planner) likely(c *candidate) bool {
	v, b := c.visit, p.w.book.Firm.Bounds
	if v.Told.IsZero() || v.First() != v.Told {
		return false
	}
	s, ok := c.days[p.w.crew(v.Crew).Size][v.Told].BestStart()
	return ok && s.Sealed >= b.NoGo && s.RainOpen <= b.NoGoRain
}
