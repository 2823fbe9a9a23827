package pgtest

import (
	"fmt"
	"net"
	"net/url"
	"testing"
	"time"
)

// Server is a server of one test's own, which may stop and start it.
type Server struct {
	DSN string // of an empty database; its user may do anything
	c   *cluster
}

// kept makes what was committed outlive a server that is stopped at once, though
// not a machine that fails.
const kept = settings + "synchronous_commit = on\n"

// Own starts a server that ends with the test. Without PostgreSQL's programs on
// the machine the test is skipped. more is appended to its settings.
func Own(tb testing.TB, more ...string) *Server {
	tb.Helper()
	bin, err := findBinaries()
	if err != nil {
		tb.Skipf("PostgreSQL is not installed (%v): install the package named postgresql", err)
	}
	text := kept
	for _, m := range more {
		text += m + "\n"
	}
	c, err := startWith(bin, text)
	if err != nil {
		tb.Fatalf("start a PostgreSQL of the test's own: %v", err)
	}
	tb.Cleanup(c.stop)
	if err := exec(c.dsn, "CREATE DATABASE laycast"); err != nil {
		tb.Fatalf("create a database: %v", err)
	}
	return &Server{DSN: withDatabase(tb, c.dsn, "laycast"), c: c}
}

// Halt stops the server: fast (connections are cut, what was committed is written
// out) or at once (as if its processes were killed). It returns when nobody
// listens.
func (s *Server) Halt(tb testing.TB, fast bool) {
	tb.Helper()
	word := "immediate"
	if fast {
		word = "fast"
	}
	if _, err := fmt.Fprintln(s.c.alive, word); err != nil {
		tb.Fatalf("stop PostgreSQL: %v", err)
	}
	u, err := url.Parse(s.DSN)
	if err != nil {
		tb.Fatal(err)
	}
	const looks, between = 15_000, 2 * time.Millisecond // half a minute
	for range looks {
		c, err := net.Dial("tcp", u.Host)
		if err != nil {
			return
		}
		_ = c.Close()
		time.Sleep(between)
	}
	tb.Fatal("PostgreSQL does not stop")
}

// Resume starts the server again and returns when it answers.
func (s *Server) Resume(tb testing.TB) {
	tb.Helper()
	if _, err := fmt.Fprintln(s.c.alive, "start"); err != nil {
		tb.Fatalf("start PostgreSQL again: %v", err)
	}
	if err := s.c.awaitReady(); err != nil {
		tb.Fatalf("start PostgreSQL again: %v", err)
	}
}
