package main

import (
	"context"
	"database/sql"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/db/pgtest"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// wallClock is a clock for several daemons, set by the test.
type wallClock struct {
	mu  sync.Mutex
	now time.Time
}

func (c *wallClock) Now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.now }

func (c *wallClock) add(d time.Duration) { c.mu.Lock(); defer c.mu.Unlock(); c.now = c.now.Add(d) }

// counting is a transport over which a mail may come twice: it counts.
type counting struct {
	mu   sync.Mutex
	got  map[string]int
	from map[string]string // sender by firm
	trap func()            // sprung once, amid a delivery
}

func (c *counting) Deliver(ctx context.Context, m notify.Message) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.got[m.MessageID]++
	for line := range strings.Lines(string(m.Wire)) {
		if after, ok := strings.CutPrefix(line, "From: "); ok && c.from[m.Firm] == "" {
			c.from[m.Firm] = strings.TrimSpace(after)
		}
	}
	if c.trap != nil {
		c.trap()
		c.trap = nil
	}
	return ctx.Err()
}

// host is many firms in one database.
type host struct {
	*office
	firms []string
	clock *wallClock
	post  *counting
}

// openHost sets up n firms of two jobs each in one PostgreSQL database.
func openHost(t *testing.T, n int, now time.Time) *host {
	t.Helper()
	return openHostIn(t, "database: "+pgtest.Start(t)+"\n", n, 2, now)
}

// openHostIn sets up n firms of so many jobs each in one database.
func openHostIn(t testing.TB, more string, n, jobs int, now time.Time) *host {
	t.Helper()
	h := &host{office: openOffice(t, "Europe/Dublin", more), clock: &wallClock{now: now},
		post: &counting{got: map[string]int{}, from: map[string]string{}}}
	text := h.read(h.config)
	for i := range n {
		name := fmt.Sprintf("Quay Roofs %02d", i)
		h.write("laycast.yaml", strings.Replace(text, "name: Quay Roofs", "name: "+name, 1))
		h.takeIn(bookOf(jobs, job.DateOf(now).String()))
		h.firms = append(h.firms, fmt.Sprintf("quay-roofs-%02d", i))
	}
	return h
}

// daemon gives a scheduler as `serve --every-firm` has it, with the house below it.
func (h *host) daemon() (*scheduler.Scheduler, *house) {
	h.t.Helper()
	hs := h.house()
	h.t.Cleanup(hs.close)
	hs.many = true
	s, err := hs.scheduler(h.clock, true, post{transport: h.post}, zerolog.Nop())
	if err != nil {
		h.t.Fatal(err)
	}
	if err := hs.adopt(h.t.Context(), s); err != nil {
		h.t.Fatal(err)
	}
	return s, hs
}

// work lets a daemon do all that is due; false: its context ended.
func work(t testing.TB, ctx context.Context, s *scheduler.Scheduler) bool {
	for {
		did, err := s.Step(ctx, "")
		if ctx.Err() != nil {
			return false
		}
		if err != nil {
			t.Error(err)
			return false
		}
		if !did {
			return true
		}
	}
}

// eve is when the calls of 26 October are made: 18:00 in Dublin.
var eve = time.Date(2027, 10, 26, 17, 0, 0, 0, time.UTC)

// live lets one daemon work until a time, a few minutes at a step.
func (h *host) live(s *scheduler.Scheduler, to time.Time) {
	h.t.Helper()
	for h.clock.Now().Before(to) {
		work(h.t, h.t.Context(), s)
		h.clock.add(min(5*time.Minute, to.Sub(h.clock.Now())))
	}
	work(h.t, h.t.Context(), s)
}

// Two daemons serve many firms through an evening; one dies amid a delivery.
// Every firm's call is made once and in time, every crew hears, no customer
// hears twice, and each firm writes under its own name.
func TestTwoDaemonsServeManyFirms(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	const firms = 3
	h := openHost(t, firms, time.Date(2027, 10, 25, 12, 0, 0, 0, time.UTC))
	one, _ := h.daemon()
	two, hs := h.daemon()
	h.live(one, eve.Add(-time.Minute))
	ctx, die := context.WithCancel(t.Context())
	defer die()
	alive := true
	for ; h.clock.Now().Before(eve.Add(15 * time.Minute)); h.clock.add(time.Minute) {
		if h.clock.Now().Equal(eve) {
			h.post.mu.Lock()
			h.post.trap = die // whichever daemon comes by: its own context decides
			h.post.mu.Unlock()
		}
		var wg sync.WaitGroup
		if alive {
			wg.Go(func() { alive = work(t, ctx, one) })
		}
		wg.Go(func() { work(t, t.Context(), two) })
		wg.Wait()
	}
	if alive {
		t.Error("the first daemon did not die")
	}
	for _, f := range h.firms {
		b, err := hs.db.Book(t.Context(), f, civil("2027-10-27"))
		if err != nil {
			t.Fatal(err)
		}
		called := map[string]int{}
		for _, c := range b.Calls {
			called[c.Job]++
			if late := c.Made.After(eve.Add(5 * time.Minute)); late {
				t.Errorf("%s: the call for %s was made at %s", f, c.Job, c.Made)
			}
		}
		ms, err := hs.db.Messages(t.Context(), f)
		if err != nil {
			t.Fatal(err)
		}
		crews := 0
		for _, m := range ms {
			got := h.post.got[m.MessageID]
			switch {
			case m.Audience == notify.ToCustomer && got > 1:
				t.Errorf("%s: a customer heard %d times", f, got)
			case m.Audience == notify.ToCrew && m.Kind == notify.KindCall:
				crews++
				if got == 0 || m.State != notify.Sent {
					t.Errorf("%s: a crew's call was handed over %d times and is %s", f, got, m.State)
				}
			}
		}
		if len(called) == 0 || crews == 0 {
			t.Errorf("%s: %d calls, %d mails to crews", f, len(called), crews)
		}
		for id, n := range called {
			if n != 1 {
				t.Errorf("%s: %s was called %d times", f, id, n)
			}
		}
		if want := `"Quay Roofs ` + f[len(f)-2:] + `" <office@quay.example>`; h.post.from[f] != want {
			t.Errorf("%s writes as %s, want %s", f, h.post.from[f], want)
		}
	}
}

// While one firm's source does not answer, every other firm is called.
func TestSlowSourceDelaysNoOthersCall(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	h := openHost(t, 3, time.Date(2027, 10, 25, 12, 0, 0, 0, time.UTC))
	one, _ := h.daemon()
	two, hs := h.daemon()
	h.live(one, eve.Add(-time.Minute))
	// a fetch of the first firm hangs from before the call on
	hang, hung := make(chan struct{}), make(chan struct{})
	var once sync.Once
	h.source.mu.Lock()
	h.source.onHit = func(int) { once.Do(func() { close(hung) }); <-hang }
	h.source.mu.Unlock()
	var wg sync.WaitGroup
	defer wg.Wait()
	defer func() { close(hang) }()
	h.rearm(hs, h.firms[0])
	ctx, die := context.WithCancel(t.Context()) // its fetch would never be new enough
	defer die()
	wg.Go(func() { work(t, ctx, one) })
	select {
	case <-hung:
	case <-time.After(20 * time.Second):
		t.Fatal("the source was not asked")
	}
	h.clock.add(time.Minute)
	work(t, t.Context(), two)
	for i, f := range h.firms {
		b, err := hs.db.Book(t.Context(), f, civil("2027-10-27"))
		if err != nil {
			t.Fatal(err)
		}
		if made := len(b.Calls) > 0; made != (i > 0) {
			t.Errorf("%s: %d calls while the first firm's source hangs", f, len(b.Calls))
		}
	}
}

// rearm makes a firm's fetch due before everything else and its forecasts too
// old for it.
func (h *host) rearm(hs *house, firm string) {
	h.t.Helper()
	ts, err := hs.db.Tasks(h.t.Context(), firm)
	if err != nil {
		h.t.Fatal(err)
	}
	for _, x := range ts {
		if x.Name == task.FetchForecast {
			x.Due, x.Slot = h.clock.Now().Add(-time.Second), h.clock.Now().Add(time.Hour)
			if err := hs.db.Commit(h.t.Context(), ledger.Decision{Firm: firm, Now: h.clock.Now(), Arm: []task.Task{x}}); err != nil {
				h.t.Fatal(err)
			}
			return
		}
	}
	h.t.Fatal("no fetch")
}

func civil(s string) (d job.Date) {
	if err := d.UnmarshalText([]byte(s)); err != nil {
		panic(err)
	}
	return d
}

// raise makes a SQLite database look as a newer laycast would leave it.
func raise(t *testing.T, path string) {
	t.Helper()
	raw, err := sql.Open("sqlite", "file:"+path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = raw.Close() }()
	if _, err := raw.ExecContext(t.Context(), `INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, true)`); err != nil {
		t.Fatal(err)
	}
}

// A daemon stops when a newer laycast has changed the schema under it.
func TestServeStopsWhenANewerOneTakesOver(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	hs := o.house()
	defer hs.close()
	if err := hs.db.CheckSchema(t.Context()); err != nil {
		t.Fatal(err)
	}
	raise(t, filepath.Join(o.dir, "laycast.db"))
	err := hs.db.CheckSchema(t.Context())
	if err == nil || !strings.Contains(err.Error(), "9999") || !strings.Contains(err.Error(), "newer") {
		t.Errorf("%v", err)
	}
	o.fails(exitFail, []string{"9999", "newer laycast"}, "serve", "--mail-dir", o.mail)
}
