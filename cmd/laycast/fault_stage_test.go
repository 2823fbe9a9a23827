package main

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/db"
)

// clockEnv names the file that holds the time of a daemon that a test steers.
const clockEnv = "LAYCAST_TEST_CLOCK"

// briskly is how often a steered daemon looks at its clock.
const briskly = 20 * time.Millisecond

// fileClock is a clock that stands in a file, as seconds since 1970.
type fileClock struct{ path string }

func (c fileClock) Now() time.Time {
	b, err := os.ReadFile(c.path)
	if err != nil {
		panic(err)
	}
	n, err := strconv.ParseInt(string(b), 10, 64)
	if err != nil {
		panic(err)
	}
	return time.Unix(n, 0).UTC()
}

func (c fileClock) set(t testing.TB, at time.Time) {
	t.Helper()
	if err := os.WriteFile(c.path+".new", strconv.AppendInt(nil, at.Unix(), 10), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(c.path+".new", c.path); err != nil {
		t.Fatal(err)
	}
}

// clockOf is the daemon's end of it: it says on its output when it rested.
func clockOf(path string) *steered {
	var mu sync.Mutex
	var last int64
	return &steered{Clock: fileClock{path}, Wake: briskly, Rested: func(at time.Time) {
		mu.Lock()
		defer mu.Unlock()
		if at.Unix() != last {
			last = at.Unix()
			_, _ = fmt.Printf("rested %d\n", last)
		}
	}}
}

// stage is one database of several firms, served by real daemons on a clock
// that the test moves.
type stage struct {
	*office
	firms   []string
	dsn     string
	clock   fileClock
	daemons []*daemon
	db      *db.DB
	raw     *sql.DB
	args    []string           // more for serve
	env     []string           // more for the first daemon
	beside  func(at time.Time) // called at each step; may be nil
}

// daemon is one process, its own mail server beside it.
type daemon struct {
	config string
	post   *mailHost
	mu     sync.Mutex
	cmd    *exec.Cmd
	errs   *safeBuffer
	rested atomic.Int64
	over   chan struct{}
	starts int
}

// eveningFrom is when the evening begins: Tuesday 26 October 2027, 17:05 in Dublin.
var eveningFrom = eve.Add(-55 * time.Minute)

// eveningTo is when it ends: after the second look; without -faults soon after the
// absence check, to be short.
func eveningTo() time.Time {
	if *faults == 0 {
		return eve.Add(30 * time.Minute)
	}
	return eve.Add(12*time.Hour + 10*time.Minute)
}

// stageFirms and stageJobs make an evening of some forty mails.
const (
	stageFirms = 3
	stageJobs  = 6
)

// prepared is what prepare gives, made by the first test that needs it.
var prepared struct {
	sync.Mutex
	backup, key []byte
	firms       []string
}

// prepare lives the firms' first day once and keeps a backup of it.
func prepare(t *testing.T) (backup, key []byte, firms []string) {
	t.Helper()
	p := &prepared
	p.Lock()
	defer p.Unlock()
	if p.backup == nil {
		// firms that tell their days early, so that there is much to lose
		h := openHostIn(t, "tell_ahead: 5\nbounds: {tell: 0.6}\n", stageFirms, stageJobs, time.Date(2027, 10, 25, 12, 0, 0, 0, time.UTC))
		h.source.clock = h.clock.Now
		s, _ := h.daemon()
		s.Log = zerolog.Nop()
		h.live(s, eveningFrom)
		p.backup = []byte(h.must("backup", "-"))
		p.key = []byte(h.read(filepath.Join(h.dir, defaultLinkKey)))
		p.firms = h.firms
	}
	return p.backup, p.key, p.firms
}

// openStage restores the evening into a database ("" = SQLite) and sets daemons
// up, which are not running yet.
func openStage(t *testing.T, dsn string, daemons int) *stage {
	t.Helper()
	backup, key, firms := prepare(t)
	st := openEmptyStage(t, "Europe/Dublin", dsn, daemons, eveningFrom)
	st.firms = firms
	st.write(defaultLinkKey, string(key))
	st.restore(backup)
	return st
}

// openEmptyStage sets daemons up on a database without firms.
func openEmptyStage(t *testing.T, zone, dsn string, daemons int, at time.Time) *stage {
	t.Helper()
	dir := t.TempDir()
	if dsn == "" {
		dsn = "sqlite:" + filepath.Join(dir, "stage.db")
	}
	st := &stage{office: openOffice(t, zone, "database: \""+dsn+"\"\n"), dsn: dsn}
	st.clock = fileClock{filepath.Join(st.dir, "clock")}
	st.clock.set(t, at)
	st.source.clock = st.clock.Now
	text := strings.Replace(st.read(st.config), "name: Quay Roofs", "name: "+"Quay Roofs 00", 1)
	st.write("laycast.yaml", text)
	for i := range daemons {
		d := &daemon{post: newMailHost(t)}
		d.config = st.write(fmt.Sprintf("daemon%d.yaml", i), text+"mail: {smtp: \""+d.post.url+"\", tls: \"off\"}\n")
		st.daemons = append(st.daemons, d)
	}
	driver, name := "pgx", dsn
	if path, ok := strings.CutPrefix(dsn, "sqlite:"); ok {
		driver, name = "sqlite", "file:"+path+"?_busy_timeout=10000"
	}
	var err error
	if st.db, err = db.Open(t.Context(), dsn); err != nil {
		t.Fatal(err)
	}
	if st.raw, err = sql.Open(driver, name); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(st.shut)
	return st
}

// shut stops the daemons and closes what the test has open.
func (st *stage) shut() {
	for _, d := range st.daemons {
		d.stop(st.t)
	}
	_ = st.db.Close()
	_ = st.raw.Close()
}

func (st *stage) restore(backup []byte) {
	st.t.Helper()
	var out, errs bytes.Buffer
	w := world{In: bytes.NewReader(backup), Out: &out, Err: &errs, Env: func(string) string { return "" }}
	if code := run(context.Background(), []string{"--config", st.config, "restore", "-"}, w); code != exitOK {
		st.t.Fatalf("restore: exit %d: %s", code, errs.String())
	}
}

// start starts a daemon that does not run.
func (st *stage) start(d *daemon) {
	st.t.Helper()
	self, err := os.Executable()
	if err != nil {
		st.t.Fatalf("find the test binary, which has to be run again: %v", err)
	}
	cmd := exec.Command(self, append([]string{"--config", d.config, "serve", "--every-firm"}, st.args...)...)
	cmd.Env = append(os.Environ(), childEnv+"=1", clockEnv+"="+st.clock.path)
	if d == st.daemons[0] {
		cmd.Env = append(cmd.Env, st.env...)
	}
	errs := &safeBuffer{}
	cmd.Stderr = errs
	out, err := cmd.StdoutPipe()
	if err != nil {
		st.t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		st.t.Fatal(err)
	}
	over := make(chan struct{})
	d.mu.Lock()
	d.cmd, d.errs, d.over = cmd, errs, over
	d.starts++
	d.mu.Unlock()
	d.rested.Store(0)
	go func() {
		defer close(over)
		lines := bufio.NewScanner(out)
		for lines.Scan() {
			if n, err := strconv.ParseInt(strings.TrimPrefix(lines.Text(), "rested "), 10, 64); err == nil {
				d.rested.Store(n)
			}
		}
		_, _ = io.Copy(io.Discard, out)
		_ = cmd.Wait()
	}()
}

// running reports whether the daemon's process has not ended.
func (d *daemon) running() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.cmd == nil {
		return false
	}
	select {
	case <-d.over:
		return false
	default:
		return true
	}
}

// kill ends the daemon with no time to tidy up, and returns when it is dead.
func (d *daemon) kill() {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.cmd == nil {
		return
	}
	_ = d.cmd.Process.Kill()
	<-d.over
}

// stop ends the daemon as systemd would, and gives its exit code and what it said.
func (d *daemon) stop(t testing.TB) (int, string) {
	t.Helper()
	if d.cmd == nil {
		return 0, ""
	}
	if d.running() {
		_ = d.cmd.Process.Signal(syscall.SIGTERM)
	}
	select {
	case <-d.over:
	case <-time.After(30 * time.Second):
		t.Error("a daemon does not stop")
		d.kill()
	}
	return d.cmd.ProcessState.ExitCode(), d.errs.String()
}

// settle starts what is not running and waits until every daemon has left
// nothing to do at the clock's time.
func (st *stage) settle() {
	st.t.Helper()
	at := st.clock.Now().Unix()
	patience := time.Now().Add(2 * time.Minute)
	for _, d := range st.daemons {
		for d.rested.Load() != at {
			if !d.running() {
				st.start(d)
			}
			if time.Now().After(patience) {
				said := d.errs.String()
				st.t.Fatalf("a daemon does not come to rest at %s: %s", st.clock.Now(), said[max(0, len(said)-4000):])
			}
			time.Sleep(2 * time.Millisecond)
		}
	}
}

// step moves the clock to the next moment at which something is due, by a minute
// while anything is leased: what a dead daemon held has to run out, and what a
// living one holds must not.
func (st *stage) step(to time.Time) {
	st.t.Helper()
	now, least := st.clock.Now(), time.Minute
	at := now.Add(least)
	if !st.leased(now) {
		next, ok, err := st.db.NextDue(st.t.Context(), "")
		if err == nil && ok && next.After(at) {
			at = next
		}
	}
	if at.After(to) {
		at = to
	}
	st.clock.set(st.t, at)
	if st.beside != nil {
		st.beside(at)
	}
}

// leased reports whether anything is held; so it is taken to be when the
// database does not say.
func (st *stage) leased(now time.Time) bool {
	n := 1
	err := st.raw.QueryRowContext(st.t.Context(), `SELECT (SELECT count(*) FROM tasks WHERE lease <> '' AND lease_until > $1)
		+ (SELECT count(*) FROM messages WHERE lease <> '' AND lease_until > $1)`, now.UnixMilli()).Scan(&n)
	return err != nil || n > 0
}

// live lets the daemons work until a time.
func (st *stage) live(to time.Time) {
	st.t.Helper()
	st.settle()
	for st.clock.Now().Before(to) {
		st.step(to)
		st.settle()
	}
}
