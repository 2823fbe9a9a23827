package db_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"laycast/db"
	"laycast/db/pgtest"
	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
	"laycast/scheduler/task"
)

// BenchmarkEvening writes the decisions of an evening for a firm of 60 jobs:
// claim, read the book, commit a week, 6 calls and 14 messages, deliver two.
func BenchmarkEvening(b *testing.B) {
	b.Run("SQLite", func(b *testing.B) { benchEvening(b, freshSQLite(b)) })
	b.Run("PostgreSQL", func(b *testing.B) { benchEvening(b, pgtest.Start(b)) })
}

func benchEvening(b *testing.B, dsn string) {
	ctx := context.Background()
	check := func(err error) {
		if err != nil {
			b.Helper()
			b.Fatal(err)
		}
	}
	d, err := db.Open(ctx, dsn)
	check(err)
	defer d.Close()
	f := job.DefaultFirm()
	f.UID = "saltbox"
	_, err = d.SetFirm(ctx, f)
	check(err)
	var in job.Import
	for i := range 60 {
		in.Jobs = append(in.Jobs, job.Job{ID: fmt.Sprintf("J%03d", i), Title: "Porch", Roof: job.Roof{AreaM2: 20, Edges: make([]job.Edge, 4)}})
	}
	now := time.Date(2027, 4, 1, 21, 0, 0, 0, time.UTC)
	_, err = d.Import(ctx, f.UID, in, now)
	check(err)
	check(d.SeedTasks(ctx, []task.Task{{Firm: f.UID, Name: task.Call, Due: now}}))
	wire := make([]byte, 20_000)
	stage := map[string]time.Duration{}
	for b.Loop() {
		at := time.Now()
		lap := func(name string) { stage[name] += time.Since(at); at = time.Now() }
		t, ok, err := d.ClaimTask(ctx, f.UID, now, time.Minute)
		check(err)
		if !ok {
			b.Fatal("no task")
		}
		lap("claim")
		book, err := d.Book(ctx, f.UID, job.DateOf(now).AddDays(-4))
		check(err)
		lap("book")
		day := job.DateOf(now).AddDays(1)
		dec := ledger.Decision{Firm: f.UID, Revision: book.Revision, Now: now, Task: t, Next: t, Week: &plan.Week{ID: day.String(), Made: now}}
		dec.Next.Due = now.Add(24 * time.Hour)
		for i, v := range book.Visits {
			v.Days = []job.Date{day}
			dec.Visits = append(dec.Visits, v)
			dec.Week.Visits = append(dec.Week.Visits, plan.WeekVisit{Job: v.Job, N: v.N, Days: v.Days})
			if i < 6 {
				dec.Calls = append(dec.Calls, call.Call{Firm: f.UID, Job: v.Job, Visit: 1, Date: day, Occasion: call.Evening, Outcome: call.Go, Made: now})
			}
			if i < 14 {
				n := notify.Name{Firm: f.UID, Kind: notify.KindCall, Job: v.Job, Visit: 1, Date: day, Recipient: "a@example", Channel: notify.Mail}
				dec.Messages = append(dec.Messages, notify.Message{ID: n.ID(), Name: n, Audience: notify.ToCrew, Created: now, State: notify.Pending, Wire: wire})
			}
		}
		check(d.Commit(ctx, dec))
		lap("commit")
		for range 14 {
			m, ok, err := d.ClaimMessage(ctx, f.UID, now, time.Minute)
			check(err)
			if !ok {
				b.Fatal("no message")
			}
			check(d.BeginMessage(ctx, m, now))
			m.State, m.Settled = notify.Sent, now
			check(d.SettleMessage(ctx, m))
		}
		lap("14-messages")
		_, _, err = d.NextDue(ctx, f.UID)
		check(err)
		_, err = d.ExpireMessages(ctx, f.UID, now)
		check(err)
		_, _, err = d.ClaimMessage(ctx, f.UID, now, time.Minute)
		check(err)
		lap("idle")
		now = now.Add(24 * time.Hour)
	}
	for name, took := range stage {
		b.ReportMetric(float64(took.Microseconds())/float64(b.N)/1000, name+"-ms")
	}
}

// BenchmarkRuns commits and reads 12 cells of 4 members and 168 hours.
func BenchmarkRuns(b *testing.B) {
	b.Run("SQLite", func(b *testing.B) { benchRuns(b, freshSQLite(b)) })
	b.Run("PostgreSQL", func(b *testing.B) { benchRuns(b, pgtest.Start(b)) })
}

func benchRuns(b *testing.B, dsn string) {
	ctx := context.Background()
	d, err := db.Open(ctx, dsn)
	if err != nil {
		b.Fatal(err)
	}
	defer d.Close()
	f := job.DefaultFirm()
	f.UID = "saltbox"
	if _, err = d.SetFirm(ctx, f); err != nil {
		b.Fatal(err)
	}
	now := time.Date(2027, 4, 1, 21, 0, 0, 0, time.UTC)
	var cells []forecast.Cell
	for i := range 12 {
		cells = append(cells, forecast.CellOf(50+float64(i)/10, 5, 0))
	}
	stage := map[string]time.Duration{}
	n := 0
	for b.Loop() {
		dec := ledger.Decision{Firm: f.UID, Now: now}
		for i, c := range cells {
			n++
			h := forecast.NewHours(now, 168, 40, forecast.Air, forecast.Rain, forecast.Dew, forecast.Wind)
			for _, col := range h.Cols {
				for k := range col {
					col[k] = float32((k*i + n) % 17)
				}
			}
			dec.Runs = append(dec.Runs, forecast.Run{Source: "replay", Endpoint: forecast.Ensemble, Cell: c, Hours: h,
				Digest: fmt.Sprint(n), FirstSeen: now, LastSeen: now, Changed: now})
		}
		at := time.Now()
		if err := d.Commit(ctx, dec); err != nil {
			b.Fatal(err)
		}
		stage["commit"] += time.Since(at)
		at = time.Now()
		rs, err := d.Runs(ctx, "replay", cells)
		if err != nil || len(rs) != 12 {
			b.Fatal(len(rs), err)
		}
		stage["read"] += time.Since(at)
		now = now.Add(time.Hour)
	}
	for name, took := range stage {
		b.ReportMetric(float64(took.Microseconds())/float64(b.N)/1000, name+"-ms")
	}
}
