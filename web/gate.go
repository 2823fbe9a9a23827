package web

import (
	"net/http"
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"
)

// How often one network may ask for sign-in links, and change things. Ours, no
// source. A whole office may share one address.
const (
	asksBurst   = 10
	asksEvery   = 90 * time.Second
	postsBurst  = 120
	postsEvery  = time.Second
	gatesKept   = 4096
	waitTooMany = "90"
)

// gate lets each network through so often, by the injected clock.
type gate struct {
	clock Clock
	every time.Duration
	burst int
	mu    sync.Mutex
	by    map[netip.Prefix]*rate.Limiter
}

func newGate(c Clock, every time.Duration, burst int) *gate {
	return &gate{clock: c, every: every, burst: burst, by: map[netip.Prefix]*rate.Limiter{}}
}

// passes counts one more and reports whether it may pass.
func (g *gate) passes(remote string) bool {
	from, now := prefixOf(remote), g.clock.Now()
	g.mu.Lock()
	defer g.mu.Unlock()
	l := g.by[from]
	if l == nil {
		if len(g.by) >= gatesKept {
			g.forget(now)
		}
		l = rate.NewLimiter(rate.Every(g.every), g.burst)
		g.by[from] = l
	}
	return l.AllowN(now, 1)
}

// forget drops networks that have their whole allowance, and all if that is not
// enough.
func (g *gate) forget(now time.Time) {
	for k, l := range g.by {
		if l.TokensAt(now) >= float64(g.burst) {
			delete(g.by, k)
		}
	}
	if len(g.by) >= gatesKept {
		clear(g.by)
	}
}

// tooOften answers a request that a gate stopped.
func tooOften(w http.ResponseWriter) {
	w.Header().Set("Retry-After", waitTooMany)
	plain(w, http.StatusTooManyRequests, "That was asked too often from here, so nothing was done. Please wait some minutes.")
}
