package db_test

import (
	"context"
	"database/sql"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"laycast/db"
	"laycast/db/pgtest"
	"laycast/job"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// TestBadDSN: an error names the database without its password and says how to
// write it.
func TestBadDSN(t *testing.T) {
	const secret = "s3cret"
	for dsn, want := range map[string]string{
		"":                                  "sqlite:laycast.db",
		"laycast.db":                        "sqlite:laycast.db",
		"sqlite:":                           "names no file",
		"sqlite::memory:":                   "names no file",
		"sqlite://host/x.db":                "right after sqlite:",
		"mysql://u:" + secret + "@h/x":      "mysql:",
		"user=u password=" + secret:         "sqlite:laycast.db",
		"postgres://u:" + secret + "@h:x/y": "sqlite:laycast.db",
		"postgres://u:" + secret + "@127.0.0.1:1/y":                              "postgres://u@127.0.0.1:1/y",
		"postgres://u@127.0.0.1:1/y?password=" + secret:                          "postgres://u@127.0.0.1:1/y",
		"postgres://u:" + secret + "@127.0.0.1:1/y?sslmode=oops":                 "cannot be understood",
		"sqlite:" + filepath.Join(t.TempDir(), "no such folder", "laycast.db"):   "folder must exist",
		"postgresql://u:" + secret + "@127.0.0.1:1/y?sslpassword=" + secret + "": "postgresql://u@127.0.0.1:1/y",
	} {
		d, err := db.Open(t.Context(), dsn)
		if err == nil {
			t.Errorf("%q was opened", dsn)
			_ = d.Close()
			continue
		}
		if !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), secret) {
			t.Errorf("%q: %v", dsn, err)
		}
	}
}

// TestSQLiteFileIsPrivate: the book holds customers' addresses.
func TestSQLiteFileIsPrivate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "laycast.db")
	d, err := db.Open(t.Context(), "sqlite:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = d.Close() }()
	if _, err := d.SetFirm(t.Context(), job.Firm{UID: "saltbox"}); err != nil {
		t.Fatal(err)
	}
	release, err := d.Hold(t.Context(), "saltbox")
	if err != nil {
		t.Fatal(err)
	}
	defer release()
	for _, p := range []string{path, path + "-wal", path + "-shm", path + ".lock"} {
		info, err := os.Stat(p)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm() != 0o600 {
			t.Errorf("%s has mode %v", filepath.Base(p), info.Mode())
		}
	}
}

// TestNotADatabase: a file of another kind is refused and left alone.
func TestNotADatabase(t *testing.T) {
	path := filepath.Join(t.TempDir(), "letter.txt")
	text := strings.Repeat("Dear customer, ", 100)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Open(t.Context(), "sqlite:"+path); err == nil || !strings.Contains(err.Error(), "letter.txt") {
		t.Fatalf("opened a letter: %v", err)
	}
	if got, err := os.ReadFile(path); err != nil || string(got) != text {
		t.Fatalf("the letter now begins %.30q, %v", got, err)
	}
}

// TestPostgreSQLDropsConnections: the server ends every connection, as a restart
// does, and all goes on, but whoever held a firm holds it no longer.
func TestPostgreSQLDropsConnections(t *testing.T) {
	dsn := pgtest.Start(t)
	d, err := db.Open(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = d.Close() }()
	if _, err := d.SetFirm(t.Context(), job.Firm{UID: "saltbox"}); err != nil {
		t.Fatal(err)
	}
	if err := d.SeedTasks(t.Context(), []task.Task{{Firm: "saltbox", Name: task.Call, Due: started}}); err != nil {
		t.Fatal(err)
	}
	release, err := d.Hold(t.Context(), "saltbox")
	if err != nil {
		t.Fatal(err)
	}
	defer release()
	books := func() {
		var wg sync.WaitGroup
		for range 6 { // so that several connections of the pool are in use
			wg.Go(func() {
				if _, err := d.Book(context.Background(), "saltbox", job.Date{}); err != nil {
					t.Error(err)
				}
				if _, err := d.Tasks(context.Background(), "saltbox"); err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
	}
	books()
	admin, err := sql.Open("pgx", dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = admin.Close() }()
	terminate := func() {
		var cut int
		err = admin.QueryRowContext(t.Context(), `SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity
			WHERE datname = current_database() AND pid <> pg_backend_pid()`).Scan(&cut)
		if err != nil || cut < 2 {
			t.Fatalf("%d connections cut, %v", cut, err)
		}
	}
	terminate()
	books()
	terminate()
	held, ok, err := d.ClaimTask(t.Context(), "saltbox", started, time.Minute)
	if err != nil || !ok {
		t.Fatalf("after the cut: %v, %v", ok, err)
	}
	books()
	terminate()
	if err := d.Commit(t.Context(), ledger.Decision{Firm: "saltbox", Now: started, Task: held, Next: held}); err != nil {
		t.Fatalf("after the cut: %v", err)
	}
	other, err := db.Open(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = other.Close() }()
	holdSoon(t, other, "saltbox")()
}

// TestSQLiteWaitsItsTurn: while another process writes, a write waits as long
// as its context lets it, and reading goes on.
func TestSQLiteWaitsItsTurn(t *testing.T) {
	path := filepath.Join(t.TempDir(), "laycast.db")
	d, err := db.Open(t.Context(), "sqlite:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = d.Close() }()
	raw, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = raw.Close() }()
	raw.SetMaxOpenConns(1)
	if _, err := raw.ExecContext(t.Context(), `BEGIN IMMEDIATE`); err != nil {
		t.Fatal(err)
	}
	short, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond) // several turns
	defer cancel()
	if _, err := d.SetFirm(short, job.Firm{UID: "saltbox"}); !errors.Is(err, context.DeadlineExceeded) {
		t.Fatalf("wrote beside another writer: %v", err)
	}
	if uids, err := d.Firms(t.Context()); err != nil || len(uids) != 0 {
		t.Fatalf("%v, %v", uids, err)
	}
	done := make(chan error)
	go func() {
		_, err := d.SetFirm(context.Background(), job.Firm{UID: "saltbox"})
		done <- err
	}()
	if _, err := raw.ExecContext(t.Context(), `ROLLBACK`); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Fatal(err)
	}
}
