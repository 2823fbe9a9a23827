package plan

import (
	"fmt"
	"reflect"
	"testing"

	"pgregory.net/rapid"
)

// drawInput draws a problem of few days, crews and jobs, with everything in it
// that the rules know.
func drawInput(t *rapid.T, days, crews, jobs int) Input {
	in := Input{
		Days: rapid.IntRange(days/2, days).Draw(t, "days"), M: rapid.SampledFrom([]int64{50, 1000}).Draw(t, "M"),
		Costs: Costs{
			Move:        []Tier{{2, 20_000}, {4, 12_000}, {7, 7_000}, {999, 1_000}},
			ShortNotice: 6_000, SwapSlot: 1_500, Unplace: 5_000,
			PerKm: rapid.Int64Range(0, 99).Draw(t, "perKm"), PairMaxHm: 180,
		},
	}
	in.Working = rapid.SliceOfN(rapid.SampledFrom([]bool{true, true, true, false}), in.Days, in.Days).Draw(t, "working")
	for i := range rapid.IntRange(crews/2, crews).Draw(t, "crews") {
		in.Crews = append(in.Crews, drawCrew(t, fmt.Sprint("crew", i), in.Days))
	}
	for i := range rapid.IntRange(jobs/2, jobs).Draw(t, "jobs") {
		in.Jobs = append(in.Jobs, drawJob(t, fmt.Sprint("job", i), &in))
	}
	return in
}

func drawCrew(t *rapid.T, id string, days int) Crew {
	return Crew{
		ID: id, Size: rapid.IntRange(2, 3).Draw(t, "size"),
		Skills: rapid.SampledFrom([][]string{{"std"}, {"std", "height"}, {"height", "std"}}).Draw(t, "skills"),
		Depot:  rapid.SampledFrom([]Place{{0, 0}, {0, 0}, {120, -50}}).Draw(t, "depot"),
		Off:    rapid.SliceOfN(rapid.SampledFrom([]bool{false, false, false, true}), 0, days).Draw(t, "off"),
	}
}

func drawJob(t *rapid.T, id string, in *Input) Job {
	day := rapid.IntRange(-3, 12)
	j := Job{
		ID: id, At: Place{rapid.Int64Range(-150, 150).Draw(t, "x"), rapid.Int64Range(-150, 150).Draw(t, "y")},
		Skill: rapid.SampledFrom([]string{"", "std", "height", "glass"}).Draw(t, "skill"),
		NoGap: rapid.Bool().Draw(t, "noGap"), Earliest: rapid.IntRange(-3, 3).Draw(t, "earliest"),
		Promised: day.Draw(t, "promised"), Deadline: rapid.IntRange(0, 20).Draw(t, "deadline"),
		Blackout: rapid.SliceOfN(day, 0, 2).Draw(t, "blackout"),
		Value:    rapid.Int64Range(50_000, 300_000).Draw(t, "value"), Abort: rapid.Int64Range(0, 60_000).Draw(t, "abort"),
		LatePerDay: rapid.Int64Range(0, 9_000).Draw(t, "late"), Later: rapid.Int64Range(0, 200_000).Draw(t, "later"),
		Return: rapid.Int64Range(0, 30_000).Draw(t, "return"), Ways: map[int]Way{},
		Moves: rapid.SampledFrom([]int{0, 0, 1, 3}).Draw(t, "moves"),
	}
	for _, size := range rapid.SampledFrom([][]int{{2, 3}, {2, 3}, {3}}).Draw(t, "sizes") {
		w := Way{HalfDays: rapid.SampledFrom([]int{1, 1, 1, 2, 4}).Draw(t, "half")}
		for range in.Days {
			w.Odds = append(w.Odds, [2]Odds{drawOdds(t, in.M), drawOdds(t, in.M)})
		}
		j.Ways[size] = w
	}
	if rapid.IntRange(0, 2).Draw(t, "told") == 0 {
		j.Current = &Told{Day: day.Draw(t, "toldDay"), Slot: rapid.IntRange(0, 1).Draw(t, "toldSlot")}
	}
	if rapid.IntRange(0, 5).Draw(t, "fixed") == 0 {
		j.Fixed = &Fixed{Crew: fmt.Sprint("crew", rapid.IntRange(0, 3).Draw(t, "crew")), Day: day.Draw(t, "fixedDay"), Slot: rapid.IntRange(0, 1).Draw(t, "slot")}
	}
	if rapid.IntRange(0, 4).Draw(t, "pinned") == 0 {
		j.Pin = &Pin{Day: day.Draw(t, "pinDay"), Crew: rapid.SampledFrom([]string{"", "", "crew0", "crew1"}).Draw(t, "pinCrew")}
	}
	return j
}

// unpinned takes the pins away, which come before any value.
func unpinned(in Input) Input {
	in.Jobs = append([]Job{}, in.Jobs...)
	for i := range in.Jobs {
		in.Jobs[i].Pin = nil
	}
	return in
}

func drawOdds(t *rapid.T, m int64) Odds {
	sealed := rapid.Int64Range(m/3, m).Draw(t, "sealed")
	return Odds{Sealed: sealed, Full: rapid.Int64Range(sealed/2, sealed).Draw(t, "full"), Known: rapid.IntRange(0, 9).Draw(t, "known") > 0}
}

func TestPlansKeepTheRules(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, 9, 4, 12)
		pl := Solve(in)
		if err := Check(in, pl); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(pl, Solve(in)) {
			t.Fatal("two plans for one input")
		}
	})
}

func TestOneMoreCrewNeverLowersTheValue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := unpinned(drawInput(t, 8, 3, 10))
		before := Solve(in)
		in.Crews = append(in.Crews, drawCrew(t, "new", in.Days))
		after := Solve(in)
		if !before.Proven || !after.Proven {
			t.Fatalf("not proven: %d of %d, %d of %d", before.Objective, before.Bound, after.Objective, after.Bound)
		}
		if after.Objective < before.Objective {
			t.Fatalf("%d with a crew more, %d without", after.Objective, before.Objective)
		}
	})
}

func TestOneMoreJobNeverLowersTheBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := unpinned(drawInput(t, 8, 3, 10))
		before := Solve(in)
		j := drawJob(t, "new", &in)
		j.Fixed, j.Pin = nil, nil
		in.Jobs = append(in.Jobs, j)
		if after := Solve(in); after.Bound-after.Base < before.Bound-before.Base {
			t.Fatalf("bound on the gain %d with a job more, %d without", after.Bound-after.Base, before.Bound-before.Base)
		}
	})
}

// The best plan of a tiny problem, found by trying every one, is the plan found:
// the most pins kept, and of the plans that keep so many the one worth most.
func TestBestOfTinyProblems(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, 4, 2, 4)
		for i := range in.Jobs {
			in.Jobs[i].Fixed = nil
		}
		got := Solve(in)
		pins, want := everyPlan(in)
		if kept := keeps(in, got.Placings); got.Objective != want || kept != pins || !got.Proven {
			t.Fatalf("objective %d with %d pins (proven %t), the best is %d with %d", got.Objective, kept, got.Proven, want, pins)
		}
	})
}

// keeps counts the pinned jobs among placings.
func keeps(in Input, vs []Placing) int {
	n := 0
	for _, v := range vs {
		for i := range in.Jobs {
			if in.Jobs[i].ID == v.Job && in.Jobs[i].Pin != nil {
				n++
			}
		}
	}
	return n
}

// everyPlan tries every plan by the rules of Check and gives the most pins that
// can be kept and the best objective with so many.
func everyPlan(in Input) (pins int, best int64) {
	pins = -1
	var try func(j int, vs []Placing)
	try = func(j int, vs []Placing) {
		if j == len(in.Jobs) {
			n := keeps(in, vs)
			if v, ok := worthOf(in, vs); ok && (n > pins || n == pins && v > best) {
				best, pins = v, n
			}
			return
		}
		try(j+1, vs)
		for _, c := range in.Crews {
			w, ok := in.Jobs[j].Ways[c.Size]
			for d := 0; ok && d < in.Days; d++ {
				for s := range 2 {
					v := Placing{Job: in.Jobs[j].ID, Crew: c.ID, Day: d, Slot: s, HalfDays: w.HalfDays}
					for k := d; k < in.Days && len(v.Days) < (w.HalfDays+1)/2; k++ {
						if in.Working[k] {
							v.Days = append(v.Days, k)
						}
					}
					if _, ok := worthOf(in, append(vs, v)); ok {
						try(j+1, append(vs, v))
					}
				}
			}
		}
	}
	try(0, nil)
	return pins, best
}

// worthOf gives the objective of placings, all other jobs left; false when they
// break a rule.
func worthOf(in Input, vs []Placing) (int64, bool) {
	c := checker{in: &in, jobs: make(map[string]int), crews: make(map[string]int), seen: make(map[int]bool), slots: make(map[[3]int]int)}
	if c.index() != nil {
		return 0, false
	}
	var sum int64
	for _, v := range vs {
		if len(v.Days) == 0 {
			return 0, false
		}
		got, err := c.placing(v)
		if err != nil {
			return 0, false
		}
		sum += got
	}
	for i := range in.Jobs {
		if !c.seen[i] {
			sum += c.leftWorth(&in.Jobs[i])
		}
	}
	travel, err := c.travel()
	return sum - travel, err == nil
}

// Crews that are alike are planned as a class; told apart by a skill nobody
// wants they must reach the same.
func TestCrewsAlikeOrToldApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, 8, 1, 12)
		if len(in.Crews) == 0 {
			return
		}
		in.Crews = []Crew{in.Crews[0], in.Crews[0], in.Crews[0]}
		apart := in
		apart.Crews = nil
		for i := range in.Crews {
			in.Crews[i].ID = fmt.Sprint("crew", i)
			c := in.Crews[i]
			c.Skills = append([]string{fmt.Sprint("whistling", i)}, c.Skills...)
			apart.Crews = append(apart.Crews, c)
		}
		a, b := Solve(in), Solve(apart)
		if err := Check(in, a); err != nil {
			t.Fatal(err)
		}
		if !a.Proven || !b.Proven || a.Objective != b.Objective {
			t.Fatalf("alike %d (proven %t), apart %d (proven %t)", a.Objective, a.Proven, b.Objective, b.Proven)
		}
	})
}
