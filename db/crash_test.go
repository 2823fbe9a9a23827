package db_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"laycast/db"
	"laycast/db/pgtest"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// childDSN is the variable that makes the test program a daemon to be killed.
const childDSN = "LAYCAST_DB_TEST_CHILD"

var started = time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)

// TestKilledWhileWriting kills a process that decides without pause, again and
// again, and finds each decision whole or not there, every one that was
// acknowledged there, and the firm and its leases free for the next process.
func TestKilledWhileWriting(t *testing.T) {
	t.Run("SQLite", func(t *testing.T) { killWhileWriting(t, freshSQLite(t)) })
	t.Run("PostgreSQL", func(t *testing.T) { killWhileWriting(t, pgtest.Start(t)) })
}

func killWhileWriting(t *testing.T, dsn string) {
	ctx := t.Context()
	d, err := db.Open(ctx, dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = d.Close() }()
	f := job.DefaultFirm()
	f.UID = "saltbox"
	if _, err := d.SetFirm(ctx, f); err != nil {
		t.Fatal(err)
	}
	if _, err := d.Import(ctx, f.UID, job.Import{Jobs: []job.Job{{ID: "J1"}}}, started); err != nil {
		t.Fatal(err)
	}
	if err := d.SeedTasks(ctx, []task.Task{{Firm: f.UID, Name: task.Call, Due: started}}); err != nil {
		t.Fatal(err)
	}
	for _, acknowledged := range []int{1, 2, 3, 5, 8, 13, 21, 34} {
		before := written(t, d)
		last := killAfter(t, dsn, acknowledged)
		release := holdSoon(t, d, f.UID)
		if err := d.FreeLeases(ctx, f.UID); err != nil {
			t.Fatal(err)
		}
		release()
		after := written(t, d)
		if after < last || after < before+acknowledged {
			t.Fatalf("%d decisions are there, %d were acknowledged", after, last)
		}
	}
}

// written gives the number of decisions that are there, each of them whole.
func written(t *testing.T, d *db.DB) int {
	t.Helper()
	b, err := d.Book(t.Context(), "saltbox", job.Date{})
	if err != nil {
		t.Fatal(err)
	}
	ms, err := d.Messages(t.Context(), "saltbox")
	if err != nil {
		t.Fatal(err)
	}
	us, err := d.Untold(t.Context(), "saltbox")
	if err != nil {
		t.Fatal(err)
	}
	n := int(b.Jobs[0].LaidM2)
	// revision 1 is the firm, 2 the import
	if len(ms) != n || len(us) != n || b.Revision != int64(n+2) {
		t.Fatalf("a decision was cut in two: job says %d, %d messages, %d reasons, revision %d", n, len(ms), len(us), b.Revision)
	}
	return n
}

// killAfter starts a process that decides, kills it once it has acknowledged n
// decisions, and gives the number of the last one that it acknowledged.
func killAfter(t *testing.T, dsn string, n int) int {
	t.Helper()
	child := exec.CommandContext(t.Context(), os.Args[0])
	child.Env = append(os.Environ(), childDSN+"="+dsn)
	var complaints strings.Builder
	child.Stderr = &complaints
	out, err := child.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := child.Start(); err != nil {
		t.Fatal(err)
	}
	last := 0
	lines := bufio.NewScanner(out)
	for i := 1; lines.Scan(); i++ {
		if last, err = strconv.Atoi(lines.Text()); err != nil {
			t.Fatal(err)
		}
		if i == n {
			if err := child.Process.Kill(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if err := child.Wait(); err == nil || complaints.Len() > 0 {
		t.Fatalf("the process ended by itself: %v, %s", err, complaints.String())
	}
	return last
}

// holdSoon takes the firm as soon as its dead holder is noticed: at once by the
// operating system, in a moment by a server.
func holdSoon(t *testing.T, d *db.DB, uid string) (release func()) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	again := time.NewTicker(5 * time.Millisecond)
	defer again.Stop()
	for {
		release, err := d.Hold(ctx, uid)
		if err == nil {
			return release
		}
		select {
		case <-ctx.Done():
			t.Fatalf("the dead holder still holds: %v", err)
		case <-again.C:
		}
	}
}

// runChild decides until it is killed, telling each decision once it is
// written.
func runChild(dsn string, out io.Writer) error {
	ctx := context.Background()
	d, err := db.Open(ctx, dsn)
	if err != nil {
		return err
	}
	if _, err := d.Hold(ctx, "saltbox"); err != nil {
		return err
	}
	for {
		held, ok, err := d.ClaimTask(ctx, "saltbox", started, time.Hour)
		if err != nil || !ok {
			return errors.Join(err, fmt.Errorf("claimed: %v", ok))
		}
		b, err := d.Book(ctx, "saltbox", job.Date{})
		if err != nil {
			return err
		}
		dec := decision(b, held)
		if err := d.Commit(ctx, dec); err != nil {
			return err
		}
		if _, err := fmt.Fprintln(out, int(dec.Bookings[0].LaidM2)); err != nil {
			return err
		}
	}
}

func decision(b ledger.Book, held task.Task) ledger.Decision {
	laid := b.Jobs[0]
	laid.LaidM2++
	n := strconv.Itoa(int(laid.LaidM2))
	name := notify.Name{Firm: "saltbox", Kind: notify.KindTrouble, Job: "J1", Occasion: n, Recipient: "a@example", Channel: notify.Mail}
	return ledger.Decision{
		Firm: "saltbox", Revision: b.Revision, Now: started, Task: held,
		Next:     task.Task{Firm: "saltbox", Name: held.Name, Due: started, Slot: started},
		Bookings: []job.Booking{laid},
		Messages: []notify.Message{{ID: name.ID(), Name: name, Audience: notify.ToOwner, Created: started,
			State: notify.Pending, Wire: make([]byte, 20_000)}},
		Untold: []notify.Untold{{Firm: "saltbox", Person: n, At: started, Reason: "test"}},
	}
}
