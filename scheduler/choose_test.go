package scheduler

import (
	"strings"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/scheduler/task"
)

// The issue of a cell is the first source's while it is fresh enough for a go,
// then the second's with the reason, then whichever is newest; and the first's
// again when it is well. The credit follows.
func TestIssuesComeFromTheFirstFreshSource(t *testing.T) {
	a, b := &fake{batch: 25, members: 19}, &fake{batch: 1}
	first, second := named("first", a), named("second", b)
	first.Credit, second.Credit = "By A.", "By B."
	d := newDesk(t, 2, 1, first, second)
	chosen := func(now time.Time) (forecast.Issue, string) {
		t.Helper()
		w, err := d.s.open(d.book, task.Task{Firm: "quay", Name: task.Call, Due: now, Slot: now}, now)
		if err != nil {
			t.Fatal(err)
		}
		is, err := w.issues(t.Context())
		if err != nil || len(is) != 1 {
			t.Fatalf("%d issues, %v", len(is), err)
		}
		return is[CellOf(d.book.Jobs[0].Site)], d.s.CreditOf(w.used)
	}
	fetch := func(to time.Time) {
		d.run(task.FetchForecast, noon, to)
		d.run(task.FetchEnsemble, noon, to)
	}
	fetch(noon.Add(time.Hour))
	if is, credit := chosen(noon.Add(time.Hour)); is.Source != "first" || is.Note != "" || is.DetOnly || is.Ens == nil || credit != "By A." {
		t.Errorf("all well: %s, %q, %q", is.Source, is.Note, credit)
	}
	down := func(forecast.Ask) error { return &forecast.Failure{Kind: forecast.Server, Reason: "502"} }
	a.answer = down
	fetch(noon.Add(150 * time.Minute))
	if is, _ := chosen(noon.Add(150 * time.Minute)); is.Source != "first" {
		t.Errorf("while the first is still fresh enough: %s", is.Source)
	}
	fetch(noon.Add(6 * time.Hour))
	is, credit := chosen(noon.Add(6 * time.Hour))
	if is.Source != "second" || !is.DetOnly || is.Ens != nil || credit != "By B." {
		t.Errorf("the first failing for hours: %s, %q", is.Source, credit)
	}
	// the first round after one o'clock; Dublin is an hour before UTC in June
	if !strings.HasPrefix(is.Note, "the weather is from second, since first has failed since 14:") {
		t.Errorf("note %q", is.Note)
	}
	b.answer = down
	fetch(noon.Add(30 * time.Hour))
	if is, _ := chosen(noon.Add(30 * time.Hour)); is.Source != "second" {
		t.Errorf("both failing: the newest is %s", is.Source)
	}
	a.answer, b.answer = nil, nil
	fetch(noon.Add(34 * time.Hour))
	if is, credit := chosen(noon.Add(34 * time.Hour)); is.Source != "first" || is.Note != "" || credit != "By A." {
		t.Errorf("well again: %s, %q, %q", is.Source, is.Note, credit)
	}
}
