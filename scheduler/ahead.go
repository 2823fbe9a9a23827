package scheduler

import (
	"context"
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/plan"
	"laycast/scheduler/task"
)

// aheadDays is how many days a job is looked at ahead, today among them: the
// reach of the hourly forecasts of most sources.
const aheadDays = 10

// looking opens the book of a firm for looking only, with the issues of the jobs
// that pick chooses.
func (s *Scheduler) looking(ctx context.Context, firm string, pick func(job.Booking) bool) (*work, map[forecast.Cell]forecast.Issue, error) {
	w, err := s.glance(ctx, firm, job.DateOf(s.Clock.Now().UTC()).AddDays(-keepCalls))
	if err != nil {
		return nil, nil, err
	}
	var jobs []job.Booking
	for _, j := range w.book.Jobs {
		if pick(j) {
			jobs = append(jobs, j)
		}
	}
	issues, err := s.Issues(ctx, jobs, w.now, w.zone)
	return w, issues, err
}

// glance opens the book of a firm for looking only, with calls and diary from a day
// on.
func (s *Scheduler) glance(ctx context.Context, firm string, from job.Date) (*work, error) {
	b, err := s.Store.Book(ctx, firm, from)
	if err != nil {
		return nil, fmt.Errorf("read the book of %s: %w", firm, err)
	}
	now := s.Clock.Now()
	return s.open(b, task.Task{Firm: firm, Name: task.Replan, Due: now, Slot: now}, now)
}

// JobWhy works out the plan as it would be made now, by the forecasts at hand,
// and asks it about one job. It stores nothing.
func (s *Scheduler) JobWhy(ctx context.Context, firm, id string) (plan.JobWhy, error) {
	w, issues, err := s.looking(ctx, firm, func(j job.Booking) bool { return j.State == job.Booked })
	if err != nil {
		return plan.JobWhy{}, err
	}
	return s.Why(w.book, issues, w.now, id)
}

// JobOutlook judges one job on each day ahead by the forecast at hand. It has no
// days where the job is over or nothing of it is left.
func (s *Scheduler) JobOutlook(ctx context.Context, firm, id string) (notify.JobOutlook, error) {
	w, issues, err := s.looking(ctx, firm, func(j job.Booking) bool { return j.ID == id })
	if err != nil {
		return notify.JobOutlook{}, err
	}
	b, ok := w.booking(id)
	if !ok {
		return notify.JobOutlook{}, fmt.Errorf("there is no job %q", id)
	}
	out := notify.JobOutlook{Hands: w.handsFor(b)}
	c, err := s.caseOf(w.book.Firm, b, out.Hands, w.zone)
	if err != nil {
		return out, err
	}
	out.DewLeast, _ = c.Profile.LaminateLeast(rules.LimitDewMargin)
	if s.Materials.Name != "" {
		l := s.Materials.Whole(b.Roof, c.Profile, out.Hands, c.Bays())
		out.Load = &l
	}
	if b.State != job.Booked || finished(b) {
		return out, nil
	}
	is := issues[CellOf(b.Site)]
	if is.Det != nil {
		out.Source, out.Fetched, out.Note = is.Det.Source, is.Det.LastSeen, is.Note
	}
	for i := range aheadDays {
		d, err := w.dayAhead(b, out.Hands, w.today().AddDays(i), is)
		if err != nil {
			return out, err
		}
		out.Days = append(out.Days, d)
	}
	w.mixAhead(&out, b, c)
	return out, nil
}

// dayAhead judges a job on one day as it will stand then.
func (w *work) dayAhead(b job.Booking, hands int, d job.Date, is forecast.Issue) (notify.DayAhead, error) {
	f, then := w.book.Firm, w.underWay(b, d)
	day, err := w.s.Judge(f, then, hands, d, is, w.now)
	if err != nil {
		return notify.DayAhead{}, err
	}
	var out notify.DayAhead
	if out.DayView, err = w.s.HourView(f, then, hands, day, is); err != nil {
		return out, err
	}
	out.Now = w.now
	k := call.DecideEvening(call.Input{Firm: f, Job: then, Date: d, Now: w.now, Due: w.now, Day: day, Issue: is})
	out.Outcome, out.Reasons = k.Outcome, k.Reasons
	c, err := w.s.caseOf(f, then, hands, w.zone)
	if err != nil {
		return out, err
	}
	from, to := notify.Axis(day, d, out.Zone)
	g := w.s.grounds.get(is, then.Job, c.Profile)
	out.Hours = g.HourTable(from, to)
	out.Rain, out.Dew = g.Spread(rules.LimitRain, from, to), g.Spread(rules.LimitDewMargin, from, to)
	return out, nil
}

// handsFor gives the hands of the crew that would come: of the one planned, else
// of the first that can do the job, else a pair.
func (w *work) handsFor(b job.Booking) int {
	hands := 0
	for _, c := range w.book.Crews {
		if c.Has(b.Skill) && hands == 0 {
			hands = c.Size
		}
		for _, v := range w.book.Visits {
			if v.Job == b.ID && v.Crew == c.ID {
				return c.Size
			}
		}
	}
	if hands == 0 {
		return 2
	}
	return hands
}

// mixAhead puts the mix card of the next planned day into an outlook, of
// tomorrow where none is planned.
func (w *work) mixAhead(out *notify.JobOutlook, b job.Booking, c rules.Case) {
	out.MixDay = w.today().AddDays(1)
	for _, v := range w.book.Visits {
		if d := v.First(); v.Job == b.ID && !d.Before(w.today()) && !d.IsZero() {
			out.MixDay = d
		}
	}
	if w.s.Materials.Name == "" {
		return
	}
	for _, d := range out.Days {
		if d.Date != out.MixDay {
			continue
		}
		from, to := job.Instant(d.Date, w.book.Firm.Work.From, w.zone).Truncate(time.Hour), job.Instant(d.Date, w.book.Firm.Work.To, w.zone)
		var at []rules.Hour
		for _, h := range d.Hours {
			if !h.At.Before(from) && h.At.Before(to) {
				at = append(at, h)
			}
		}
		out.Mix = w.s.Materials.Recipe().Card(c.Profile, out.Hands, at, d.Day.Stages)
	}
}
