package dbtest

import (
	"fmt"
	"testing"
	"time"

	"laycast/db"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// many adds so many firms, and gives their uids.
func many(t *testing.T, d *db.DB, n int) []string {
	t.Helper()
	uids := make([]string, n)
	for i := range uids {
		f := firm()
		f.UID = fmt.Sprintf("firm-%03d", i)
		uids[i] = f.UID
		if _, err := d.SetFirm(t.Context(), f); err != nil {
			t.Fatal(err)
		}
	}
	return uids
}

// takeAny claims a task of any firm, "" where there is none.
func takeAny(t *testing.T, d *db.DB, now time.Time) string {
	t.Helper()
	x, ok, err := d.ClaimTask(t.Context(), "", now, time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	if !ok {
		return ""
	}
	return x.Firm + " " + string(x.Name)
}

// testFairOrder: among many firms what must be in time comes first, no firm's
// work runs beside its own, and work that its taker does not finish stands
// behind the others.
func testFairOrder(t *testing.T, dsn string) {
	d := open(t, dsn)
	u := many(t, d, 4)
	at := func(firm int, n task.Name, due time.Duration) task.Task {
		return task.Task{Firm: u[firm], Name: n, Due: noon().Add(due), Slot: noon().Add(due)}
	}
	seed(t, d,
		at(0, task.Replan, -time.Hour),
		at(1, task.Call, 0), at(1, task.FetchForecast, -time.Minute), // its own weather first
		at(2, task.Call, 0), at(2, task.Replan, -time.Hour), // but not its plan
		at(3, task.Close, -time.Second), at(3, task.FetchForecast, time.Second), // weather that is not due yet
	)
	var got []string
	for x := takeAny(t, d, noon()); x != ""; x = takeAny(t, d, noon()) {
		got = append(got, x)
	}
	want := "[firm-003 close firm-002 call firm-001 fetch-forecast firm-000 replan]"
	if fmt.Sprint(got) != want {
		t.Fatalf("taken in the order\n%v, want\n%s", got, want)
	}
	// nobody finished: a minute later all leases have run out at once
	later := noon().Add(time.Minute)
	if x := takeAny(t, d, later); x != "firm-002 call" {
		t.Errorf("after the leases ran out: %s", x)
	}
	seed(t, d, task.Task{Firm: u[0], Name: task.Call, Due: later.Add(-time.Second)})
	if x := takeAny(t, d, later); x != "firm-000 call" {
		t.Errorf("what fell due before the lease of another ran out: %s", x)
	}
}

// testNeighbours: firms whose tasks fell due at the same moment are taken by where
// they lay when they last ran, and nobody before what could be taken longer.
func testNeighbours(t *testing.T, dsn string) {
	d := open(t, dsn)
	u := many(t, d, 5)
	near, late := []int64{30, 10, 20, 10, 5}, []int{0, 0, 0, 0, 1}
	for _, firm := range u {
		seed(t, d, task.Task{Firm: firm, Name: task.Call, Due: noon(), Slot: noon()})
	}
	next := noon().Add(time.Hour)
	for i := range u {
		x, ok, err := d.ClaimTask(background(), "", noon(), time.Minute)
		if err != nil || !ok || x.Firm != u[i] || x.Near != 0 {
			t.Fatalf("before anybody ran: %+v, %v, want firm %s, nowhere", x, err, u[i])
		}
		n := task.Task{Firm: x.Firm, Name: x.Name, Due: next.Add(time.Duration(late[i]) * time.Second), Slot: next, Near: near[i]}
		if err := d.Commit(background(), ledger.Decision{Firm: x.Firm, Now: noon(), Task: x, Next: n}); err != nil {
			t.Fatal(err)
		}
	}
	var got []string
	for x := takeAny(t, d, next.Add(time.Minute)); x != ""; x = takeAny(t, d, next.Add(time.Minute)) {
		got = append(got, x)
	}
	if want := "[firm-001 call firm-003 call firm-002 call firm-000 call firm-004 call]"; fmt.Sprint(got) != want {
		t.Errorf("taken in the order\n%v, want\n%s", got, want)
	}
}

// testFirmTakers: eight takers, many firms, each task once, no firm twice at a
// time.
func testFirmTakers(t *testing.T, dsn string) {
	d := open(t, dsn)
	const firms = 150
	var ts []task.Task
	for _, u := range many(t, d, firms) {
		for i := range rows / firms {
			ts = append(ts, task.Task{Firm: u, Name: task.Name(fmt.Sprintf("task-%d", i)), Due: noon()})
		}
	}
	seed(t, d, ts...)
	race(t, func() (func() (string, bool, error), func(string)) {
		own := open(t, dsn)
		var x task.Task
		claim := func() (id string, ok bool, err error) {
			x, ok, err = own.ClaimTask(background(), "", noon(), time.Minute)
			return x.Firm + " " + string(x.Name), ok, err
		}
		return claim, func(string) {
			next := task.Task{Firm: x.Firm, Name: x.Name, Due: noon().Add(time.Hour), Slot: noon().Add(time.Hour)}
			if err := own.Commit(background(), ledger.Decision{Firm: x.Firm, Now: noon(), Task: x, Next: next}); err != nil {
				t.Error(err)
			}
		}
	})
}

// testVirtualFirms: a daemon of any firm leaves those on a virtual clock alone.
func testVirtualFirms(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	seed(t, d, callTask(noon()))
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Messages: []notify.Message{mail(notify.KindCoverUp, "J1", "a@example", 1, noon())}})
	if err := d.SetLife(t.Context(), uid, ledger.Virtual, noon()); err != nil {
		t.Fatal(err)
	}
	if x := takeAny(t, d, noon()); x != "" {
		t.Errorf("%s was taken", x)
	}
	if m, ok, err := d.ClaimMessage(t.Context(), "", noon(), time.Minute); ok || err != nil {
		t.Errorf("message %s was taken, %v", m.ID, err)
	}
	take(t, d, noon())
	takeMail(t, d, noon())
}
