package scheduler

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
	"laycast/scheduler/task"
)

// Why works out the plan as it would be made now and asks it about one job. It
// stores nothing.
func (s *Scheduler) Why(b ledger.Book, issues map[forecast.Cell]forecast.Issue, now time.Time, id string) (plan.JobWhy, error) {
	b.Visits = slices.Clone(b.Visits)
	w, err := s.open(b, task.Task{Firm: b.Firm.UID, Name: task.Replan, Due: now, Slot: now}, now)
	if err != nil {
		return plan.JobWhy{}, err
	}
	bk, ok := w.booking(id)
	if !ok {
		return plan.JobWhy{}, fmt.Errorf("there is no job %q; laycast job list shows all", id)
	}
	p, err := newPlanner(w, issues)
	if err != nil {
		return plan.JobWhy{}, err
	}
	i := slices.IndexFunc(p.cands, func(c candidate) bool { return c.visit.Job == id })
	if i < 0 {
		return plan.JobWhy{Job: id, Stands: p.outside(bk), Days: []plan.WhyDay{}}, nil
	}
	sol, err := p.solve()
	if err != nil {
		return plan.JobWhy{}, err
	}
	a, err := plan.Why(p.in, sol, id)
	if err != nil {
		return plan.JobWhy{}, err
	}
	y := p.whyJob(i, sol, a)
	far, err := p.pencil(sol)
	if err != nil {
		return plan.JobWhy{}, err
	}
	if pl, ok := far[id]; ok {
		y.Stands += " But " + p.byUsualWeather(p.day0.AddDays(pl.Day)) + "."
	}
	return y, nil
}

// outside says why a job is none of the plan's.
func (p *planner) outside(b job.Booking) string {
	if b.State != job.Booked {
		return "the job is " + string(b.State)
	}
	for _, l := range p.left {
		if l.Job == b.ID {
			return "not planned: " + l.Reason
		}
	}
	return "its visit is under way"
}

// whyJob puts the answer about a candidate into dates and words.
func (p *planner) whyJob(i int, sol plan.Plan, a plan.Answer) plan.JobWhy {
	c := p.cands[i]
	y := plan.JobWhy{Job: c.visit.Job, Days: []plan.WhyDay{}}
	var now plan.Placing
	if k := slices.IndexFunc(sol.Placings, func(v plan.Placing) bool { return v.Job == y.Job }); k >= 0 {
		now = sol.Placings[k]
		chance := p.start(c, p.w.crew(now.Crew).Size, p.day0.AddDays(now.Day), now.Slot, now.HalfDays).Sealed
		y.Day, y.Crew, y.Chance = p.day0.AddDays(now.Day), now.Crew, &chance
		y.Adds = priceOf(a.Adds)
	}
	for _, t := range a.Days {
		y.Days = append(y.Days, p.whyDay(c, y, now, t))
	}
	y.Stands = p.stands(c, y, sol)
	if y.Day.IsZero() {
		y.Needs = p.wanting(y)
	}
	return y
}

func priceOf(x plan.Price) *plan.WeekPrice {
	return &plan.WeekPrice{Amount: job.Money(x.Cents), Exact: x.Exact}
}

// stands says where a candidate stands, and why it does.
func (p *planner) stands(c candidate, y plan.JobWhy, sol plan.Plan) string {
	b := c.booking
	if y.Day.IsZero() {
		for _, l := range sol.Left {
			if l.Job == b.ID {
				return "It has no place: " + p.leftWords(b, l.Reason) + p.waits(b) + "."
			}
		}
	}
	words := fmt.Sprintf("It stands on %s with %s, chance %.0f %%.", y.Day.Words(), p.w.crew(y.Crew).Name, 100**y.Chance)
	switch {
	case c.visit.Done > 0:
		words += " The roof is begun, and the crew goes on with it."
	case c.fixed && p.w.called(b.ID, y.Day):
		words += " The crew is called, and only a second look changes that."
	case c.fixed:
		words += " It is too near to be moved: only a no-go, a pin or a forbidden day does."
	case p.pinned(b):
		words += " You pinned it there."
	default:
		words += " " + p.best(y)
	}
	if b.AskFirst {
		words += " A new date is told to its customer only when you say yes."
	}
	return words
}

// best says how the day compares with the next best one.
func (p *planner) best(y plan.JobWhy) string {
	next := -1
	for i, d := range y.Days {
		if d.Can && !d.Here && (next < 0 || d.Cost.Amount < y.Days[next].Cost.Amount) {
			next = i
		}
	}
	if next < 0 {
		return "No other day could take it."
	}
	d := y.Days[next]
	if d.Cost.Amount <= 0 {
		return fmt.Sprintf("%s would be as good.", d.Day.Words())
	}
	return fmt.Sprintf("It is worth most there: the next best day, %s, would cost %s.", d.Day.Words(), p.money(d.Cost.Amount))
}

// wanting says what would give a job a place that has none.
func (p *planner) wanting(y plan.JobWhy) string {
	best := -1
	for i, d := range y.Days {
		if d.Can && (best < 0 || d.Cost.Amount < y.Days[best].Cost.Amount) {
			best = i
		}
	}
	if best < 0 {
		return "No day within reach could take it, whatever it were worth."
	}
	d := y.Days[best]
	words := fmt.Sprintf("It would have a place on %s if it were worth %s more", d.Day.Words(), p.money(max(0, d.Cost.Amount)))
	if d.Needed != nil {
		words += fmt.Sprintf(", or if its chance there were %.0f %% (it is %.0f %%)", 100**d.Needed, 100**d.Chance)
	}
	return words + "."
}

// whyDay puts one day into words.
func (p *planner) whyDay(c candidate, y plan.JobWhy, now plan.Placing, t plan.Try) plan.WhyDay {
	d := plan.WhyDay{Day: p.day0.AddDays(t.Day)}
	d.Here = d.Day == y.Day
	switch why := p.closed(c, d.Day, t); {
	case d.Here:
		d.Can, d.Crew, d.Chance, d.Cost = true, y.Crew, y.Chance, &plan.WeekPrice{Exact: true}
		d.Words = "it stands here"
		return d
	case why != "":
		d.Words = why
		return d
	}
	chance := p.start(c, p.w.crew(t.Placing.Crew).Size, d.Day, t.Placing.Slot, t.Placing.HalfDays).Sealed
	d.Can, d.Crew, d.Chance, d.Cost = true, t.Placing.Crew, &chance, priceOf(t.Cost)
	d.Own, d.Move, d.Others = job.Money(t.Own), job.Money(t.Move), job.Money(t.Cost.Cents-t.Own)
	if t.Needs > 0 {
		n := float64(t.Needs) / members
		d.Needed = &n
	}
	d.Words = p.costWords(d, y, t)
	return d
}

// closed says why a candidate cannot begin on a day; "" where it can.
func (p *planner) closed(c candidate, d job.Date, t plan.Try) string {
	b := c.booking
	switch {
	case c.fixed:
		return "it is not to be moved now"
	case !p.in.Working[t.Day]:
		return "nobody works"
	case d.Before(p.free):
		return "its calls are out"
	case barred(b, d):
		return barredWords(b, d)
	case t.Can:
		return ""
	case t.Reason == plan.NoRoom:
		return "something pinned stands there"
	case t.Reason == plan.NoDay && p.unsure(c, d):
		return "its customer holds " + c.visit.Told.Words() + ", and this day could not be told in its place: too near, or not likely enough"
	case t.Reason == plan.NoDay && !p.reached(c, d):
		return p.unreached(c, d)
	case t.Reason == plan.NoDay:
		return "no crew is free that could begin it"
	}
	return leftWords(t.Reason)
}

// reached reports whether the forecast gives a chance on a day.
func (p *planner) reached(c candidate, d job.Date) bool {
	for _, days := range c.days {
		if days[d].Basis.Foreseen() {
			return true
		}
	}
	return false
}

// unsure reports whether a day is out because the customer holds another.
func (p *planner) unsure(c candidate, d job.Date) bool {
	for _, days := range c.days {
		if day, ok := days[d]; ok && p.mayTell(c.visit, d, day) {
			return false
		}
	}
	return p.reached(c, d)
}

// costWords says what a day would cost and why.
func (p *planner) costWords(d plan.WhyDay, y plan.JobWhy, t plan.Try) string {
	words := p.w.crew(d.Crew).Name + ": "
	switch amount := d.Cost.Amount; {
	case amount > 0:
		words += "costs " + p.money(amount)
	case amount == 0:
		words += "as good as the plan"
	default:
		words += fmt.Sprintf("would gain %s, too little to move anybody", p.money(-amount))
	}
	if !d.Cost.Exact {
		words += " at the most"
	}
	var parts []string
	chance := fmt.Sprintf("its chance is %.0f %%", 100**d.Chance)
	if y.Chance != nil {
		chance += fmt.Sprintf(" instead of %.0f %%", 100**y.Chance)
	}
	parts = append(parts, chance)
	if d.Own != 0 {
		parts = append(parts, fmt.Sprintf("it earns %s %s", p.money(max(d.Own, -d.Own)), lessOrMore(d.Own)))
	}
	if d.Move > 0 {
		parts = append(parts, "moving its told date, "+p.money(d.Move)+", is counted in")
	}
	if d.Others != 0 {
		parts = append(parts, fmt.Sprintf("the others earn %s %s", p.money(max(d.Others, -d.Others)), lessOrMore(d.Others)))
	}
	for _, s := range t.Shifts {
		parts = append(parts, p.shiftWords(s))
	}
	return words + ": " + strings.Join(parts, "; ")
}

func lessOrMore(cost job.Money) string {
	if cost < 0 {
		return "more"
	}
	return "less"
}

// shiftWords says where another job would go.
func (p *planner) shiftWords(s plan.Shift) string {
	day := func(d int) string { return p.day0.AddDays(d).Words() }
	b, _ := p.w.booking(s.Job)
	name := fmt.Sprintf("%s (%s)", b.Title, s.Job)
	switch {
	case s.To < 0:
		return name + " loses its place on " + day(s.From)
	case s.From < 0:
		return name + " gets a place on " + day(s.To)
	}
	return fmt.Sprintf("%s goes from %s to %s", name, day(s.From), day(s.To))
}

func (p *planner) money(m job.Money) string { return m.Words(p.w.book.Firm.Costs.Currency) }

// adds gives what a job adds to the plan.
func (p *planner) adds(w plan.Worth, id string) *plan.WeekPrice {
	i := slices.IndexFunc(p.in.Jobs, func(j plan.Job) bool { return j.ID == id })
	return priceOf(w.Jobs[i])
}

// crewDays gives the price of every crew's day that has one.
func (p *planner) crewDays(w plan.Worth) []plan.CrewDay {
	var out []plan.CrewDay
	for k, days := range w.Days {
		for d, x := range days {
			if x.Cents > 0 {
				out = append(out, plan.CrewDay{Crew: p.in.Crews[k].ID, Day: p.day0.AddDays(d), Cost: *priceOf(x)})
			}
		}
	}
	return out
}
