package scheduler

import (
	"math"

	"laycast/job"
	"laycast/scheduler/plan"
)

// price fills in what the job is worth. Left for later, it is worth LaterShare of
// that, times the chance that usual weather still holds its laying days before
// its deadline. Done later, it will most often need the return visit too: a
// topcoat on the same day is the exception.
func (p *planner) price(j *plan.Job, b job.Booking, c job.Costs) error {
	j.Value, j.Abort, j.LatePerDay, j.Return = int64(b.Value), int64(b.AbortCost), int64(c.LatePerDay(b.Job)), int64(c.ReturnCost)
	later, odds := j.Value-j.Return, 1.0
	switch {
	case b.LaidM2 >= b.Roof.AreaM2:
		p.priceCoat(j, b)
		later = j.Value
	case b.LaidM2 > 0:
		p.priceRest(j, b)
		later = j.Value - j.Return
	case j.Deadline < horizon:
		return nil // left out now, it is lost
	default:
		var err error
		if odds, err = p.seasonOdds(b); err != nil {
			return err
		}
	}
	j.Later = int64(math.Floor(c.LaterShare * odds * float64(max(later, 0))))
	return nil
}

// coatParts is how many parts of a job's value its topcoat is: it earns what was
// left to pay for it, which nobody tells us (a fifth: common practice, no
// source).
const coatParts = 5

// priceCoat prices a topcoat of its own: a spoilt one costs the way there, it is
// due in its overcoat window, and late it costs its part of what the job would.
func (p *planner) priceCoat(j *plan.Job, b job.Booking) {
	j.Deadline = horizon + overdue
	j.Value, j.Abort, j.Return = max(j.Value/coatParts, 2*j.Return), j.Return, 0
	j.LatePerDay /= coatParts
	j.Promised = b.SealedOn.AddDays(2).DaysSince(p.day0)
}

// finishIn is in how many days the rest of a roof that was begun costs as much as
// it earns by being late (common practice, no source).
const finishIn = 20

// priceRest prices what is left of a roof that was begun: it is finished whatever
// its deadline, and before others: half a roof lies there with its night joint.
func (p *planner) priceRest(j *plan.Job, b job.Booking) {
	j.Deadline = horizon + overdue
	j.Value = int64(float64(j.Value) * (1 - b.LaidM2/b.Roof.AreaM2))
	j.LatePerDay = max(j.LatePerDay, j.Value/finishIn)
	j.Promised = b.SealedOn.AddDays(1).DaysSince(p.day0)
}

// overdue is a number of days that no deadline reaches.
const overdue = 1000

// barred reports whether a job may not be worked on at d; a roof that has been
// begun is finished whatever its deadline.
func barred(b job.Booking, d job.Date) bool {
	if b.LaidM2 > 0 {
		b.Deadline = job.Date{}
	}
	return b.Barred(d)
}

// crowd takes from what untouched jobs are worth later the crew-days that they will take
// then: in a book with more work than days a job that is left for later is done in place
// of another. Without it every job looks nearly as good later as now until its last date
// is in sight, and all wait for that and run up lateness (docs/replay.md).
func (p *planner) crowd() {
	day := float64(plan.Crowd(p.in, p.usualShare))
	for i := range p.in.Jobs {
		if j := &p.in.Jobs[i]; p.cands[i].booking.LaidM2 == 0 {
			j.Later = max(0, j.Later-int64(day*plan.LeastDays(j)))
		}
	}
}

// fairDays is the share of working days on which a roof can be laid, where no record of
// the firm's place is at hand: the mean from April to September of the nine records of
// docs/season.md is .59 for roofs of 8 m², .50 for 20 m².
const fairDays = 0.6

// untaken is the share of the laying days after the plan's own that jobs booked from
// now on will leave to those that are in the book. A book that is full today is full in a
// month too: jobs that are left for later compete with ones that nobody knows yet. Ours;
// what it brought against 1 stands in docs/replay.md.
const untaken = 0.15

// usualShare gives how much of a crew's day there will be for the jobs in the book: the
// chance that it is a laying day in usual weather, and after the plan's own days only the
// part of it that later bookings leave.
func (p *planner) usualShare(day int) float64 {
	d := p.day0.AddDays(day)
	if !p.w.book.Firm.Work.Working(d) {
		return 0
	}
	share := fairDays
	if p.w.s.Season != nil {
		share = p.w.s.Season.Share[d.Month-1]
	}
	if day >= horizon {
		share *= untaken
	}
	return share
}
