package plan

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
)

// book makes up n jobs for three crews over a fortnight.
func book(rng *rand.Rand, n int) Input {
	const days = 14
	in := input(days)
	in.Crews = append(in.Crews, Crew{ID: "plover", Size: 2, Skills: []string{"std"}}, Crew{ID: "tern", Size: 3, Skills: []string{"std"}})
	for i := range n {
		j := simple(fmt.Sprintf("j%02d", i), []int{1, 2, 2, 4}[rng.IntN(4)], days)
		j.Value = 80_000 + rng.Int64N(300_000)
		j.Later = j.Value * 9 / 10
		j.Abort = j.Value * 3 / 10
		j.At = Place{rng.Int64N(200), rng.Int64N(200)}
		way := j.Ways[2]
		for d := range way.Odds {
			p := 300 + rng.Int64N(700)
			way.Odds[d] = [2]Odds{{p, p, true}, {p, p, true}}
		}
		j.Ways[3] = Way{HalfDays: way.HalfDays, Odds: way.Odds}
		in.Jobs = append(in.Jobs, j)
	}
	return in
}

// shaken gives the same book with every chance off by at most two points.
func shaken(rng *rand.Rand, in Input) Input {
	out := in
	out.Jobs = append([]Job{}, in.Jobs...)
	for i := range out.Jobs {
		j := &out.Jobs[i]
		way := Way{HalfDays: j.Ways[2].HalfDays, Odds: append([][2]Odds{}, j.Ways[2].Odds...)}
		for d, o := range way.Odds {
			p := min(max(o[0].Sealed+rng.Int64N(41)-20, 0), in.M)
			way.Odds[d] = [2]Odds{{p, p, true}, {p, p, true}}
		}
		j.Ways = map[int]Way{2: way, 3: way}
	}
	return out
}

// TestNoiseMovesNobody: chances that jitter by two points either way move fewer
// than one in twenty of the dates that were told.
func TestNoiseMovesNobody(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	told, moved := 0, 0
	for range 12 {
		in := book(rng, 18)
		was := solved(t, in)
		at := map[string]int{}
		for _, v := range was.Placings {
			at[v.Job] = v.Day
		}
		for i := range in.Jobs {
			j := &in.Jobs[i]
			if d, ok := at[j.ID]; ok && d <= 5 { // as far ahead as dates are told
				j.Current = &Told{Day: d}
				for _, v := range was.Placings {
					if v.Job == j.ID {
						j.Current.Slot = v.Slot
					}
				}
			}
		}
		for range 8 {
			noisy := shaken(rng, in)
			now := Keep(noisy, was.Placings, Solve(noisy), 2_000)
			days := map[string]int{}
			for _, v := range now.Placings {
				days[v.Job] = v.Day
			}
			for _, j := range noisy.Jobs {
				if j.Current == nil {
					continue
				}
				told++
				if d, ok := days[j.ID]; !ok || d != j.Current.Day {
					moved++
				}
			}
		}
	}
	if told < 500 || moved*20 > told {
		t.Errorf("noise moved %d of %d told dates", moved, told)
	}
	t.Logf("noise moved %d of %d told dates", moved, told)
}

func TestKeep(t *testing.T) {
	in := input(5, simple("a", 2, 5), simple("b", 2, 5))
	was := solved(t, in)
	// the same chances: whatever stands may stay
	turned := slices.Clone(was.Placings)
	slices.Reverse(turned) // they come back in order
	if got := Keep(in, turned, Solve(in), 2_000); !reflect.DeepEqual(got.Placings, was.Placings) || got.Objective != was.Objective || !got.Proven {
		t.Errorf("nothing changed: %+v", got)
	}
	// the day of a job turns bad: the fresh plan stands
	bad := input(5, simple("a", 2, 5), simple("b", 2, 5))
	for _, j := range bad.Jobs {
		j.Ways[2].Odds[was.Placings[0].Day] = [2]Odds{{100, 100, true}, {100, 100, true}}
	}
	fresh := Solve(bad)
	if got := Keep(bad, was.Placings, fresh, 2_000); !reflect.DeepEqual(got, fresh) {
		t.Errorf("a bad day was kept: %+v", got)
	}
	// what stood can stand no longer: the crew is off
	off := in
	off.Crews = []Crew{{ID: "heron", Size: 2, Skills: []string{"std"}, Off: []bool{true, true, true, false, false}}}
	fresh = Solve(off)
	if got := Keep(off, was.Placings, fresh, 1_000_000); !reflect.DeepEqual(got, fresh) {
		t.Errorf("a crew that is off was kept at work: %+v", got)
	}
	// a new job has found a place: it is not kept waiting
	more := in
	more.Jobs = append(append([]Job{}, in.Jobs...), simple("c", 2, 5))
	fresh = Solve(more)
	if got := Keep(more, was.Placings, fresh, 1_000_000); !reflect.DeepEqual(got, fresh) {
		t.Errorf("a new job was left out: %+v", got)
	}
}
