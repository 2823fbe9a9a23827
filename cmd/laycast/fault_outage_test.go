package main

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"laycast/db/pgtest"
	"laycast/scheduler/call"
)

// PostgreSQL is stopped amid the work of two daemons, fast or at once, and comes
// back some minutes later. Nobody starts the daemons again.
func TestFaultPostgresStopped(t *testing.T) {
	slowWhenRaced(t)
	for _, fast := range []bool{true, false} {
		name := "PostgreSQL stopped at once, back after 1 to 4 minutes"
		if fast {
			name = "PostgreSQL stopped (fast), back after 1 to 4 minutes"
		}
		t.Run(name, func(t *testing.T) {
			c := &tally{fault: name}
			ref := theReference(t)
			for seed := uint64(1); c.tries < often(2, 30) && !t.Failed(); seed++ {
				server := pgtest.Own(t)
				st := openStage(t, server.DSN, 2)
				rng := rand.New(rand.NewPCG(seed, 4))
				st.beside = func(time.Time) {
					if rng.IntN(8) > 0 {
						return
					}
					time.Sleep(time.Duration(rng.IntN(60)) * time.Millisecond)
					server.Halt(t, fast)
					for range 1 + rng.IntN(4) {
						st.clock.set(t, st.clock.Now().Add(time.Minute))
						st.settle()
					}
					server.Resume(t)
					c.tries++
				}
				st.live(eveningTo())
				st.lastLeases()
				c.add(t, st.outcome(), ref)
				st.oneStartEach()
				st.shut()
			}
			c.say(t)
		})
	}
}

// lastLeases lets what was held at the end run out.
func (st *stage) lastLeases() {
	st.t.Helper()
	st.beside = nil
	st.live(st.clock.Now().Add(5 * time.Minute))
}

// oneStartEach verifies that no daemon ended.
func (st *stage) oneStartEach() {
	st.t.Helper()
	for i, d := range st.daemons {
		if d.starts != 1 {
			st.t.Errorf("daemon %d ended and had to be started %d times", i, d.starts)
		}
	}
}

// Connections to PostgreSQL are cut amid the work of two daemons.
func TestFaultConnectionCuts(t *testing.T) {
	slowWhenRaced(t)
	c := &tally{fault: "connections to PostgreSQL cut, each one in two"}
	ref := theReference(t)
	for seed := uint64(1); c.tries < often(20, 500) && !t.Failed(); seed++ {
		dsn := pgtest.Start(t)
		st := openStage(t, dsn, 2)
		rng := rand.New(rand.NewPCG(seed, 5))
		admin, err := sql.Open("pgx", dsn+"&application_name=cutter")
		if err != nil {
			t.Fatal(err)
		}
		st.beside = func(time.Time) {
			time.Sleep(time.Duration(rng.IntN(60)) * time.Millisecond)
			if _, err := admin.Exec(`SELECT pg_terminate_backend(pid) FROM pg_stat_activity
				WHERE datname = current_database() AND application_name = 'laycast' AND random() < 0.5`); err != nil {
				t.Error(err)
			}
			c.tries++
		}
		st.live(eveningTo())
		st.lastLeases()
		c.add(t, st.outcome(), ref)
		st.oneStartEach()
		_ = admin.Close()
		st.shut()
	}
	c.say(t)
}

// The mail server lets nobody in from before the call for three hours, without
// -faults for ten minutes.
func TestFaultMailServerDown(t *testing.T) {
	slowWhenRaced(t)
	c := &tally{fault: "mail server down for 3 h, over the call"}
	ref := theReference(t)
	down, up := eve.Add(-5*time.Minute), eve.Add(175*time.Minute)
	if *faults == 0 {
		up = eve.Add(5 * time.Minute)
	}
	for range often(1, 4) {
		st := openStage(t, "", 1)
		st.beside = func(at time.Time) {
			for _, d := range st.daemons {
				d.post.mu.Lock()
				d.post.down = !at.Before(down) && at.Before(up)
				d.post.mu.Unlock()
			}
		}
		st.live(eveningTo())
		c.tries++
		out := st.outcome()
		c.add(t, out, ref)
		last := time.Duration(0)
		for _, m := range out.messages {
			if !m.Created.Before(down) && m.Created.Before(up) && m.NotBefore.Before(up) {
				last = max(last, m.Settled.Sub(up))
			}
		}
		if last < 0 || last > 31*time.Minute {
			t.Errorf("the last mail left %s after the server was back, want within the longest backoff", last)
		}
		c.recovery = fmt.Sprintf("the last mail %s after the server was back", last)
		st.shut()
	}
	c.say(t)
}

// The source is down for 72 hours from the evening on: no go on old weather, each
// visit's crew hears each evening (without -faults for 26 hours), and the first forecast comes soon after it.
func TestFaultSourceDown(t *testing.T) {
	slowWhenRaced(t)
	c := &tally{fault: "source down for 72 h", other: true}
	down := eveningFrom
	up, after := down.Add(72*time.Hour), 20*time.Hour
	if *faults == 0 { // past the next evening's call
		up, after = down.Add(26*time.Hour), 2*time.Hour
	}
	c.until = up.Add(after)
	for range often(1, 2) {
		st := openStage(t, "", 1)
		st.source.between(badPage, down, up)
		st.live(c.until)
		c.tries++
		out := st.outcome()
		c.add(t, out, outcome{})
		blind := 0
		for k, x := range out.calls {
			within := call.SeenWithin
			if x.Occasion == call.SecondLook {
				within = 2 * call.SeenWithin // 6 h
			}
			if x.Made.Before(down.Add(within)) || x.Made.After(up) {
				continue
			}
			if blind++; x.Outcome == call.Go {
				t.Errorf("%s for %s on %s is a go, %s after the last forecast", k.firm, k.job, k.date, x.Made.Sub(down))
			}
		}
		var first int64
		if err := st.raw.QueryRow(`SELECT min(first_seen) FROM runs WHERE first_seen >= $1`, up.UnixMilli()).Scan(&first); err != nil {
			t.Fatal(err)
		}
		back := time.UnixMilli(first).Sub(up)
		if blind == 0 || back > time.Hour {
			t.Errorf("%d calls without a forecast; the first forecast came %s after the source was back", blind, back)
		}
		c.recovery = fmt.Sprintf("the first forecast %s after the source was back", back)
		st.shut()
	}
	c.say(t)
}

// The disk under a SQLite database is full over the call, and has room again
// later.
func TestFaultDiskFull(t *testing.T) {
	slowWhenRaced(t)
	if os.Geteuid() != 0 {
		t.Skip("a small disk can be mounted by root alone: run as root")
	}
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size=48m", "laycast-fault", dir).CombinedOutput(); err != nil {
		t.Skipf("a small disk cannot be mounted here: run where root may mount a tmpfs, not in a container that forbids it: %v: %s", err, out)
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", dir).CombinedOutput(); err != nil {
			t.Errorf("umount: %v: %s", err, out)
		}
	})
	c := &tally{fault: "disk full under SQLite for an hour, over the call"}
	ref := theReference(t)
	for i := range often(1, 6) {
		path := filepath.Join(dir, fmt.Sprintf("stage%d.db", i))
		st := openStage(t, "sqlite:"+path, 1)
		ballast := filepath.Join(dir, "ballast")
		full, empty := eve.Add(time.Duration(i-2)*time.Minute), eve.Add(time.Duration(i+58)*time.Minute)
		if *faults == 0 {
			empty = eve.Add(10 * time.Minute)
		}
		filled := false
		st.beside = func(at time.Time) {
			if now := !at.Before(full) && at.Before(empty); now != filled {
				if filled = now; now {
					fill(t, ballast)
					c.tries++
				} else if err := os.Remove(ballast); err != nil {
					t.Error(err)
				}
			}
		}
		st.live(eveningTo())
		st.lastLeases()
		c.add(t, st.outcome(), ref)
		st.oneStartEach()
		st.shut()
		for _, end := range []string{"", "-wal", "-shm"} {
			_ = os.Remove(path + end)
		}
	}
	if c.tries == 0 {
		t.Error("the disk never was full")
	}
	c.say(t)
}

// fill writes a file until the disk has no room.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for size := 1 << 20; size > 0; {
		if _, err := f.Write(make([]byte, size)); err != nil {
			size /= 2
		}
	}
}
