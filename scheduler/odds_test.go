package scheduler

import (
	"testing"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/plan"
)

// Two working days, a weekend, two more: a visit of two days is worth the mean of
// its days, no more than its first, and does not count the weekend.
func TestRunsOfDays(t *testing.T) {
	p := &planner{}
	p.in.Working = []bool{true, true, false, false, true, true}
	day := func(sealed int64) [2]plan.Odds {
		return [2]plan.Odds{{Sealed: sealed, Full: sealed / 2, Known: true}}
	}
	days := [][2]plan.Odds{day(900), day(800), {}, {}, day(200), day(600)}
	for i, want := range []int64{850, 500, 0, 0, 200, 600} {
		got := p.runs(days, 2)[i][0]
		if got.Sealed != want || got.Full != want/2 || got.Known != days[i][0].Known {
			t.Errorf("from day %d: %+v, want %d", i, got, want)
		}
	}
	if got := p.runs(days, 1)[1][0].Sealed; got != 800 {
		t.Errorf("a visit of a day: %d", got)
	}
}

// A half day's start is one that would be called go, where the half day has one.
func TestBestStartOfHalfADay(t *testing.T) {
	b := job.DefaultFirm().Bounds
	noon := time.Date(2027, 6, 1, 12, 0, 0, 0, time.UTC)
	day := rules.Day{Starts: []rules.Start{
		{At: noon.Add(-3 * time.Hour), Sealed: 0.95, RainOpen: 0.09},
		{At: noon.Add(-2 * time.Hour), Sealed: 0.75, RainOpen: 0.07},
		{At: noon, Sealed: 0.60, RainOpen: 0.01},
		{At: noon.Add(time.Hour), Sealed: 0.65, RainOpen: 0.01},
	}}
	if am := bestWithin(day, b, time.Time{}, noon); am == nil || *am != day.Starts[1] {
		t.Errorf("in the morning %+v", am)
	}
	if pm := bestWithin(day, b, noon, time.Time{}); pm == nil || *pm != day.Starts[3] {
		t.Errorf("in the afternoon %+v", pm)
	}
	if none := bestWithin(day, b, noon.Add(2*time.Hour), time.Time{}); none != nil {
		t.Errorf("after the last start %+v", none)
	}
}
