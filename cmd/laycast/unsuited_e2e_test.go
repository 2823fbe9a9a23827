package main

import (
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// TestCustomersDayDoesNotSuit: a told day that does not suit is taken back at
// once and never planned again; after the call it is for the telephone.
func TestCustomersDayDoesNotSuit(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(1, "2027-05-03"))
	h := o.house()
	now := dublin(3, 10, 0)
	book := func() ledger.Book {
		t.Helper()
		b, err := h.db.Book(t.Context(), h.firm.UID, mayDay(1))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	put := func(d ledger.Decision) {
		t.Helper()
		d.Firm, d.Revision, d.Now = h.firm.UID, book().Revision, now
		if err := h.db.Commit(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	put(ledger.Decision{Visits: []job.Visit{{Job: "Q-01", N: 1, State: job.Planned, Crew: "gull", Days: []job.Date{mayDay(6)}, Start: 7*60 + 30, Told: mayDay(6), ToldAt: now.Add(-time.Hour)}}})
	sched, err := h.scheduler(scheduler.NewVirtualClock(now), true, post{}, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	say := func(person string, d job.Date) error {
		return sched.Unsuited(t.Context(), h.firm.UID, person, "Q-01", d, job.Date{})
	}
	const who = "Customer1@mail.example" // in any case
	if say("customer2@mail.example", mayDay(6)) == nil || say(who, mayDay(7)) == nil {
		t.Error("another's word, or about a day that was not told, was taken")
	}
	k := call.Call{Firm: h.firm.UID, Job: "Q-01", Visit: 1, Crew: "gull", Date: mayDay(6), Occasion: call.Evening, Revision: 1, Outcome: call.Hold, Made: now}
	if err := say(who, mayDay(6)); err != nil {
		t.Fatal(err)
	}
	b := book()
	if j := b.Jobs[0]; !j.Unsuits(mayDay(6)) || !j.Barred(mayDay(6)) {
		t.Errorf("the job is %+v", j)
	}
	if v := b.Visits[0]; v.Told == mayDay(6) || v.First() == mayDay(6) || v.Moved != mayDay(6) || v.Moves != 0 || !strings.Contains(v.MovedWhy, "does not suit you") {
		t.Errorf("the visit is %+v", v)
	}
	ms, err := h.db.Messages(t.Context(), h.firm.UID)
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	for _, m := range ms {
		kinds = append(kinds, string(m.Kind)+" "+m.Recipient)
	}
	if got := strings.Join(kinds, ", "); len(ms) != 2 || !strings.Contains(got, string(notify.KindCancelled)+" customer1@mail.example") || !strings.Contains(got, "trouble office@quay.example") {
		t.Errorf("mails: %s", got)
	}
	if say(who, mayDay(6)) == nil {
		t.Error("the same day a second time was taken")
	}

	v := book().Visits[0]
	v.Days, v.Crew, v.Told = []job.Date{mayDay(7)}, "gull", mayDay(7)
	k.Date = mayDay(7)
	put(ledger.Decision{Visits: []job.Visit{v}, Calls: []call.Call{k}})
	if err := say(who, mayDay(7)); err == nil || !strings.Contains(err.Error(), "ring us") {
		t.Errorf("after the call: %v", err)
	}
	if _, err := sched.Offers(t.Context(), book(), who, "Q-01", mayDay(7)); err == nil || !strings.Contains(err.Error(), "ring us") {
		t.Errorf("offers after the call: %v", err)
	}
}
