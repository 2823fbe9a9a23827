package scheduler

import (
	"fmt"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/ledger"
	"laycast/scheduler/season"
)

// Fuller asks whether the book holds more work than the season gives days,
// counted from a day on. ok is false where it does not, or where no record of
// the firm's place is at hand. Held jobs count: their deadlines run.
func (s *Scheduler) Fuller(b ledger.Book, from job.Date) (short season.Short, ok bool, err error) {
	if s.Season == nil || len(b.Crews) == 0 {
		return season.Short{}, false, nil
	}
	zone, err := job.LoadZone(b.Firm.Zone)
	if err != nil {
		return season.Short{}, false, fmt.Errorf("load the zone of %s: %w", b.Firm.UID, err)
	}
	var needs []season.Need
	for _, j := range b.Jobs {
		if j.State != job.Booked || finished(j) {
			continue
		}
		bay, can, err := s.restOf(b, j, from.Year, zone)
		if err != nil {
			return season.Short{}, false, err
		}
		if !can {
			continue // the plan says that it is too long for any day
		}
		n := season.Need{Job: j.ID, Bays: float64(bay.Of), Coat: bay.Task == rules.Coat, Deadline: j.Deadline}
		needs = append(needs, n)
	}
	short, ok = s.Season.Fuller(needs, b.Firm.Work, len(b.Crews), from)
	return short, ok, nil
}

// restOf gives the next bay of a job for the crew that would come, cut for
// midsummer's daylight, so that it tells the fewest bays that are left.
func (s *Scheduler) restOf(b ledger.Book, j job.Booking, year int, zone *time.Location) (rules.Bay, bool, error) {
	c, err := s.caseOf(b.Firm, j, usualHands(b.Crews, j.Skill), zone)
	if err != nil {
		return rules.Bay{}, false, err
	}
	bay, can := c.NextBay(job.Date{Year: year, Month: time.June, Day: 21})
	return bay, can, nil
}

// seasonOdds gives the chance that a job left for after the days ahead still
// finds its laying days before its deadline in usual weather; 1 where no record
// of the firm's place is at hand.
func (p *planner) seasonOdds(b job.Booking) (float64, error) {
	s := p.w.s
	if s.Season == nil {
		return 1, nil
	}
	bay, can, err := s.restOf(p.w.book, b, p.day0.Year, p.w.zone)
	if err != nil || !can {
		return 1, err
	}
	return s.Season.Odds(bay.Of, p.w.book.Firm.Work, p.day0.AddDays(horizon), b.Deadline), nil
}

// waits says what a job that has no place costs by waiting, and what usual
// weather leaves it; "" where nothing is known of either.
func (p *planner) waits(b job.Booking) string {
	f := p.w.book.Firm
	words := ""
	if late := f.Costs.LatePerDay(b.Job); late > 0 && !b.Promised.IsZero() {
		words = fmt.Sprintf("; each week after %s costs about %s", b.Promised.Words(), (7 * late).Words(f.Costs.Currency))
	}
	if p.w.s.Season != nil && b.Deadline.After(p.day0) {
		words += fmt.Sprintf("; usual weather leaves about %.0f laying days until %s", p.w.s.Season.Left(f.Work, p.day0, b.Deadline), b.Deadline.Words())
	}
	return words
}

// usualHands gives the hands of the first crew that has the skill, a pair where
// none has it.
func usualHands(crews []job.Crew, skill string) int {
	for _, c := range crews {
		if c.Has(skill) && c.Size >= 2 {
			return c.Size
		}
	}
	return 2
}
