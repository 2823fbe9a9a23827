package scheduler

import (
	"math"
	"sort"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/plan"
)

// way gives how a crew of so many hands would do the candidate, with its odds
// by day.
func (p *planner) way(c *candidate, hands int) (plan.Way, error) {
	cs, err := p.w.s.caseOf(p.w.book.Firm, c.booking, hands, p.w.zone)
	if err != nil {
		return plan.Way{}, err
	}
	way := plan.Way{HalfDays: cs.HalfDays(p.free)}
	if c.fixed {
		way.HalfDays = max(2*(len(c.visit.Days)-c.visit.Done), 2)
		if len(c.visit.Days)-c.visit.Done == 1 && cs.HalfDays(c.visit.First()) == 1 {
			way.HalfDays = 1
		}
	}
	issue := p.issues[CellOf(c.booking.Site)]
	c.days[hands] = map[job.Date]rules.Day{}
	open := make([]bool, horizon)
	for i := range horizon {
		d := p.day0.AddDays(i)
		var odds [2]plan.Odds
		if p.in.Working[i] && (!barred(c.booking, d) || c.fixed) {
			day := p.w.s.judge(cs, d, issue, p.w.now, p.w.book.Firm.Bounds)
			c.days[hands][d] = day
			open[i] = p.mayTell(c.visit, d, day) || c.fixed || p.pinned(c.booking) && c.booking.Pinned.Day == d
			odds = oddsOf(day, way.HalfDays, p.noon(d))
		}
		way.Odds = append(way.Odds, odds)
	}
	way.Odds = p.runs(way.Odds, (way.HalfDays+1)/2)
	for i := range way.Odds {
		if !open[i] {
			way.Odds[i] = [2]plan.Odds{}
		}
	}
	return way, nil
}

// runs gives the odds of visits of so many days by the day they begin on: each day
// lays its share of the roof, so what counts is the mean of the days, and never more
// than the first, without which the visit does not begin. Days that nothing is known
// of are left out. A day in the middle that will not hold is a crew's day lost.
func (p *planner) runs(days [][2]plan.Odds, n int) [][2]plan.Odds {
	if n < 2 {
		return days
	}
	out := make([][2]plan.Odds, len(days))
	for i := range days {
		if !days[i][0].Known {
			continue
		}
		var sealed, full, known int64
		for k, left := i, n; k < len(days) && left > 0; k++ {
			if !p.in.Working[k] {
				continue
			}
			left--
			if o := days[k][0]; o.Known {
				sealed, full, known = sealed+o.Sealed, full+o.Full, known+1
			}
		}
		first := days[i][0]
		out[i][0] = plan.Odds{Sealed: min(first.Sealed, sealed/known), Full: min(first.Full, full/known), Known: true}
	}
	return out
}

// mayTell reports whether a visit may stand on a day as far as its customer is
// concerned: one who holds a date can be given another only in time and when it
// is likely enough to be told.
func (p *planner) mayTell(v job.Visit, d job.Date, day rules.Day) bool {
	if v.Told.IsZero() || v.Told == d || !v.Told.After(p.w.today()) || p.w.tookBack(v) {
		return true
	}
	s, ok := day.BestStart()
	return ok && d.After(p.w.today().AddDays(1)) && p.w.fitToTell(s.Sealed, s.RainOpen)
}

// midday is where a day of two half-day visits is divided.
const midday job.TimeOfDay = 12 * 60

func (p *planner) noon(d job.Date) time.Time { return job.Instant(d, midday, p.w.zone) }

// oddsOf gives the odds of a morning (or whole day) and of an afternoon.
func oddsOf(day rules.Day, halfDays int, noon time.Time) [2]plan.Odds {
	var out [2]plan.Odds
	if !day.Basis.Foreseen() {
		return out
	}
	if s, ok := day.BestStart(); ok {
		out[0] = odds(s)
	}
	if halfDays == 1 {
		am, pm := bestWithin(day, time.Time{}, noon), bestWithin(day, noon, time.Time{})
		out = [2]plan.Odds{}
		if am != nil {
			out[0] = odds(*am)
		}
		if pm != nil {
			out[1] = odds(*pm)
		}
	}
	return out
}

func odds(s rules.Start) plan.Odds {
	sealed := int64(math.Round(s.Sealed * members))
	return plan.Odds{Sealed: sealed, Full: min(int64(math.Round(s.Full*members)), sealed), Known: true}
}

// bestWithin gives the start with the greatest chance from `from` on and before
// `to` (zero: no bound), nil where there is none.
func bestWithin(day rules.Day, from, to time.Time) *rules.Start {
	var best *rules.Start
	for i := range day.Starts {
		s := &day.Starts[i]
		if (!from.IsZero() && s.At.Before(from)) || (!to.IsZero() && !s.At.Before(to)) {
			continue
		}
		if best == nil || s.Sealed-s.RainOpen > best.Sealed-best.RainOpen {
			best = s
		}
	}
	return best
}

// start gives the start of a candidate on a day, the beginning of the working
// day without a chance where none is known.
func (p *planner) start(c candidate, hands int, d job.Date, slot, halfDays int) rules.Start {
	day := c.days[hands][d]
	s, ok := day.BestStart()
	if halfDays == 1 {
		var b *rules.Start
		if slot == 0 {
			b = bestWithin(day, time.Time{}, p.noon(d))
		} else {
			b = bestWithin(day, p.noon(d), time.Time{})
		}
		if ok = b != nil; ok {
			s = *b
		}
	}
	if !ok {
		return rules.Start{At: job.Instant(d, p.w.book.Firm.Work.From, p.w.zone)}
	}
	return s
}

// clock gives the time of day of a start.
func (p *planner) clock(s rules.Start) job.TimeOfDay {
	l := s.At.In(p.w.zone)
	return job.TimeOfDay(l.Hour()*60 + l.Minute())
}

// sortLeft keeps the list of what is left out in order of job.
func sortLeft(ls []plan.WeekLeft) {
	sort.Slice(ls, func(i, j int) bool { return ls[i].Job < ls[j].Job })
}
