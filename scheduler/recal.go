package scheduler

import (
	"context"
	"sync"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
)

// recals keeps what each source's chances have come to, as last read.
type recals struct {
	mu   sync.Mutex
	kept map[string]skill.Recal
}

func (r *recals) of(source string) skill.Recal {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.kept[source]
}

// recalibrate reads what the chances of a source have come to, for judging its
// issues from now on.
func (s *Scheduler) recalibrate(ctx context.Context, source string) error {
	r, err := s.Store.Recal(ctx, source)
	if err != nil {
		return err
	}
	s.recals.mu.Lock()
	defer s.recals.mu.Unlock()
	if s.recals.kept == nil {
		s.recals.kept = map[string]skill.Recal{}
	}
	s.recals.kept[source] = r.Recal
	return nil
}

// judge gives the verdict for a case.
func (s *Scheduler) judge(c rules.Case, d job.Date, is forecast.Issue, now time.Time, b job.Bounds) rules.Day {
	return s.judgeOn(s.grounds.get(is, c.Job.Job, c.Profile), c, d, is, now, b)
}

// judgeOn gives the verdict on a ground of an issue: the one place where chances are
// made of members, and moved to what such chances have come to, or else of the climate.
func (s *Scheduler) judgeOn(g *rules.Ground, c rules.Case, d job.Date, is forecast.Issue, now time.Time, b job.Bounds) rules.Day {
	c.Honest = s.honest(is, d.DaysSince(job.DateOf(now.In(c.Zone))))
	return s.climate(c, g.Judge(c, d, now, b), now)
}

// honest gives how the chances of an issue's source are moved at a lead, nil
// where they are not.
func (s *Scheduler) honest(is forecast.Issue, lead int) func(rules.Start) rules.Start {
	r := s.recals.of(is.Source)
	if r == (skill.Recal{}) {
		return nil
	}
	return func(x rules.Start) rules.Start {
		c := r.Apply(lead, chancesOf(x))
		x.Sealed, x.Full, x.RainOpen = c.Sealed, c.Full, c.RainOpen
		return x
	}
}

func chancesOf(s rules.Start) skill.Chances {
	return skill.Chances{Sealed: s.Sealed, Full: s.Full, RainOpen: s.RainOpen}
}
