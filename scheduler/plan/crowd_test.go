package plan

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

// crowded is a week of one crew and jobs of a day each that are due on the given days
// and worth 100.00, 200.00 and so on, on days that all hold.
func crowded(due ...int) Input {
	in := Input{Days: 5, M: 1000, Crews: []Crew{{ID: "gull", Size: 2}}}
	w := Way{HalfDays: 2}
	for range in.Days {
		in.Working = append(in.Working, true)
		w.Odds = append(w.Odds, [2]Odds{{Sealed: 1000, Full: 1000, Known: true}})
	}
	for i, d := range due {
		in.Jobs = append(in.Jobs, Job{ID: fmt.Sprint(i), Deadline: d, Value: int64(i+1) * 100_00, Ways: map[int]Way{2: w}})
	}
	return in
}

// Five days of the plan and, where every other later day holds, two and a half of the five
// after it. Sums by hand.
func TestCrowd(t *testing.T) {
	half := func(int) float64 { return 0.5 }
	never := func(int) float64 { return 0 }
	for _, x := range []struct {
		name  string
		in    Input
		share func(int) float64
		want  int64
	}{
		{"an empty book", crowded(), half, 0},
		{"a day for each", crowded(4, 4, 4, 4, 4, 9, 9), half, 0},
		{"half a job too many: the cheapest goes without", crowded(9, 9, 9, 9, 9, 9, 9, 9), half, 100_00},
		{"two and a half too many: the third has no whole day", crowded(9, 9, 9, 9, 9, 9, 9, 9, 9, 9), half, 300_00},
		{"no later day holds", crowded(9, 9, 9, 9, 9, 9, 9), never, 200_00},
		{"a full week with a free one after it", crowded(4, 4, 4, 4, 4, 4, 4, 9), half, 0},
		{"a full week, and more after it than fits", crowded(4, 4, 4, 4, 4, 4, 4, 9, 9, 9), half, 300_00},
		{"due after all that is looked at", crowded(crowdDays, 400, 400, 400, 400, 400), half, 0},
	} {
		if got := Crowd(x.in, x.share); got != x.want {
			t.Errorf("%s: %d, not %d", x.name, got, x.want)
		}
	}
	begun := crowded(9, 9, 9, 9, 9, 9, 9)
	begun.Jobs[0].Deadline = 1000 // what is left of a roof that was begun takes its day first
	if got := Crowd(begun, half); got != 0 {
		t.Errorf("a roof begun and six others on seven and a half days: %d, not 0", got)
	}
	begun = crowded(9, 9, 9, 9, 9, 9, 9, 9)
	begun.Jobs[0].Deadline = 1000
	if got := Crowd(begun, half); got != 200_00 {
		t.Errorf("a roof begun and seven others on seven and a half days: %d, not 200.00", got)
	}
	wet := crowded(9, 9, 9)
	for i := range wet.Jobs {
		for d := range wet.Days { // all share one table
			wet.Jobs[i].Ways[2].Odds[d][0] = Odds{Known: d > 0}
		}
	}
	// nothing is known of the first day, and the four others do not hold: 0.5 + 2.5 days
	if got := Crowd(wet, half); got != 0 {
		t.Errorf("three jobs on three days: %d, not 0", got)
	}
}

// Whatever the book: no panic, never below nothing nor above what the dearest earns by the
// day, and a crew more makes no day dearer.
func TestCrowdHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawInput(t, 8, 3, 8)
		p := rapid.Float64Range(0, 1).Draw(t, "share")
		share := func(int) float64 { return p }
		got, most := Crowd(in, share), int64(0)
		for i := range in.Jobs {
			if d := LeastDays(&in.Jobs[i]); d > 0 {
				most = max(most, int64(float64(in.Jobs[i].Value)/d))
			}
		}
		if got < 0 || got > most {
			t.Fatalf("a day costs %d, and the dearest job earns %d by the day", got, most)
		}
		in.Crews = append(in.Crews, Crew{ID: "more", Size: 2})
		if more := Crowd(in, share); more > got {
			t.Fatalf("a day costs %d, with a crew more %d", got, more)
		}
	})
}
