package scheduler

import (
	"testing"

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
