package dbtest

import (
	"reflect"
	"sync"
	"testing"
	"time"

	"laycast/db"
	"laycast/forecast"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

func testSources(t *testing.T, dsn string) {
	d := filled(t, dsn)
	a := ledger.SourceState{Source: "replay", Endpoint: forecast.Ensemble, Failures: 3, Since: noon(), Until: noon().Add(time.Hour),
		Kind: forecast.Quota, Note: "429", Tried: noon().Add(time.Minute), Most: 5}
	b := ledger.SourceState{Source: "replay", Endpoint: forecast.Deterministic, Good: noon()}
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Sources: []ledger.SourceState{a, b}})
	got, err := d.SourceStates(t.Context())
	if err != nil || !reflect.DeepEqual(got, []ledger.SourceState{b, a}) {
		t.Fatalf("%+v, %v", got, err)
	}
	a = ledger.SourceState{Source: "replay", Endpoint: forecast.Ensemble, Good: noon().Add(time.Hour)}
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Sources: []ledger.SourceState{a}})
	if got, err = d.SourceStates(t.Context()); err != nil || !reflect.DeepEqual(got, []ledger.SourceState{b, a}) {
		t.Fatalf("%+v, %v", got, err)
	}
}

// testRefused: a refused cell is kept, kept longer when it is refused again, and
// forgotten.
func testRefused(t *testing.T, dsn string) {
	d := filled(t, dsn)
	want := func(cs ...ledger.RefusedCell) {
		t.Helper()
		got, err := d.RefusedCells(t.Context())
		if err != nil || len(got)+len(cs) > 0 && !reflect.DeepEqual(got, cs) {
			t.Fatalf("%+v, %v; want %+v", got, err, cs)
		}
	}
	want()
	one := ledger.RefusedCell{Source: "replay", Endpoint: forecast.Deterministic, Cell: cell(53.45), Since: noon(), Until: noon().Add(time.Hour), Note: "no data"}
	two := one
	two.Cell = cell(54)
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Refused: []ledger.RefusedCell{two, one}})
	want(one, two)
	again := one
	again.Since, again.Until, again.Note = noon().Add(time.Hour), noon().Add(2*time.Hour), "still none"
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Refused: []ledger.RefusedCell{again, {Source: "replay", Endpoint: forecast.Deterministic, Cell: two.Cell}}})
	again.Since = one.Since
	want(again)
}

func reserve(t *testing.T, d *db.DB, r ledger.Request) time.Time {
	t.Helper()
	wait, err := d.Reserve(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	return wait
}

// testAllowance: the limits hold by the hour of the request, over restarts, and
// what was not used comes back.
func testAllowance(t *testing.T, dsn string) {
	d := filled(t, dsn)
	r := ledger.Request{Source: "replay", Firm: uid, Task: task.FetchForecast, Limits: ledger.Limits{Minute: 10, Hour: 25, Day: 30}, Cost: 6}
	ask := func(at time.Time) time.Time {
		t.Helper()
		r.At, r.Until = at, at.Add(2*time.Minute)
		return reserve(t, d, r)
	}
	done := func(back float64) {
		t.Helper()
		over := r
		over.Back = back
		commit(t, d, ledger.Decision{Firm: uid, Now: r.At, Asked: &over})
	}
	at := noon().Add(5 * time.Second)
	if wait := ask(at); !wait.IsZero() {
		t.Fatalf("the first request waits until %s", wait)
	}
	done(0)
	if wait := ask(at.Add(time.Second)); !wait.Equal(noon().Add(70 * time.Second)) {
		t.Fatalf("6 and 6 of 10 a minute: %s", wait)
	}
	// another process, which remembers nothing
	d = open(t, dsn)
	if wait := ask(at.Add(2 * time.Second)); !wait.Equal(noon().Add(70 * time.Second)) {
		t.Fatalf("after a restart: %s", wait)
	}
	for i := 1; i <= 3; i++ { // 24 of 25 an hour are then spent
		if wait := ask(at.Add(time.Duration(i) * time.Minute)); !wait.IsZero() {
			t.Fatalf("minute %d: %s", i, wait)
		}
		done(0)
	}
	if wait := ask(at.Add(4 * time.Minute)); !wait.Equal(noon().Add(time.Hour + 10*time.Second)) {
		t.Fatalf("30 of 25 an hour: %s", wait)
	}
	if wait := ask(at.Add(time.Hour)); !wait.IsZero() { // 30 of 30 a day
		t.Fatalf("the next hour: %s", wait)
	}
	done(5) // it failed, and a failure costs 1
	r.Cost = 5
	if wait := ask(at.Add(time.Hour + time.Minute)); !wait.IsZero() {
		t.Fatalf("25 and 5 of 30 a day: %s", wait)
	}
	done(0)
	midnight := noon().Truncate(24 * time.Hour).Add(24 * time.Hour) // elapsed: a day of UTC
	if wait := ask(at.Add(2 * time.Hour)); !wait.Equal(midnight.Add(10 * time.Second)) {
		t.Fatalf("35 of 30 a day: %s", wait)
	}
	r.Cost = 99 // more than a whole limit goes alone
	if wait := ask(midnight.Add(time.Minute)); !wait.IsZero() {
		t.Fatalf("a request above every limit, by itself: %s", wait)
	}
}

// testOneRequest: one request runs at a time; one whose maker died is over when
// its time is, or when its firm is taken hold of.
func testOneRequest(t *testing.T, dsn string) {
	d := filled(t, dsn)
	r := ledger.Request{Source: "replay", Firm: uid, Task: task.FetchForecast, At: noon(), Until: noon().Add(2 * time.Minute), Cost: 1}
	other := r
	other.Task = task.FetchEnsemble
	var free sync.Map
	var group sync.WaitGroup
	for i := range 8 {
		group.Go(func() {
			mine := r
			mine.Firm = string(rune('a' + i))
			if wait, err := d.Reserve(t.Context(), mine); err != nil {
				t.Error(err)
			} else if wait.IsZero() {
				free.Store(mine.Firm, true)
			}
		})
	}
	group.Wait()
	n := 0
	free.Range(func(any, any) bool { n++; return true })
	if n != 1 {
		t.Fatalf("%d of 8 ask at the same time", n)
	}
	if wait := reserve(t, d, r); !wait.Equal(noon().Add(10 * time.Second)) {
		t.Fatalf("while another asks: look again at %s", wait)
	}
	r.At, r.Until = noon().Add(2*time.Minute), noon().Add(4*time.Minute)
	if wait := reserve(t, d, r); !wait.IsZero() {
		t.Fatalf("after the other's time: %s", wait)
	}
	other.At, other.Until = r.At, r.Until
	if wait := reserve(t, d, other); wait.IsZero() {
		t.Fatal("two tasks of one firm ask at once")
	}
	if wait := reserve(t, d, ledger.Request{Source: "another", Firm: uid, Task: task.FetchEnsemble, At: r.At, Until: r.Until}); !wait.IsZero() {
		t.Fatalf("another source waits: %s", wait)
	}
	if err := d.FreeLeases(t.Context(), uid); err != nil {
		t.Fatal(err)
	}
	if wait := reserve(t, d, other); !wait.IsZero() {
		t.Fatalf("after the leases were freed: %s", wait)
	}
	early := r // by a clock that is far behind
	early.At, early.Until = noon().AddDate(-1, 0, 0), noon().AddDate(-1, 0, 0).Add(2*time.Minute)
	if wait := reserve(t, d, early); !wait.IsZero() {
		t.Fatalf("kept from asking by a holder who lives in another year: %s", wait)
	}
}
