package main

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"
)

// Two days in which visits are called, laid and moved.
const (
	killFrom = "2027-10-25T12:00:00Z"
	killTo   = "2027-10-27T06:00:00Z"
)

func killOffice(t testing.TB) *office {
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(4, "2027-10-25"))
	return o
}

// fuse is a context that ends itself when it was looked at so many times: it
// stops a run in places that no clock would hit.
type fuse struct {
	context.Context
	left *atomic.Int64
	blow context.CancelFunc
}

func newFuse(n int64) fuse {
	ctx, cancel := context.WithCancel(context.Background())
	f := fuse{ctx, &atomic.Int64{}, cancel}
	f.left.Store(n)
	return f
}

func (f fuse) burn() {
	if f.left.Add(-1) == 0 {
		f.blow()
	}
}

func (f fuse) Done() <-chan struct{} { f.burn(); return f.Context.Done() }
func (f fuse) Err() error            { f.burn(); return f.Context.Err() }

// A rehearsal that is stopped again and again, and goes on each time, ends as
// one that was let alone.
func TestStoppedRehearsalGoesOn(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	calm := killOffice(t)
	calm.rehearse(killFrom, killTo)
	want := calm.everything()
	o := killOffice(t)
	o.keyOf(calm)
	stops := 0
	for n := int64(1); ; n += n/2 + 40 {
		f := newFuse(n)
		code, _, errs := o.run(f, "rehearse", "--from", killFrom, "--to", killTo, "--mail-dir", o.mail)
		f.blow()
		if code == exitOK {
			break
		}
		if f.left.Load() > 0 {
			t.Fatalf("exit %d before it was stopped: %s", code, errs)
		}
		stops++
		if stops > 200 {
			t.Fatal("it never ends")
		}
	}
	if stops < 10 {
		t.Errorf("stopped only %d times", stops)
	}
	sameText(t, "after being stopped", o.everything(), want)
}

// The same with a real process that is killed with no time to tidy up.
func TestKilledRehearsalGoesOn(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	self, err := os.Executable()
	if err != nil {
		t.Fatalf("find the test binary, which has to be run again: %v", err)
	}
	calm := killOffice(t)
	calm.rehearse(killFrom, killTo)
	want := calm.everything()
	o := killOffice(t)
	o.keyOf(calm)
	for _, wait := range []time.Duration{0, 3 * time.Millisecond, 40 * time.Millisecond, 7 * time.Millisecond, 90 * time.Millisecond} {
		o.killedRun(self, 9, wait)
	}
	parts, err := filepath.Glob(filepath.Join(o.mail, "*.part"))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d half-written mails were left", len(parts))
	o.rehearse(killFrom, killTo)
	sameText(t, "after being killed", o.everything(), want)
}

// killedRun starts a rehearsal in a process of its own and kills it a while
// after it asked the source so many times.
func (o *office) killedRun(self string, asks int, wait time.Duration) {
	o.t.Helper()
	cmd := exec.Command(self, "--config", o.config, "rehearse", "--from", killFrom, "--to", killTo, "--mail-dir", o.mail)
	cmd.Env = append(os.Environ(), childEnv+"=1")
	cmd.Stderr = os.Stderr
	at, hit := o.source.asked()+asks, make(chan struct{}, 1)
	o.source.mu.Lock()
	o.source.onHit = func(n int) {
		if n == at {
			hit <- struct{}{}
		}
	}
	o.source.mu.Unlock()
	if err := cmd.Start(); err != nil {
		o.t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- cmd.Wait() }()
	var err error
	select {
	case err = <-ended:
	case <-hit:
		select {
		case err = <-ended:
		case <-time.After(wait):
			_ = cmd.Process.Kill()
			err = <-ended
		}
	}
	o.source.mu.Lock()
	o.source.onHit = nil
	o.source.mu.Unlock()
	if cmd.ProcessState.ExitCode() != -1 {
		o.t.Errorf("it was not killed but ended with %d (%v)", cmd.ProcessState.ExitCode(), err)
	}
}
