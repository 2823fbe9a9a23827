package dbtest

import (
	"testing"
	"time"

	"laycast/notify"
)

// testUnheard: an evening call counts as unheard from the time asked about
// until its crew's message is sent.
func testUnheard(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	seed(t, d, callTask(noon()))
	dec := whole(book(t, d), take(t, d, noon()), noon())
	k := dec.Calls[0]
	m := &dec.Messages[0]
	m.Kind, m.Audience, m.Job, m.Date = notify.KindCall, notify.ToCrew, k.Job, k.Date
	m.ID = m.Name.ID()
	dec.Messages = dec.Messages[:1]
	commit(t, d, dec)
	count := func(want int, madeBefore time.Time) {
		t.Helper()
		n, err := d.Unheard(t.Context(), uid, k.Date, madeBefore)
		if err != nil || n != want {
			t.Fatalf("unheard: %d, %v; want %d", n, err, want)
		}
	}
	count(0, k.Made)
	count(1, k.Made.Add(time.Minute))
	if n, err := d.Unheard(t.Context(), uid, k.Date.AddDays(1), k.Made.Add(time.Minute)); err != nil || n != 0 {
		t.Fatalf("for later days: %d, %v", n, err)
	}
	got, ok, err := d.ClaimMessage(t.Context(), uid, m.NotBefore.Add(time.Minute), time.Minute)
	if err != nil || !ok || got.ID != m.ID {
		t.Fatalf("claim %s: %+v, %v, %v", m.ID, got, ok, err)
	}
	now := m.NotBefore.Add(time.Minute)
	if err := d.BeginMessage(t.Context(), got, now); err != nil {
		t.Fatal(err)
	}
	count(1, k.Made.Add(time.Minute))
	got.State, got.Settled, got.Begun, got.Tries = notify.Sent, now, now, got.Tries+1
	if err := d.SettleMessage(t.Context(), got); err != nil {
		t.Fatal(err)
	}
	count(0, k.Made.Add(time.Minute))
}
