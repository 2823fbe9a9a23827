package scheduler

import (
	"fmt"

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
		c, err := s.caseOf(b.Firm, j, usualHands(b.Crews, j.Skill), zone)
		if err != nil {
			return season.Short{}, false, err
		}
		// cut for midsummer's daylight: the least that it takes
		bay, can := c.NextBay(job.Date{Year: from.Year, Month: 6, Day: 21})
		if !can {
			continue // the plan says that it is too long for any day
		}
		n := season.Need{Job: j.ID, Bays: float64(bay.Of), Coat: bay.Task == rules.Coat, Deadline: j.Deadline}
		needs = append(needs, n)
	}
	short, ok = s.Season.Fuller(needs, b.Firm.Work, len(b.Crews), from)
	return short, ok, nil
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
