package dbtest

import (
	"testing"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// testStopped: a mail is stopped once, by person in any case and kind, and comes
// again when asked for.
func testStopped(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	const who = "Office@saltbox.example"
	is := func(want bool) {
		t.Helper()
		got, err := d.Stopped(t.Context(), uid, "office@Saltbox.example", notify.KindWeek)
		if err != nil || got != want {
			t.Fatalf("stopped: %t, %v; want %t", got, err, want)
		}
	}
	is(false)
	for range 2 {
		if err := d.Stop(t.Context(), uid, who, notify.KindWeek, true, noon()); err != nil {
			t.Fatal(err)
		}
	}
	is(true)
	if other, err := d.Stopped(t.Context(), uid, who, notify.KindTrouble); err != nil || other {
		t.Fatalf("another kind: %t, %v", other, err)
	}
	b, err := d.Book(t.Context(), uid, job.Date{})
	if err != nil || len(b.Stopped) != 1 || b.Stopped[0] != (ledger.Stopped{Person: "office@saltbox.example", Kind: notify.KindWeek, At: noon()}) {
		t.Fatalf("the book says %+v, %v", b.Stopped, err)
	}
	for range 2 {
		if err := d.Stop(t.Context(), uid, who, notify.KindWeek, false, noon()); err != nil {
			t.Fatal(err)
		}
	}
	is(false)
}

// testChannels: what goes by one channel neither holds up nor withdraws what
// goes by another, and a customer is written to by mail alone.
func testChannels(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	hook := mail(notify.KindCall, "J1", "heron@saltbox.example", 1, noon())
	hook.Channel, hook.Audience = notify.Webhook, notify.ToCrew
	hook.ID = hook.Name.ID()
	letter := mail(notify.KindCall, "J1", "heron@saltbox.example", 1, noon().Add(time.Second))
	post(t, d, hook)
	stuck := takeMail(t, d, noon())
	post(t, d, letter)
	if got := takeMail(t, d, noon().Add(time.Second)); got.ID != letter.ID {
		t.Fatalf("took %s (%s), want the mail", got.ID, got.Channel)
	}
	if stuck.Channel != notify.Webhook {
		t.Fatalf("the webhook's message came back as %q", stuck.Channel)
	}
	customer := mail(notify.KindDateTold, "J1", "maeve@post.example", 1, noon())
	customer.Channel, customer.Audience = notify.Webhook, notify.ToCustomer
	customer.ID = customer.Name.ID()
	if err := d.Commit(t.Context(), ledger.Decision{Firm: uid, Now: noon(), Messages: []notify.Message{customer}}); err == nil {
		t.Error("a customer's message by webhook was taken")
	}
}
