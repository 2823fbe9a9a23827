package scheduler

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
	"laycast/scheduler/task"
)

// week turns a solution back into dates and words, and changes the visits it
// moves. far are places of jobs that it leaves out, by usual weather.
func (p *planner) week(sol plan.Plan, far map[string]plan.Placing) plan.Week {
	w := p.w
	week := plan.Week{
		ID: w.now.UTC().Format("20060102T150405Z"), Made: w.now,
		Objective: job.Money(sol.Objective), Bound: job.Money(sol.Bound), Gap: sol.Gap(), Proven: sol.Proven,
		Visits: []plan.WeekVisit{}, Left: append([]plan.WeekLeft{}, p.left...), Changes: []plan.WeekChange{}, Sources: w.used,
	}
	was := map[string]job.Date{}
	if w.book.Week != nil {
		for _, v := range w.book.Week.Visits {
			if len(v.Days) > 0 {
				was[v.Job] = v.Days[0]
			}
		}
	}
	byJob := map[string]candidate{}
	for _, c := range p.cands {
		byJob[c.visit.Job] = c
	}
	worth := plan.Value(p.in, sol)
	week.CrewDays = p.crewDays(worth)
	for _, pl := range withFar(sol, far) {
		c := byJob[pl.Job]
		v := p.settle(c, pl)
		days := v.Days[v.Done:]
		x := plan.WeekVisit{
			Job: v.Job, N: v.N, Crew: v.Crew, Days: days, Start: v.Start, Slot: v.Slot, Told: v.Told,
			Pinned: p.pinned(c.booking) && c.booking.Pinned.Day == days[0],
		}
		if _, ok := far[pl.Job]; !ok {
			x.Adds = p.adds(worth, pl.Job)
		}
		p.giveChance(&x, c, pl)
		week.Visits = append(week.Visits, x)
		if from := was[pl.Job]; from != days[0] && !c.fixed {
			week.Changes = append(week.Changes, plan.WeekChange{Job: pl.Job, From: from, To: days[0], Reason: p.why(c, from)})
		}
	}
	for _, l := range sol.Left {
		if _, ok := far[l.Job]; ok {
			continue
		}
		c := byJob[l.Job]
		p.unplace(c)
		words := p.leftWords(c.booking, l.Reason) + p.waits(c.booking)
		week.Left = append(week.Left, plan.WeekLeft{Job: l.Job, Reason: words})
		if from := was[l.Job]; !from.IsZero() && !from.Before(p.day0) {
			week.Changes = append(week.Changes, plan.WeekChange{Job: l.Job, From: from, Reason: p.why(c, from)})
		}
	}
	sortLeft(week.Left)
	return week
}

// giveChance fills in the chance of a visit's first day, and what it rests on.
func (p *planner) giveChance(x *plan.WeekVisit, c candidate, pl plan.Placing) {
	hands := p.w.crew(pl.Crew).Size
	day, start := c.days[hands][x.Days[0]], p.start(c, hands, x.Days[0], pl.Slot, pl.HalfDays)
	x.Chance, x.RainOpen, x.Basis = start.Sealed, start.RainOpen, string(cmp.Or(day.Basis, rules.FromNothing))
	if day.Basis == rules.FromClimate {
		x.Chance = day.Climate
	}
}

// settle gives the visit its place, and records it where it is new.
func (p *planner) settle(c candidate, pl plan.Placing) job.Visit {
	v := c.visit
	if c.fixed {
		return v
	}
	days := append([]job.Date{}, v.Days[:v.Done]...)
	for _, d := range pl.Days {
		days = append(days, p.day0.AddDays(d))
	}
	start := p.clock(p.start(c, p.w.crew(pl.Crew).Size, days[v.Done], pl.Slot, pl.HalfDays))
	if v.Crew == pl.Crew && slices.Equal(v.Days, days) && v.Start == start && v.Slot == pl.Slot {
		return v
	}
	v.Crew, v.Days, v.Start, v.Slot = pl.Crew, days, start, pl.Slot
	p.w.setVisit(v)
	return v
}

// unplace takes a visit's place away.
func (p *planner) unplace(c candidate) {
	v := c.visit
	if c.fixed || len(v.Days) == v.Done {
		return
	}
	v.Crew, v.Days = "", v.Days[:v.Done]
	p.w.setVisit(v)
}

// why says in words why a visit does not stand where it stood.
func (p *planner) why(c candidate, from job.Date) string {
	if from.IsZero() {
		return "a place was found"
	}
	switch b := c.booking; {
	case b.Forbids(from):
		return "you forbade " + from.Words()
	case b.Unsuits(from):
		return from.Words() + " does not suit its customer"
	case p.pinned(b) && b.Pinned.Day != from:
		return "you pinned it to " + b.Pinned.Day.Words()
	}
	if k := p.w.standing(c.visit.Job, from); k != nil && k.Outcome == call.NoGo {
		return "it was no-go on " + from.Words()
	}
	// of the crew that it stood with; else of the first that could come
	for _, k := range append([]job.Crew{p.w.crew(c.visit.Crew)}, p.w.book.Crews...) {
		if day := c.days[k.Size][from]; day.Basis.Foreseen() && day.Known() {
			return fmt.Sprintf("its chance on %s is now %.0f %%", from.Words(), day.Starts[day.Best].Sealed*100)
		}
	}
	return "the week as a whole gains by it"
}

// leftWords says why a job has no place.
func (p *planner) leftWords(b job.Booking, r plan.Reason) string {
	words := leftWords(r)
	if p.pinned(b) {
		words = "you pinned it to " + b.Pinned.Day.Words() + ", where it cannot stand: " + p.pinWords(b, r)
	}
	return words
}

// pinWords says why a pin cannot be kept.
func (p *planner) pinWords(b job.Booking, r plan.Reason) string {
	switch {
	case b.Pinned.Day.DaysSince(p.day0) >= horizon:
		return fmt.Sprintf("the plan does not reach further than %d days", horizon)
	case r == plan.NoRoom:
		return "something else that is pinned or called stands there"
	case r == plan.NoDay:
		return "no crew is free to work on every day it takes"
	}
	return leftWords(r)
}

func leftWords(r plan.Reason) string {
	switch r {
	case plan.NoCrew:
		return "no crew has the skill or the hands for it"
	case plan.NoDay:
		return "no day that the forecast reaches lies between its earliest and its last date with a crew free to work"
	case plan.NotWorth:
		return "on every day within reach the chance is too poor to be worth opening the roof"
	case plan.NoRoom:
		return "other jobs are worth more on every day it could take"
	case plan.TooLong:
		return "it takes longer than the days that are left for it"
	}
	return "its place is not possible as it stands; please look at it"
}

// setVisit changes a visit in the book at hand and in the decision.
func (w *work) setVisit(v job.Visit) {
	same := func(x job.Visit) bool { return x.Job == v.Job && x.N == v.N }
	for _, list := range []*[]job.Visit{&w.book.Visits, &w.out.Visits} {
		if i := slices.IndexFunc(*list, same); i >= 0 {
			(*list)[i] = v
		} else {
			*list = append(*list, v)
		}
	}
}

// setBooking changes a job in the book at hand and in the decision.
func (w *work) setBooking(b job.Booking) {
	same := func(x job.Booking) bool { return x.ID == b.ID }
	for _, list := range []*[]job.Booking{&w.book.Jobs, &w.out.Bookings} {
		if i := slices.IndexFunc(*list, same); i >= 0 {
			(*list)[i] = b
		} else {
			*list = append(*list, b)
		}
	}
}

// addCall puts a call into the book at hand and into the decision.
func (w *work) addCall(c call.Call) {
	w.book.Calls = append(w.book.Calls, c)
	w.out.Calls = append(w.out.Calls, c)
	if c.Outcome == call.Go && c.Date == w.today() {
		w.armWatch()
	}
}

// Week works out the plan as it would be made now from a book and the issues of
// its cells, with the visits it would change, and stores nothing.
func (s *Scheduler) Week(b ledger.Book, issues map[forecast.Cell]forecast.Issue, now time.Time) (plan.Week, []job.Visit, error) {
	b.Visits = slices.Clone(b.Visits)
	w, err := s.open(b, task.Task{Firm: b.Firm.UID, Name: task.Replan, Due: now, Slot: now}, now)
	if err != nil {
		return plan.Week{}, nil, err
	}
	p, err := newPlanner(w, issues)
	if err != nil {
		return plan.Week{}, nil, err
	}
	sol, err := p.solve()
	if err != nil {
		return plan.Week{}, nil, err
	}
	far, err := p.pencil(sol)
	if err != nil {
		return plan.Week{}, nil, err
	}
	return p.week(sol, far), w.out.Visits, nil
}
