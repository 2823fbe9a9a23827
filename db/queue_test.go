package db_test

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"laycast/db"
	"laycast/db/pgtest"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// What waits is taken in the order of an index: read and sorted anew for each message,
// an evening of many firms costs the square of their mails.
func TestMessagesAreTakenByAnIndex(t *testing.T) {
	for name, fresh := range map[string]func() string{
		"SQLite":     func() string { return freshSQLite(t) },
		"PostgreSQL": func() string { return pgtest.Start(t) },
	} {
		t.Run(name, func(t *testing.T) {
			d, err := db.Open(t.Context(), fresh())
			if err != nil {
				t.Fatal(err)
			}
			defer d.Close()
			sendSome(t, d)
			for uid, index := range map[string]string{"": "messages_ready", "saltbox": "messages_ready_firm"} {
				plan, err := d.PlanForTest(t.Context(), uid)
				if err != nil {
					t.Fatal(err)
				}
				if !strings.Contains(plan, index+" ") || strings.Contains(plan, "Sort") || strings.Contains(plan, "TEMP B-TREE") {
					t.Errorf("firm %q: it does not walk %s:\n%s", uid, index, plan)
				}
			}
		})
	}
}

// sendSome leaves a few mails that were sent and none that waits: with such statistics
// PostgreSQL would rather sort.
func sendSome(t *testing.T, d *db.DB) {
	t.Helper()
	f := job.DefaultFirm()
	f.UID = "saltbox"
	if _, err := d.SetFirm(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	now := time.Date(2027, 4, 1, 21, 0, 0, 0, time.UTC)
	dec := ledger.Decision{Firm: f.UID, Now: now}
	for i := range 9 {
		n := notify.Name{Firm: f.UID, Kind: notify.KindCall, Job: "J-" + strconv.Itoa(i), Visit: 1, Date: job.DateOf(now), Recipient: "a@example", Channel: notify.Mail}
		dec.Messages = append(dec.Messages, notify.Message{ID: n.ID(), Name: n, Audience: notify.ToCrew, Created: now, State: notify.Pending, Wire: []byte("wire")})
	}
	if err := d.Commit(t.Context(), dec); err != nil {
		t.Fatal(err)
	}
	for range dec.Messages {
		m, ok, err := d.ClaimMessage(t.Context(), f.UID, now, time.Minute)
		if err != nil || !ok {
			t.Fatalf("no message to send: %v", err)
		}
		if err := d.BeginMessage(t.Context(), m, now); err != nil {
			t.Fatal(err)
		}
		m.State, m.Settled = notify.Sent, now
		if err := d.SettleMessage(t.Context(), m); err != nil {
			t.Fatal(err)
		}
	}
}
