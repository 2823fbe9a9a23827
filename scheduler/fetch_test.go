package scheduler

import (
	"slices"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
	"laycast/scheduler/task"
)

// hoursOf gives a run of so many members of which `whole` know every hour; the
// others know nothing from hour `ends` on.
func hoursOf(ep forecast.Endpoint, start time.Time, members, whole, ends int) forecast.Run {
	h := forecast.NewHours(start, 240, members, forecast.Air, forecast.Rain)
	for m := range members {
		for i := range h.N {
			if m < whole || i < ends {
				h.Cols[forecast.Air][m*h.N+i], h.Cols[forecast.Rain][m*h.N+i] = 12, 0
			}
		}
	}
	return forecast.Run{Source: "test", Endpoint: ep, Hours: h}
}

// A forecast that does not reach past tomorrow is not taken in place of one
// that does; the others of its batch are.
func TestForecastMustReachPastTomorrow(t *testing.T) {
	now := at(t, "2027-06-10T16:15:00Z")
	hour := now.Truncate(time.Hour)
	for _, tt := range []struct {
		name string
		run  forecast.Run
		good bool
	}{
		{"whole hourly run, two days of past", hoursOf(forecast.Deterministic, hour.Add(-48*time.Hour), 1, 1, 0), true},
		{"hourly run that ends at midnight", hoursOf(forecast.Deterministic, hour.Add(-48*time.Hour), 1, 0, 48+8), false},
		{"hourly run that ends just late enough", hoursOf(forecast.Deterministic, hour.Add(-48*time.Hour), 1, 0, 48+36), true},
		{"hourly run that ends an hour sooner", hoursOf(forecast.Deterministic, hour.Add(-48*time.Hour), 1, 0, 48+35), false},
		{"hourly run that is all past", hoursOf(forecast.Deterministic, hour.Add(-300*time.Hour), 1, 1, 0), false},
		{"whole ensemble", hoursOf(forecast.Ensemble, hour, 19, 19, 0), true},
		{"ten whole members of nineteen", hoursOf(forecast.Ensemble, hour, 19, 10, 5), true},
		{"nine whole members of nineteen", hoursOf(forecast.Ensemble, hour, 19, 9, 5), false},
		{"three members, all whole", hoursOf(forecast.Ensemble, hour, 3, 3, 0), true},
		{"nulls alone", hoursOf(forecast.Ensemble, hour, 19, 0, 0), false},
	} {
		good, short := reaching([]forecast.Run{hoursOf(tt.run.Endpoint, hour, 1, 1, 0), tt.run}, now)
		if want := 1; tt.good {
			if want = 2; len(good) != want || short != nil {
				t.Errorf("%s: %d taken, %v", tt.name, len(good), short)
			}
		} else if len(good) != want || short == nil || !strings.Contains(short.Error(), "next 36 hours") {
			t.Errorf("%s: %d taken, %v", tt.name, len(good), short)
		}
	}
}

// armed reports whether a work asks for a new plan.
func armed(w *work) bool {
	return slices.ContainsFunc(w.out.Arm, func(x task.Task) bool { return x.Name == task.Replan && x.Due.Equal(w.now) })
}

// Two firms with sites in one cell: the second finds its weather fetched, asks
// nobody, and still plans by what is new; once it has, it plans no more.
func TestNewsFetchedByAnotherFirmIsPlannedBy(t *testing.T) {
	f := &fake{batch: 25, members: 19}
	d := newDesk(t, 2, 1, named("first", f))
	d.run(task.FetchForecast, noon, noon.Add(time.Minute)) // the first firm's
	asked := len(f.asks)
	fetch := func(made time.Time) *work {
		t.Helper()
		if d.book.Week = nil; !made.IsZero() {
			d.book.Week = &plan.Week{Made: made}
		}
		now := noon.Add(10 * time.Minute)
		w, err := d.s.open(d.book, task.Task{Firm: "quay", Name: task.FetchForecast, Due: now, Slot: now}, now)
		if err == nil {
			err = w.fetch(t.Context(), forecast.Deterministic)
		}
		if err != nil {
			t.Fatal(err)
		}
		if len(f.asks) != asked {
			t.Errorf("asked %d times more", len(f.asks)-asked)
		}
		return w
	}
	for _, x := range []struct {
		name string
		made time.Time
		want bool
	}{
		{"no plan yet", time.Time{}, true},
		{"a plan from before the weather", noon.Add(-time.Hour), true},
		{"a plan by this weather", noon.Add(time.Second), false},
	} {
		if got := armed(fetch(x.made)); got != x.want {
			t.Errorf("%s: a new plan asked for: %t", x.name, got)
		}
	}
}

// A firm that waited for the right to ask, while another asked for the same cell,
// does not ask again, and is given back what it had booked.
func TestCellFetchedWhileWaitingIsNotAskedAgain(t *testing.T) {
	f := &fake{batch: 25, members: 19}
	d := newDesk(t, 2, 2, named("first", f))
	cells := Cells(d.book.Jobs)
	other := func(some ...forecast.Cell) {
		for _, c := range some {
			r := hoursOf(forecast.Deterministic, noon.Add(-48*time.Hour), 1, 1, 0)
			r.Source, r.Cell, r.Digest, r.FirstSeen, r.LastSeen, r.Changed = "first", c, "x", noon, noon, noon
			d.m.runs[cellKey{endKey{"first", forecast.Deterministic}, c}] = r
		}
	}
	for n, want := range []int{2, 1, 0} { // cells the other firm fetched, places still asked for
		clear(d.m.runs)
		f.asks, d.m.booked, d.next = nil, 0, map[task.Name]task.Task{}
		d.m.reserve = func(ledger.Request) time.Time { other(cells[:n]...); return time.Time{} }
		d.run(task.FetchForecast, noon, noon.Add(time.Minute))
		// this source counts requests, not places
		if booked := float64(min(want, 1)); f.places() != want || d.m.booked != booked {
			t.Errorf("%d of 2 cells fetched meanwhile: %d places asked for, %g booked and not %g", n, f.places(), d.m.booked, booked)
		}
	}
}

// A round that began under a clock that was ahead and is set right while it is on
// asks once and ends: it would ask without a pause until the clock is there again.
func TestRoundEndsWhenTheClockIsSetBack(t *testing.T) {
	f := &fake{batch: 25, members: 19}
	d := newDesk(t, 2, 1, named("first", f))
	began := noon.Add(2 * time.Hour)
	w, err := d.s.open(d.book, task.Task{Firm: "quay", Name: task.FetchForecast, Due: began, Slot: began}, noon)
	if err == nil {
		err = w.fetch(t.Context(), forecast.Deterministic)
	}
	if err != nil {
		t.Fatal(err)
	}
	if len(f.asks) != 1 || !w.out.Next.Due.After(noon) {
		t.Errorf("asked %d times, and again at %s", len(f.asks), w.out.Next.Due)
	}
}
