package dbtest

import (
	"errors"
	"testing"
	"time"

	"laycast/db"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

func post(t *testing.T, d *db.DB, ms ...notify.Message) {
	t.Helper()
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Messages: ms})
}

func settle(t *testing.T, d *db.DB, m notify.Message, state notify.State, at time.Time) {
	t.Helper()
	m.State, m.Settled = state, at
	if err := d.SettleMessage(t.Context(), m); err != nil {
		t.Fatal(err)
	}
}

// testMessageStates walks a message through a failed try, a crash after begin
// and its end.
func testMessageStates(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	m := mail(notify.KindCall, "J1", "heron@saltbox.example", 1, noon())
	m.NotBefore, m.Expires = noon().Add(time.Minute), noon().Add(5*time.Hour)
	post(t, d, m)
	noMail(t, d, noon())
	unheld := m
	unheld.State, unheld.Settled = notify.Refused, noon()
	for _, err := range []error{d.BeginMessage(t.Context(), m, noon()), d.SettleMessage(t.Context(), unheld)} {
		if !errors.Is(err, ledger.ErrLeaseLost) {
			t.Fatalf("without a lease: %v", err)
		}
	}

	now := m.NotBefore
	got := takeMail(t, d, now)
	if string(got.Wire) != string(m.Wire) || got.Name != m.Name || got.Lease == "" {
		t.Fatalf("claimed %+v", got)
	}
	noMail(t, d, now)
	if err := d.BeginMessage(t.Context(), got, now); err != nil {
		t.Fatal(err)
	}
	// failed before the body: again later
	got.State, got.NextTry, got.Note = notify.Pending, now.Add(10*time.Minute), "451 try later"
	if err := d.SettleMessage(t.Context(), got); err != nil {
		t.Fatal(err)
	}
	kept := message(t, d, m.ID)
	if kept.State != notify.Pending || kept.Tries != 1 || !kept.Settled.IsZero() || kept.Note != "451 try later" || kept.Lease != "" {
		t.Fatalf("after a failed try: %+v", kept)
	}
	noMail(t, d, now.Add(10*time.Minute-time.Millisecond))

	// crash after begin: the next one gets it, begun, when the lease ran out
	now = now.Add(10 * time.Minute)
	dead := takeMail(t, d, now)
	if err := d.BeginMessage(t.Context(), dead, now); err != nil {
		t.Fatal(err)
	}
	noMail(t, d, now.Add(59*time.Second))
	got = takeMail(t, d, now.Add(time.Minute))
	if got.State != notify.Begun || got.Tries != 2 || !got.Begun.Equal(now) || got.Lease == dead.Lease {
		t.Fatalf("after a crash: %+v", got)
	}
	// the dead one wakes up and finds its lease gone
	dead.State, dead.Settled = notify.Sent, now
	for _, err := range []error{d.SettleMessage(t.Context(), dead), d.BeginMessage(t.Context(), dead, now)} {
		if !errors.Is(err, ledger.ErrLeaseLost) {
			t.Fatalf("under a lost lease: %v", err)
		}
	}
	// nobody settles without a time, or into begun
	got.State = notify.Unknown
	if err := d.SettleMessage(t.Context(), got); err == nil {
		t.Fatal("settled without a time")
	}
	got.State, got.Settled = notify.Begun, now
	if err := d.SettleMessage(t.Context(), got); err == nil {
		t.Fatal("settled as begun")
	}
	got.State = notify.Unknown
	settle(t, d, got, got.State, now)
	if kept = message(t, d, m.ID); kept.State != notify.Unknown || !kept.Settled.Equal(now) || kept.Lease != "" {
		t.Fatalf("at its end: %+v", kept)
	}
	noMail(t, d, now.Add(24*time.Hour))
	if err := d.SettleMessage(t.Context(), got); !errors.Is(err, ledger.ErrLeaseLost) {
		t.Fatalf("settled twice: %v", err)
	}
	// what was never begun was never sent
	other := mail(notify.KindTrouble, "", "office@saltbox.example", 1, noon())
	post(t, d, other)
	got = takeMail(t, d, now)
	got.State, got.Settled = notify.Sent, now
	if err := d.SettleMessage(t.Context(), got); err == nil {
		t.Fatal("sent without having begun")
	}
	settle(t, d, got, notify.Refused, now)
	if _, err := d.Message(t.Context(), "another", m.ID); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("another firm's message: %v", err)
	}
	all, err := d.Messages(t.Context(), uid)
	if err != nil || len(all) != 2 || all[0].Wire != nil {
		t.Fatalf("messages %+v, %v", all, err)
	}
}

// testWithdraw: a new message about a day takes the place of older ones to the
// same person that were not begun, and of nothing else.
func testWithdraw(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1", "J2")
	at := func(s int) time.Time { return noon().Add(time.Duration(s) * time.Second) }
	const ann, bob = "ann@example", "bob@example"
	begun := mail(notify.KindDateTold, "J1", ann, 1, at(0))
	post(t, d, begun)
	held := takeMail(t, d, at(1))
	if err := d.BeginMessage(t.Context(), held, at(1)); err != nil {
		t.Fatal(err)
	}
	stale := mail(notify.KindCall, "J1", ann, 2, at(2))
	otherJob := mail(notify.KindCall, "J2", ann, 3, at(2))
	otherPerson := mail(notify.KindCall, "J1", bob, 4, at(2))
	otherKind := mail(notify.KindCoverUp, "J1", ann, 5, at(2))
	otherDay := mail(notify.KindDateTold, "J1", ann, 6, at(2))
	otherDay.Date = day(15)
	otherDay.ID = otherDay.Name.ID()
	post(t, d, stale, otherJob, otherPerson, otherKind, otherDay)
	// one that is claimed but not begun is still to be stopped
	claimed := takeMail(t, d, at(2))
	for claimed.ID == begun.ID || claimed.Recipient != bob {
		claimed = takeMail(t, d, at(2))
	}

	fresh := mail(notify.KindSecondLook, "J1", ann, 7, at(3))
	twin := mail(notify.KindDateMoved, "J1", ann, 8, at(3)) // of the same decision
	toBob := mail(notify.KindSecondLook, "J1", bob, 9, at(3))
	post(t, d, fresh, twin, toBob)
	want := map[string]notify.State{
		begun.ID: notify.Begun, stale.ID: notify.Withdrawn, otherJob.ID: notify.Pending,
		otherPerson.ID: notify.Withdrawn, otherKind.ID: notify.Pending, otherDay.ID: notify.Pending,
		fresh.ID: notify.Pending, twin.ID: notify.Pending, toBob.ID: notify.Pending,
	}
	check := func() {
		t.Helper()
		for id, state := range want {
			if m := message(t, d, id); m.State != state || (state == notify.Withdrawn && (m.Note == "" || m.Settled.IsZero())) {
				t.Errorf("%s %s to %s is %s, want %s", m.Job, m.Kind, m.Recipient, m.State, state)
			}
		}
	}
	check()
	if err := d.BeginMessage(t.Context(), claimed, at(3)); !errors.Is(err, ledger.ErrLeaseLost) {
		t.Fatalf("a withdrawn message was begun: %v", err)
	}
	// the old one again is not new, and a warning replaces nothing
	post(t, d, stale, mail(notify.KindCoverUp, "J1", ann, 10, at(4)))
	check()
}

// testNoOvertaking: messages to one person about one visit go in the order in
// which they were made; what is about no job waits for nothing.
func testNoOvertaking(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	at := func(s int) time.Time { return noon().Add(time.Duration(s) * time.Second) }
	first := mail(notify.KindCoverUp, "J1", "ann@example", 1, at(0))
	first.NotBefore = at(100)
	second := mail(notify.KindCall, "J1", "ann@example", 2, at(1))
	week := mail(notify.KindWeek, "", "owner@example", 3, at(2))
	week.NotBefore = at(200)
	signIn := mail(notify.KindSignIn, "", "owner@example", 4, at(3))
	post(t, d, first, second, week, signIn)

	m := takeMail(t, d, at(10))
	if m.ID != signIn.ID {
		t.Fatalf("given out %s %s", m.Kind, m.Recipient)
	}
	settle(t, d, m, notify.Refused, at(10))
	noMail(t, d, at(10))
	m = takeMail(t, d, at(100))
	if m.ID != first.ID {
		t.Fatalf("given out %s before the first", m.Kind)
	}
	if err := d.BeginMessage(t.Context(), m, at(100)); err != nil {
		t.Fatal(err)
	}
	noMail(t, d, at(101)) // begun is not settled
	settle(t, d, m, notify.Sent, at(102))
	if m := takeMail(t, d, at(102)); m.ID != second.ID {
		t.Fatalf("given out %s, not the second", m.Kind)
	}
}

// testExpiredInTheWay: a message past its use does not hold up a later one,
// marked or not, unless somebody is delivering it.
func testExpiredInTheWay(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	at := func(s int) time.Time { return noon().Add(time.Duration(s) * time.Second) }
	first := mail(notify.KindCoverUp, "J1", "ann@example", 1, at(0))
	first.Expires = at(100)
	second := mail(notify.KindCall, "J1", "ann@example", 2, at(1))
	post(t, d, first, second)
	held := takeMail(t, d, at(90)) // until 150
	if held.ID != first.ID {
		t.Fatalf("given out %s", held.Kind)
	}
	noMail(t, d, at(120))
	if n, err := d.ExpireMessages(t.Context(), "", at(120)); n != 0 || err != nil {
		t.Fatalf("%d expired under a delivery, %v", n, err)
	}
	next, ok, err := d.NextDue(t.Context(), uid)
	if err != nil || !ok || !next.Equal(at(150)) {
		t.Fatalf("next due %s, %v, %v", next, ok, err)
	}
	if m := takeMail(t, d, at(150)); m.ID != second.ID {
		t.Fatalf("given out %s", m.Kind)
	}
	if n, err := d.ExpireMessages(t.Context(), "another", at(150)); n != 0 || err != nil {
		t.Fatalf("%d of another firm expired, %v", n, err)
	}
	if n, err := d.ExpireMessages(t.Context(), uid, at(150)); n != 1 || err != nil {
		t.Fatalf("%d expired, %v", n, err)
	}
	if err := d.BeginMessage(t.Context(), held, at(151)); !errors.Is(err, ledger.ErrLeaseLost) {
		t.Fatalf("an expired message was begun: %v", err)
	}
}

func testExpire(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	m := mail(notify.KindCall, "J1", "ann@example", 1, noon())
	m.Expires = noon().Add(time.Hour)
	forEver := mail(notify.KindWeek, "", "owner@example", 2, noon())
	begun := mail(notify.KindCall, "J1", "bob@example", 3, noon().Add(-time.Minute))
	begun.Expires = noon()
	post(t, d, m, forEver, begun)
	held := takeMail(t, d, noon().Add(-time.Second))
	if err := d.BeginMessage(t.Context(), held, noon()); err != nil || held.ID != begun.ID {
		t.Fatal(err)
	}
	if n, err := d.ExpireMessages(t.Context(), uid, noon().Add(time.Hour-time.Millisecond)); n != 0 || err != nil {
		t.Fatalf("%d expired early, %v", n, err)
	}
	// past its time it is not given out, even before it is marked
	late := noon().Add(time.Hour)
	if got := takeMail(t, d, late); got.ID == m.ID {
		t.Fatal("an expired message was given out")
	}
	if n, err := d.ExpireMessages(t.Context(), uid, late); n != 1 || err != nil {
		t.Fatalf("%d expired, %v", n, err)
	}
	if got := message(t, d, m.ID); got.State != notify.Expired || !got.Settled.Equal(late) || got.Note == "" {
		t.Fatalf("expired: %+v", got)
	}
	if got := message(t, d, begun.ID); got.State != notify.Begun {
		t.Fatalf("what was begun is %s", got.State)
	}
}
