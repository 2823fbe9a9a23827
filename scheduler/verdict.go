package scheduler

import (
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
)

// caseOf makes a case for the rules.
func (s *Scheduler) caseOf(f job.Firm, b job.Booking, hands int, zone *time.Location) (rules.Case, error) {
	p, err := s.profile(f, b.Profile)
	if err != nil {
		return rules.Case{}, fmt.Errorf("job %s: %w", b.ID, err)
	}
	c := rules.Case{Job: b, Crew: hands, Profile: p, Hours: f.Work, Zone: zone}
	if s.MiddlePace {
		c.Slow = p.SlowMedian
	}
	return c, nil
}

// Judge gives the verdict for a job on one day with a crew of so many hands,
// from an issue, for times on site after now.
func (s *Scheduler) Judge(f job.Firm, b job.Booking, hands int, d job.Date, is forecast.Issue, now time.Time) (rules.Day, error) {
	zone, err := time.LoadLocation(f.Zone)
	if err != nil {
		return rules.Day{}, fmt.Errorf("load the zone of %s: %w", f.UID, err)
	}
	c, err := s.caseOf(f, b, hands, zone)
	if err != nil {
		return rules.Day{}, err
	}
	return s.judge(c, d, is, now, f.Bounds), nil
}

// HourTable gives the hours of [from, to) at a job's site.
func (s *Scheduler) HourTable(f job.Firm, b job.Booking, is forecast.Issue, from, to time.Time) ([]rules.Hour, error) {
	p, err := s.profile(f, b.Profile)
	if err != nil {
		return nil, err
	}
	return s.grounds.get(is, b.Job, p).HourTable(from, to), nil
}

// underWay gives a job as it will stand once the days of its visit that were
// called go, and are not closed, are laid. Later days are judged and planned
// from there.
func (w *work) underWay(b job.Booking, before job.Date) job.Booking {
	for _, v := range w.book.Visits {
		if v.Job != b.ID {
			continue
		}
		for i, d := range v.Days {
			if i < v.Done || !d.Before(before) {
				continue
			}
			if k := w.standing(b.ID, d); k == nil || k.Outcome != call.Go {
				continue
			}
			c, err := w.s.caseOf(w.book.Firm, b, w.crew(v.Crew).Size, w.zone)
			if err != nil {
				return b
			}
			if bay, ok := c.NextBay(d); ok {
				b = laid(b, bay, d, w.book.Diary.Word(b.ID, d).Coated)
			}
		}
	}
	return b
}

// laid gives a job after a bay was done on day d; full says that the topcoat
// went on the same day.
func laid(b job.Booking, bay rules.Bay, d job.Date, full bool) job.Booking {
	if bay.Task == rules.Coat {
		b.CoatedM2 = min(b.CoatedM2+bay.AreaM2, b.Roof.AreaM2)
		return b
	}
	b.LaidM2 = min(b.LaidM2+bay.AreaM2, b.Roof.AreaM2)
	b.SealedOn = d
	if full {
		b.CoatedM2 = min(b.CoatedM2+bay.AreaM2, b.Roof.AreaM2)
	}
	return b
}

// finished reports whether nothing of the roof is left to lay or to topcoat.
func finished(b job.Booking) bool {
	const square = 0.005 // areas are kept to the centimetre squared
	return b.Roof.AreaM2-b.LaidM2 < square && b.Roof.AreaM2-b.CoatedM2 < square
}
