package plan

import (
	"testing"

	"pgregory.net/rapid"
)

// What another day costs is what trying every plan says, and a chance as high as
// is needed makes the day cost nothing.
func TestWhyIsExactOnTinyProblems(t *testing.T) {
	tried := 0
	rapid.Check(t, func(t *rapid.T) {
		in := unpinned(drawInput(t, 4, 2, 4))
		for i := range in.Jobs {
			in.Jobs[i].Fixed = nil
		}
		if len(in.Jobs) == 0 {
			return
		}
		pl := Solve(in)
		i := rapid.IntRange(0, len(in.Jobs)-1).Draw(t, "which")
		a, err := Why(in, pl, in.Jobs[i].ID)
		if err != nil {
			t.Fatal(err)
		}
		out := in.changed(i, func(j *Job) { j.Ways = nil })
		if _, without := everyPlan(out); pl.Objective-without != a.Adds.Cents || !a.Adds.Exact && a.Adds.Cents != 0 {
			t.Fatalf("adds %+v, %d by trying all", a.Adds, pl.Objective-without)
		}
		for d, try := range a.Days {
			there := in.changed(i, func(j *Job) { j.Pin = &Pin{Day: d} })
			pins, best := everyPlan(there)
			if can := pins == 1 && in.Jobs[i].known(d); can != try.Can {
				t.Fatalf("day %d: %+v, possible: %t", d, try, can)
			}
			if !try.Can {
				if try.Reason == "" {
					t.Fatalf("day %d: no reason", d)
				}
				continue
			}
			tried++
			if try.Cost.Cents != pl.Objective-best || !try.Cost.Exact {
				t.Fatalf("day %d: %+v, %d by trying all", d, try, pl.Objective-best)
			}
			if try.Needs == 0 {
				continue
			}
			need := in.changed(i, func(j *Job) { j.Ways = raised(in, j.Ways, try) })
			if sol := Solve(need); sol.Objective < pl.Objective {
				t.Fatalf("day %d with %d members: %d, the plan %d", d, try.Needs, sol.Objective, pl.Objective)
			}
		}
	})
	if tried < 20 {
		t.Errorf("only %d days were tried", tried)
	}
}

// raised lets a start be sealed as often as it needs to be, and nothing else be.
func raised(in Input, ways map[int]Way, try Try) map[int]Way {
	out := map[int]Way{}
	size := 0
	for _, c := range in.Crews {
		if c.ID == try.Placing.Crew {
			size = c.Size
		}
	}
	w := ways[size]
	o := Odds{Sealed: try.Needs, Full: try.Needs, Known: true}
	if try.Odds.Sealed > 0 {
		o.Full = (try.Needs*try.Odds.Full + try.Odds.Sealed - 1) / try.Odds.Sealed
	} else {
		o.Full = 0
	}
	odds := make([][2]Odds, try.Day+1)
	odds[try.Day][try.Placing.Slot] = o
	out[size] = Way{HalfDays: w.HalfDays, Odds: odds}
	return out
}

// The prices never claim more than planning again finds, and both know what no
// work stands on.
func TestPricesClaimNoMoreThanPlanningAgain(t *testing.T) {
	claimed := 0
	rapid.Check(t, func(t *rapid.T) {
		in := unpinned(drawInput(t, 8, 3, 10))
		pl := Solve(in)
		exact, priced := Value(in, pl), Value(in, pl)
		p := newProblem(&in)
		exact.again(in, pl)
		priced.priced(p, pl)
		for i, e := range exact.Jobs {
			if !e.Exact {
				t.Fatalf("job %d: %+v", i, e)
			}
			if in.Jobs[i].Fixed == nil && priced.Jobs[i].Least > e.Cents {
				t.Fatalf("job %d: priced %+v, planned again %+v", i, priced.Jobs[i], e)
			}
			if priced.Jobs[i].Least > 0 {
				claimed++
			}
		}
		for k := range exact.Days {
			for d, e := range exact.Days[k] {
				if got := priced.Days[k][d]; e.Exact && got.Least > e.Cents {
					t.Fatalf("crew %d, day %d: priced %+v, planned again %+v", k, d, got, e)
				}
			}
		}
	})
	if claimed < 20 {
		t.Errorf("the prices claimed something for %d jobs only", claimed)
	}
}
