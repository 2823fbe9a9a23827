package scheduler

import (
	"fmt"
	"testing"

	"laycast/job"
	"laycast/scheduler/plan"
	"laycast/scheduler/season"
)

// In a book with a day for every job, what a job is worth later stays as it was. In a
// full one it is less by the days that it would take from others, never under nothing;
// what is left of a roof that was begun keeps its worth. A record of the firm's place says
// how many days there are.
func TestLaterInAFullBook(t *testing.T) {
	book := func(jobs int, record *season.Outlook) plan.Input {
		firm := job.DefaultFirm()
		w := &work{s: &Scheduler{Config: Config{Season: record}}}
		w.book.Firm = firm
		p := &planner{w: w, day0: job.Date{Year: 2027, Month: 6, Day: 7}, in: plan.Input{Days: horizon, M: members, Crews: []plan.Crew{{ID: "gull", Size: 2}}}}
		way := plan.Way{HalfDays: 2}
		for i := range horizon {
			p.in.Working = append(p.in.Working, firm.Work.Working(p.day0.AddDays(i)))
			way.Odds = append(way.Odds, [2]plan.Odds{{Sealed: members, Full: members, Known: true}})
		}
		for i := range jobs {
			p.in.Jobs = append(p.in.Jobs, plan.Job{ID: fmt.Sprint(i), Deadline: horizon + 27, Value: 1000_00, Later: 900_00, Ways: map[int]plan.Way{2: way}})
			p.cands = append(p.cands, candidate{})
		}
		p.cands[1].booking.LaidM2 = 5
		p.crowd()
		return p.in
	}
	// ten working days in the plan, and of twenty after it .6 hold and .15 are not taken by
	// jobs booked later: 11.8 crew-days; at .9 they are 12.7
	if in := book(11, nil); in.Jobs[0].Later != 900_00 {
		t.Errorf("a day for every job: later %d, not 900.00", in.Jobs[0].Later)
	}
	in := book(12, nil)
	if in.Jobs[0].Later != 0 {
		t.Errorf("a full book: later %d, when a day then costs what a job earns", in.Jobs[0].Later)
	}
	if in.Jobs[1].Later != 900_00 {
		t.Errorf("a roof begun: later %d", in.Jobs[1].Later)
	}
	fair := &season.Outlook{}
	for m := range fair.Share {
		fair.Share[m] = 0.9
	}
	if in := book(12, fair); in.Jobs[0].Later != 900_00 {
		t.Errorf("where the record has more days: later %d, not 900.00", in.Jobs[0].Later)
	}
}
