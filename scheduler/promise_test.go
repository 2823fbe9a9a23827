package scheduler

import (
	"testing"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// A told date is kept while its day would not be called off: it is let go below
// the no-go bound of the chance, or above that of rain on the open roof.
func TestAToldDateIsKeptWhileItsDayIsLikely(t *testing.T) {
	day := job.Date{Year: 2027, Month: time.May, Day: 12}
	w := &work{book: ledger.Book{Firm: job.DefaultFirm(), Crews: []job.Crew{{ID: "gull", Size: 2}}}, zone: time.UTC}
	p := &planner{w: w, day0: day.AddDays(-3)}
	for _, x := range []struct {
		told           job.Date
		sealed, rained float64
		want           bool
	}{
		{day, 0.50, 0.20, true},
		{day, 0.49, 0, false},
		{day, 0.75, 0.21, false},
		{day.AddDays(1), 1, 0, false}, // the plan has moved it already
		{job.Date{}, 1, 0, false},     // nobody was told
	} {
		c := &candidate{visit: job.Visit{Job: "q", N: 1, Crew: "gull", Days: []job.Date{day}, Told: x.told}}
		c.days = map[int]map[job.Date]rules.Day{2: {day: {Starts: []rules.Start{{Sealed: x.sealed, RainOpen: x.rained}}}}}
		if got := p.likely(c); got != x.want {
			t.Errorf("told %s, chance %.2f, rain %.2f: kept %t", x.told, x.sealed, x.rained, got)
		}
	}
}

// A customer who was told the first day of a visit knows that its crew comes on
// the days after, once the first was called go.
func TestTheSecondDayOfAVisitNeedsNoTelling(t *testing.T) {
	first := job.Date{Year: 2027, Month: time.May, Day: 12}
	v := job.Visit{Job: "q", N: 1, State: job.Planned, Days: []job.Date{first, first.AddDays(1)}, Told: first}
	went := call.Call{Job: "q", Visit: 1, Date: first, Outcome: call.Go}
	stayed := went
	stayed.Outcome = call.NoGo
	for _, x := range []struct {
		name  string
		v     job.Visit
		calls []call.Call
		d     job.Date
		want  bool
	}{
		{"the day after a go", v, []call.Call{went}, first.AddDays(1), true},
		{"the first day itself", v, []call.Call{went}, first, false},
		{"the first day was not called", v, nil, first.AddDays(1), false},
		{"the first day was called off", v, []call.Call{stayed}, first.AddDays(1), false},
		{"no day of the visit", v, []call.Call{went}, first.AddDays(2), false},
		{"nobody was told", job.Visit{Job: "q", N: 1, State: job.Planned, Days: v.Days}, []call.Call{went}, first.AddDays(1), false},
	} {
		w := &work{book: ledger.Book{Firm: job.DefaultFirm(), Calls: x.calls}}
		if got := w.continues(x.v, x.d); got != x.want {
			t.Errorf("%s: %t", x.name, got)
		}
		if got := w.unheard(x.v, x.d, call.Call{Outcome: call.NoGo}); x.want && got {
			t.Errorf("%s: taken off without a word", x.name)
		}
	}
}

// A day is told at a chance of at least the firm's bound and a risk of rain on
// the open roof that is nearer to a go than to a no-go.
func TestFitToTell(t *testing.T) {
	w := &work{book: ledger.Book{Firm: job.DefaultFirm()}} // tell .80; rain .08 and .20
	for _, x := range []struct {
		chance, rain float64
		want         bool
	}{{0.80, 0.13, true}, {0.79, 0, false}, {0.90, 0.15, false}} {
		if got := w.fitToTell(x.chance, x.rain); got != x.want {
			t.Errorf("chance %.2f, rain %.2f: %t", x.chance, x.rain, got)
		}
	}
}
