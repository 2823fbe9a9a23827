package db_test

import (
	"fmt"
	"testing"
	"time"

	"laycast/db"
	"laycast/db/pgtest"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// BenchmarkStatus reads what one scrape of the metrics tells of 1,000 firms, each
// with every task due and 20 open messages.
func BenchmarkStatus(b *testing.B) {
	b.Run("SQLite", func(b *testing.B) { benchStatus(b, freshSQLite(b)) })
	b.Run("PostgreSQL", func(b *testing.B) { benchStatus(b, pgtest.Start(b)) })
}

func benchStatus(b *testing.B, dsn string) {
	ctx := b.Context()
	d, err := db.Open(ctx, dsn)
	if err != nil {
		b.Fatal(err)
	}
	defer d.Close()
	now := time.Date(2027, 4, 1, 21, 0, 0, 0, time.UTC)
	const firms, each = 1000, 20
	for i := range firms {
		f := job.DefaultFirm()
		f.UID = fmt.Sprintf("firm-%04d", i)
		if _, err := d.SetFirm(ctx, f); err != nil {
			b.Fatal(err)
		}
		var ts []task.Task
		for _, n := range task.Names() {
			ts = append(ts, task.Task{Firm: f.UID, Name: n, Due: now})
		}
		if err := d.SeedTasks(ctx, ts); err != nil {
			b.Fatal(err)
		}
		t, ok, err := d.ClaimTask(ctx, f.UID, now, time.Minute)
		if err != nil || !ok {
			b.Fatal(ok, err)
		}
		dec := ledger.Decision{Firm: f.UID, Revision: 1, Now: now, Task: t, Next: t}
		for n := range each {
			m := notify.Message{Name: notify.Name{Firm: f.UID, Kind: notify.KindCall, Recipient: fmt.Sprintf("crew%d@firm.example", n), Channel: notify.Mail},
				State: notify.Pending, Created: now, Audience: notify.ToCrew, Expires: now.Add(time.Hour), Wire: make([]byte, 8_000)}
			m.ID = m.Name.ID()
			m.MessageID = m.ID
			dec.Messages = append(dec.Messages, m)
		}
		if err := d.Commit(ctx, dec); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		s, err := d.Status(ctx, "", now.Add(time.Hour))
		if err != nil || s.Open[notify.Pending] != firms*each || s.Tasks[task.Call].Late != firms {
			b.Fatal(s.Open, s.Tasks[task.Call], err)
		}
	}
}
