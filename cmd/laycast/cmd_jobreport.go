package main

import (
	"context"
	"errors"
	"fmt"

	"laycast/job"
	"laycast/scheduler"
)

type jobReportCmd struct {
	at
	Job     string    `arg:"" help:"Id of the job."`
	What    job.What  `arg:"" enum:"seen,started,sealed,topcoated,stopped" help:"What the crew says: ${enum}."`
	On      string    `help:"The day it is about; today where it is left out, and for seen tomorrow." placeholder:"DATE"`
	Time    string    `help:"When it was, on the firm's clock; now where it is left out." placeholder:"HH:MM"`
	Cause   job.Cause `help:"Why it stopped: rain, wind, damp, cold, heat, time or other." placeholder:"CAUSE"`
	Because string    `help:"The same in words." placeholder:"WORDS"`
	Sealed  bool      `help:"It stopped, and the roof is sealed all the same."`
	JSON    bool      `help:"Print the outcome as JSON."`
}

// Help shows examples.
func (jobReportCmd) Help() string {
	return "What crews say by the buttons of their page may be noted here for a crew that rings. The crew's word counts before the recorded weather's, " +
		"and may come up to three days late. A crew that stopped has its job planned again at once.\n\n" +
		"Examples:\n  laycast job report J-017 sealed --time 14:20\n  laycast job report J-017 stopped --cause rain --because \"a shower, covered up\""
}

// Run notes what a crew says.
func (c *jobReportCmd) Run(ctx context.Context, s *session) error {
	r := job.Report{Entry: job.Entry{Job: c.Job, By: "office"}, What: c.What, Cause: c.Cause, Because: oneLine(c.Because), Tight: c.Sealed}
	if err := r.Check(); err != nil {
		return usageError{err}
	}
	noted := true
	return s.change(ctx, c.Job, c.Now, c.JSON, "is noted as "+string(c.What)+".", func(sched *scheduler.Scheduler, firm string) error {
		zone, err := sched.Zone(ctx, firm)
		if err != nil {
			return err
		}
		now := sched.Clock.Now()
		if r.Date = job.DateOf(now.In(zone)); c.What == job.Seen {
			r.Date = r.Date.AddDays(1)
		}
		if c.On != "" {
			if r.Date, err = job.ParseDate(c.On); err != nil {
				return usageError{err}
			}
		}
		if c.Time != "" {
			t, err := job.ParseTimeOfDay(c.Time)
			if err != nil {
				return usageError{err}
			}
			if r.At = job.Instant(r.Date, t, zone); r.At.After(now) {
				return usageError{fmt.Errorf("%s on %s is still ahead", c.Time, r.Date.Words())}
			}
		}
		if noted, err = sched.Report(ctx, firm, r); err == nil && !noted {
			err = errors.New("the same was noted last, so nothing was changed")
		}
		return err
	})
}
