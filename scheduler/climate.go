package scheduler

import (
	"fmt"
	"math"
	"slices"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/plan"
)

// climate gives a day that no forecast reaches the share of the month's days on
// which a roof can be sealed, from the record of the firm's place. That is good
// for telling a week and never for a told day or a go: the day is none that is
// known, so whoever asks for its chance finds none. It begins only beyond the days
// for which a date may be told: nearer, a missing forecast is a fault.
func (s *Scheduler) climate(c rules.Case, day rules.Day, now time.Time) rules.Day {
	ahead := day.Date.DaysSince(job.DateOf(now.In(c.Zone)))
	if s.Season == nil || day.Basis.Foreseen() || day.Members > 0 || ahead <= reach || !c.Hours.Working(day.Date) {
		return day
	}
	if _, ok := c.NextBay(day.Date); !ok {
		return day
	}
	day.Basis, day.Climate = rules.FromClimate, s.Season.Share[day.Date.Month-1]
	return day
}

// pencil gives jobs that the plan leaves out a place by usual weather, by job, on
// days that no forecast reaches: so that a week can be told. The plan is made
// before and without it, so such a place takes nothing from a day that a forecast
// reaches, and the plan's bound speaks of forecasts alone.
func (p *planner) pencil(sol plan.Plan) (map[string]plan.Placing, error) {
	in, standing := p.usual(sol)
	if len(in.Jobs) == 0 {
		return nil, nil
	}
	far := plan.Solve(in)
	if err := plan.Check(in, far); err != nil {
		return nil, fmt.Errorf("the places by usual weather break a rule, so they are not used: %w", err)
	}
	out := map[string]plan.Placing{}
	for _, pl := range plan.Keep(in, standing, far, worthIt).Placings {
		out[pl.Job] = pl
	}
	return out, nil
}

// pencilled reports whether a candidate stands on a day that only usual weather
// speaks for; the plan does not hold it.
func (p *planner) pencilled(c candidate) bool {
	day := c.days[p.w.crew(c.visit.Crew).Size][c.visit.First()]
	return day.Basis == rules.FromClimate && !c.fixed && !p.pinned(c.booking)
}

// usual makes the problem of the days beyond the forecast: the jobs that are left
// out, the days that the crews have free. On a day that turns out unfit the roof
// is not opened, so nothing is lost by it. standing are the places of before.
func (p *planner) usual(sol plan.Plan) (in plan.Input, standing []plan.Placing) {
	in = p.in
	in.Jobs, in.Crews = nil, slices.Clone(p.in.Crews)
	if p.w.s.Season == nil {
		return in, nil
	}
	for k := range in.Crews {
		in.Crews[k].Off = slices.Clone(in.Crews[k].Off)
		for _, pl := range sol.Placings {
			for _, d := range pl.Days {
				if pl.Crew == in.Crews[k].ID && d >= 0 && d < len(in.Crews[k].Off) {
					in.Crews[k].Off[d] = true
				}
			}
		}
	}
	before := p.standing(true)
	for _, l := range sol.Left {
		i := slices.IndexFunc(p.cands, func(c candidate) bool { return c.visit.Job == l.Job })
		c := p.cands[i]
		if c.fixed || p.pinned(c.booking) || !c.visit.Told.IsZero() {
			continue // who was told a day waits for another that can be told
		}
		j := p.in.Jobs[i]
		j.Abort, j.Pin, j.Current = 0, nil, nil
		if j.Ways = p.usualWays(i); len(j.Ways) == 0 {
			continue
		}
		if k := slices.IndexFunc(before, func(x plan.Placing) bool { return x.Job == l.Job }); k >= 0 {
			standing = append(standing, before[k])
			if !c.visit.ToldWeek.IsZero() { // it does not lose its week to another lightly
				j.Current = &plan.Told{Day: before[k].Day, Slot: before[k].Slot}
			}
		}
		in.Jobs = append(in.Jobs, j)
	}
	return in, standing
}

// usualWays gives how a candidate would be done by usual weather; none where no
// day of a likely week lies beyond the forecast.
func (p *planner) usualWays(i int) map[int]plan.Way {
	out := map[int]plan.Way{}
	for hands, way := range p.in.Jobs[i].Ways {
		odds, some := make([][2]plan.Odds, horizon), false
		for k := range horizon {
			day := p.cands[i].days[hands][p.day0.AddDays(k)]
			if day.Basis != rules.FromClimate || !p.weekLikely(day.Date) {
				continue
			}
			sealed := math.Round(day.Climate * members)
			x := plan.Odds{Sealed: int64(sealed), Full: int64(sealed * p.w.s.Season.Full[day.Date.Month-1]), Known: true}
			odds[k], some = [2]plan.Odds{x, x}, true
		}
		if some {
			out[hands] = plan.Way{HalfDays: way.HalfDays, Odds: odds}
		}
	}
	return out
}

// likelyWeek is the least chance of a laying day at which usual weather lets a week
// be told. It asks less than a day does (bounds.tell): a week binds nobody to a van,
// and its day follows once a forecast reaches it. An assumption, no source.
const likelyWeek = 0.60

// weekLikely reports whether the week of a day, as far as it lies beyond the
// forecast, is likely enough to hold a laying day in usual weather.
func (p *planner) weekLikely(d job.Date) bool {
	f, first := p.w.book.Firm, monday(d)
	from := p.w.today().AddDays(reach + 1)
	if from.Before(first) {
		from = first
	}
	return p.w.s.Season.Odds(1, f.Work, from, first.AddDays(6)) >= likelyWeek
}

// unreached says of a day that no forecast reaches what usual weather makes of it.
func (p *planner) unreached(c candidate, d job.Date) string {
	for _, days := range c.days {
		if days[d].Basis == rules.FromClimate {
			return fmt.Sprintf("no forecast reaches it; in usual weather %.0f %% of the days of %s would do", 100*days[d].Climate, d.Month)
		}
	}
	return "no forecast reaches it"
}

// withFar gives the places of a plan and those by usual weather, by day.
func withFar(sol plan.Plan, far map[string]plan.Placing) []plan.Placing {
	out := slices.Clone(sol.Placings)
	for _, l := range sol.Left {
		if pl, ok := far[l.Job]; ok {
			out = append(out, pl)
		}
	}
	slices.SortStableFunc(out, func(a, b plan.Placing) int { return a.Day - b.Day })
	return out
}

// byUsualWeather says of a job without a place which day it is pencilled in for.
func (p *planner) byUsualWeather(d job.Date) string {
	return fmt.Sprintf("it is pencilled in for %s by the usual weather of %s (record of %s), and its day is settled when a forecast reaches it", d.Words(), d.Month, p.w.s.Season.Station)
}
