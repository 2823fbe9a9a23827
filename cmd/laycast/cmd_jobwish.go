package main

import (
	"context"
	"strings"

	"laycast/job"
	"laycast/scheduler"
)

type jobPinCmd struct {
	at
	Job  string `arg:"" help:"Id of the job."`
	Day  string `help:"The day on which its visit is to begin." required:"" placeholder:"DATE"`
	Crew string `help:"Id of the crew; any that can where it is left out." placeholder:"CREW"`
	JSON bool   `help:"Print the outcome as JSON."`
}

// Help shows an example.
func (jobPinCmd) Help() string {
	return "The plan puts the job there whatever it costs (laycast plan --why tells what that is), and never breaks a limit for it: " +
		"the evening call decides as always, and after a no-go the job is free again. The day is your choice, so " +
		"the customer is told as soon as it is near enough, however good its chance, and you are not asked first.\n\n" +
		"Example: laycast job pin J-017 --day 2027-05-11 --crew heron"
}

// Run pins a job to a day.
func (c *jobPinCmd) Run(ctx context.Context, s *session) error {
	d, err := job.ParseDate(c.Day)
	if err != nil {
		return usageError{err}
	}
	what := "is pinned to " + d.Words()
	if c.Crew != "" {
		what += " with crew " + oneLine(c.Crew)
	}
	return s.change(ctx, c.Job, c.Now, c.JSON, what+".",
		func(sched *scheduler.Scheduler, firm string) error { return sched.Pin(ctx, firm, c.Job, d, c.Crew) })
}

type jobUnpinCmd struct{ jobPick }

// Help shows an example.
func (jobUnpinCmd) Help() string {
	return "The plan chooses the day again.\n\nExample: laycast job unpin J-017"
}

// Run takes a pin back.
func (c *jobUnpinCmd) Run(ctx context.Context, s *session) error {
	return s.change(ctx, c.Job, c.Now, c.JSON, "is not pinned any more.",
		func(sched *scheduler.Scheduler, firm string) error { return sched.Unpin(ctx, firm, c.Job) })
}

// jobDay is a command on one job and one day.
type jobDay struct {
	at
	Job  string `arg:"" help:"Id of the job."`
	Day  string `help:"The day." required:"" placeholder:"DATE"`
	JSON bool   `help:"Print the outcome as JSON."`
}

type jobForbidCmd struct{ jobDay }

// Help shows an example.
func (jobForbidCmd) Help() string {
	return "The job is not worked on that day; a visit that is planned there gets another, and a day its customer was told is moved. " +
		"A crew that is called already is called off by holding the job.\n\n" +
		"Example: laycast job forbid J-017 --day 2027-05-11"
}

// Run forbids a day for a job.
func (c *jobForbidCmd) Run(ctx context.Context, s *session) error {
	d, err := job.ParseDate(c.Day)
	if err != nil {
		return usageError{err}
	}
	return s.change(ctx, c.Job, c.Now, c.JSON, "is kept off "+d.Words()+".",
		func(sched *scheduler.Scheduler, firm string) error { return sched.Forbid(ctx, firm, c.Job, d) })
}

type jobAllowCmd struct{ jobDay }

// Help shows an example.
func (jobAllowCmd) Help() string {
	return "Takes back a laycast job forbid.\n\nExample: laycast job allow J-017 --day 2027-05-11"
}

// Run allows a day again.
func (c *jobAllowCmd) Run(ctx context.Context, s *session) error {
	d, err := job.ParseDate(c.Day)
	if err != nil {
		return usageError{err}
	}
	return s.change(ctx, c.Job, c.Now, c.JSON, "may be laid on "+d.Words()+" again.",
		func(sched *scheduler.Scheduler, firm string) error { return sched.Allow(ctx, firm, c.Job, d) })
}

type jobAskCmd struct {
	jobPick
	Off bool `help:"Do not ask any more: without an answer a new date is told on the morning after."`
}

// Help shows an example.
func (jobAskCmd) Help() string {
	return "When the plan moves a day its customer was told, the new one is told only when you say yes, by the link in the mail that asks.\n\n" +
		"Example: laycast job ask J-017"
}

// Run has the owner asked before a job's date moves.
func (c *jobAskCmd) Run(ctx context.Context, s *session) error {
	what := "gets a new date only when you say yes."
	if c.Off {
		what = "gets a new date without your yes, on the morning after you were asked."
	}
	return s.change(ctx, c.Job, c.Now, c.JSON, what,
		func(sched *scheduler.Scheduler, firm string) error {
			return sched.AskFirst(ctx, firm, c.Job, !c.Off)
		})
}

// wishes says in words what the owner wants of a job, a line each.
func wishes(b job.Booking) []string {
	var out []string
	if p := b.Pinned; !p.Day.IsZero() {
		line := "pinned it to " + p.Day.Words()
		if p.Crew != "" {
			line += " with crew " + p.Crew
		}
		out = append(out, line)
	}
	if len(b.Forbidden) > 0 {
		days := make([]string, len(b.Forbidden))
		for i, d := range b.Forbidden {
			days[i] = d.Words()
		}
		out = append(out, "keep it off "+strings.Join(days, ", "))
	}
	if b.AskFirst {
		out = append(out, "want to be asked before its date moves")
	}
	return out
}
