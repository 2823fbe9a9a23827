package main

import (
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"laycast/db/pgtest"
)

// killer kills daemons at random moments: some milliseconds after the clock
// moved, at a step of a conversation with the mail server, or at a request to
// the source.
type killer struct {
	st     *stage
	rng    *rand.Rand
	left   int
	done   atomic.Int64
	armed  atomic.Bool
	killed sync.WaitGroup
}

// maybe readies the next kill, unless one waits to be sprung.
func (k *killer) maybe() {
	if k.left == 0 || k.armed.Load() || k.rng.IntN(3) > 0 {
		return
	}
	k.left--
	k.armed.Store(true)
	d := k.st.daemons[k.rng.IntN(len(k.st.daemons))]
	var once sync.Once
	kill := func() {
		once.Do(func() {
			d.kill()
			k.done.Add(1)
			k.armed.Store(false)
		})
	}
	switch k.rng.IntN(4) {
	case 0, 1:
		wait := time.Duration(k.rng.IntN(60)) * time.Millisecond
		k.killed.Go(func() { time.Sleep(wait); kill() })
	case 2:
		var left atomic.Int64
		left.Store(1 + k.rng.Int64N(2*steps))
		d.post.mu.Lock()
		d.post.trap = func(string) {
			if left.Add(-1) == 0 {
				kill()
			}
		}
		d.post.mu.Unlock()
	default:
		k.st.source.mu.Lock()
		k.st.source.onHit = func(int) { k.killed.Go(kill) }
		k.st.source.mu.Unlock()
	}
}

// disarm takes back what was not sprung.
func (k *killer) disarm() {
	for _, d := range k.st.daemons {
		d.post.mu.Lock()
		d.post.trap = nil
		d.post.mu.Unlock()
	}
	k.st.source.mu.Lock()
	k.st.source.onHit = nil
	k.st.source.mu.Unlock()
	k.killed.Wait()
}

// killedEvening lives one evening with up to so many kills.
func killedEvening(t *testing.T, c *tally, dsn string, daemons, most int, seed uint64) {
	t.Helper()
	ref := theReference(t)
	st := openStage(t, dsn, daemons)
	k := &killer{st: st, rng: rand.New(rand.NewPCG(seed, 9)), left: most}
	st.beside = func(time.Time) { k.maybe() }
	st.live(eveningTo())
	k.disarm()
	st.beside = nil
	st.clock.set(t, st.clock.Now().Add(3*time.Minute)) // past the leases of the last one killed
	st.settle()
	c.tries += int(k.done.Load())
	c.add(t, st.outcome(), ref)
}

// perEvening is how many kills one evening has room for: with more, the same mail
// would meet with several.
const perEvening = 12

// Daemons are killed at random moments, again and again: two of them on one
// PostgreSQL, and one on SQLite. What was decided is told, once.
func TestFaultKills(t *testing.T) {
	slowWhenRaced(t)
	for _, tt := range []struct {
		name    string
		daemons int
		kills   int
	}{{"kill -9, two daemons on PostgreSQL", 2, often(8, 400)}, {"kill -9, one daemon on SQLite", 1, often(5, 100)}} {
		t.Run(tt.name, func(t *testing.T) {
			c := &tally{fault: tt.name}
			for seed := uint64(1); c.tries < tt.kills; seed++ {
				dsn := ""
				if tt.daemons > 1 {
					dsn = pgtest.Start(t)
				}
				before := c.tries
				t.Run("", func(t *testing.T) {
					killedEvening(t, c, dsn, tt.daemons, min(perEvening, tt.kills-c.tries), seed)
				})
				if c.tries == before || t.Failed() {
					t.Fatalf("an evening of seed %d: %d kills", seed, c.tries-before)
				}
			}
			c.say(t)
		})
	}
}
