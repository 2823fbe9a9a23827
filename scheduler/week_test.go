package scheduler

import (
	"testing"
	"time"

	"laycast/job"
	"laycast/rules"
)

// Why a visit moved is said by the chance of the crew that it stood with, also where
// a crew of another size could come.
func TestWhyItMovedIsTheCrewsOwn(t *testing.T) {
	w := aWork(t, time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC))
	w.book.Crews = []job.Crew{{ID: "plover", Size: 3}, {ID: "heron", Size: 2}}
	day := func(sealed float64) map[job.Date]rules.Day {
		return map[job.Date]rules.Day{aprilDay(15): {Basis: rules.FromDressed, Starts: []rules.Start{{Sealed: sealed}}}}
	}
	c := candidate{visit: job.Visit{Job: "J1", Crew: "heron"}, booking: w.book.Jobs[0], days: map[int]map[job.Date]rules.Day{2: day(0.6), 3: day(0.4)}}
	p := planner{w: w}
	for crew, want := range map[string]string{"heron": "60 %", "plover": "40 %", "": "40 %"} {
		c.visit.Crew = crew
		for range 20 {
			if got := p.why(c, aprilDay(15)); got != "its chance on Thursday 15 April is now "+want {
				t.Fatalf("with %q: %s, want %s", crew, got, want)
			}
		}
	}
}
