package dbtest

import (
	"testing"
	"time"

	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// testStatus: the counts are those of what was put in, as of the moment asked
// about, of one firm or of all that are not on a virtual clock.
func testStatus(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	seed(t, d, callTask(noon()), replanTask(noon().Add(time.Hour)))
	b := book(t, d)
	dec := whole(b, take(t, d, noon()), noon())
	dec.Arm = nil
	commit(t, d, dec)
	open := len(dec.Messages)
	status := func(who string, now time.Time) ledger.Status {
		t.Helper()
		s, err := d.Status(t.Context(), who, now)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}

	s := status(uid, noon())
	if s.Firms[ledger.New] != 1 || len(s.Firms) != 1 {
		t.Errorf("firms: %v", s.Firms)
	}
	if len(s.Tasks) != 0 {
		t.Errorf("nothing is due, but: %v", s.Tasks)
	}
	if s.Open[notify.Pending] != open || len(s.Settled) != 0 {
		t.Errorf("messages: open %v, settled %v; want %d open", s.Open, s.Settled, open)
	}
	if len(s.Calls) != 1 || s.Calls[0] != (ledger.CallCount{Occasion: "evening", Outcome: call.Go, N: 1}) {
		t.Errorf("calls: %v", s.Calls)
	}

	// an hour and six minutes on, the replan is late, and the next day the call too
	late := status(uid, noon().Add(time.Hour+ledger.LateAfter+time.Minute))
	if got := late.Tasks[task.Replan]; got != (ledger.TaskCount{Due: 1, Late: 1, Oldest: noon().Add(time.Hour)}) {
		t.Errorf("replan: %+v", got)
	}
	if _, ok := late.Tasks[task.Call]; ok {
		t.Error("the call is not due before tomorrow")
	}
	if got := status(uid, noon().Add(25*time.Hour)).Tasks[task.Call]; got.Due != 1 {
		t.Errorf("call: %+v", got)
	}

	// a message that went counts for a day
	at := noon().Add(time.Minute)
	if w := status(uid, at).Waiting; w.IsZero() || w.After(at) {
		t.Errorf("a message waits since %v at %v", w, at)
	}
	m := takeMail(t, d, at)
	if err := d.BeginMessage(t.Context(), m, at); err != nil {
		t.Fatal(err)
	}
	if got := status(uid, at).Open; got[notify.Begun] != 1 || got[notify.Pending] != open-1 {
		t.Errorf("messages: %v", got)
	}
	m.State, m.Settled, m.Begun, m.Tries = notify.Unknown, at, at, m.Tries+1
	if err := d.SettleMessage(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	if got := status(uid, at).Settled; got[notify.Unknown] != 1 {
		t.Errorf("settled: %v", got)
	}
	if got := status(uid, at.Add(25*time.Hour)).Settled; len(got) != 0 {
		t.Errorf("a day later: %v", got)
	}

	// what a source's requests cost, in the windows of the moment alone
	r := ledger.Request{Source: "replay", Firm: uid, Task: task.FetchForecast, At: noon(), Until: noon().Add(time.Minute), Cost: 2.5}
	if wait := reserve(t, d, r); !wait.IsZero() {
		t.Fatal("the source is taken")
	}
	if got := status("", noon()).Spending; len(got) != 1 || got[0] != (ledger.Spending{Source: "replay", Minute: 2.5, Hour: 2.5, Day: 2.5}) {
		t.Errorf("spending: %+v", got)
	}
	if got := status("", noon().Add(2*time.Minute)).Spending; got[0] != (ledger.Spending{Source: "replay", Hour: 2.5, Day: 2.5}) {
		t.Errorf("spending two minutes later: %+v", got)
	}

	// all on the real clock: a firm on a virtual one is counted as a firm only
	if got := status("", noon().Add(25*time.Hour)); got.Tasks[task.Call].Due != 1 || len(got.Calls) != 1 {
		t.Errorf("of all: %+v", got)
	}
	if err := d.SetLife(t.Context(), uid, ledger.Virtual, noon()); err != nil {
		t.Fatal(err)
	}
	if got := status("", noon().Add(25*time.Hour)); len(got.Tasks) != 0 || len(got.Calls) != 0 || len(got.Open) != 0 || got.Firms[ledger.Virtual] != 1 {
		t.Errorf("of all, the firm being on a virtual clock: %+v", got)
	}
	if n := d.Failures(); n != 0 {
		t.Errorf("%d errors of the database, where none was", n)
	}
}
