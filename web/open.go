package web

import (
	"context"
	"net/http"
	"net/netip"
	"sync"
	"time"

	"laycast/job/access"
)

// open finds the link of a token, before anything else of the request is
// weighed. Where it gives false the request is answered: all failures alike.
func (s *site) open(w http.ResponseWriter, r *http.Request, token string, p access.Purpose) (access.Link, bool) {
	return s.openBy(w, r, token, p, s.Links.FindLink)
}

// openBy is open with a look-up of its own.
func (s *site) openBy(w http.ResponseWriter, r *http.Request, token string, p access.Purpose,
	find func(context.Context, string) (access.Link, bool, error)) (access.Link, bool) {
	if token == "" || access.FromPath(token) != token {
		s.miss(w, r)
		return access.Link{}, false
	}
	l, ok, err := find(r.Context(), access.HashOf(token))
	if err != nil {
		s.unavailable(w, "link", err)
		return access.Link{}, false
	}
	if !ok || l.Purpose != p {
		s.miss(w, r)
		return access.Link{}, false
	}
	return l, true
}

// miss answers a request whose token opens nothing.
func (s *site) miss(w http.ResponseWriter, r *http.Request) {
	if s.misses.tooMany(s.client(r)) {
		w.Header().Set("Retry-After", "60")
		plain(w, http.StatusTooManyRequests, "Too many links that do not exist were tried from here. Please wait a minute.")
		return
	}
	notFound(w)
}

// How many dead links an address may try in how long, and how many addresses
// are remembered. Tokens carry 256 bits, so this is no defence of theirs; it
// makes a prober or a stray client visible and cheap. It never stops a link
// that works: behind a proxy all readers share one address. Ours, no source.
const (
	missesAllowed = 120
	missesWindow  = time.Minute
	missesKept    = 4096
)

// misses counts requests for links that are not there, by address.
type misses struct {
	clock Clock
	mu    sync.Mutex
	by    map[netip.Prefix]tally
}

type tally struct {
	since time.Time
	n     int
}

func newMisses(c Clock) *misses { return &misses{clock: c, by: map[netip.Prefix]tally{}} }

// tooMany counts one more miss and reports whether there are too many.
func (m *misses) tooMany(remote string) bool {
	from, now := prefixOf(remote), m.clock.Now()
	m.mu.Lock()
	defer m.mu.Unlock()
	t, known := m.by[from]
	if !known && len(m.by) >= missesKept {
		m.forget(now)
	}
	if stale(t, now) {
		t = tally{since: now}
	}
	t.n++
	m.by[from] = t
	return t.n > missesAllowed
}

// stale reports whether a tally is of an earlier window, or of a later one: the
// clock may be set back.
func stale(t tally, now time.Time) bool {
	age := now.Sub(t.since)
	return age < 0 || age >= missesWindow
}

// forget drops what no longer counts, and all of it if that is not enough.
func (m *misses) forget(now time.Time) {
	for k, t := range m.by {
		if stale(t, now) {
			delete(m.by, k)
		}
	}
	if len(m.by) >= missesKept {
		clear(m.by)
	}
}

// prefixOf gives the network that a request came from: one IPv4 address, or the
// /64 that a household or host has of IPv6.
func prefixOf(remote string) netip.Prefix {
	a := hostAddr(remote)
	bits := a.BitLen()
	if a.Is6() {
		bits = 64
	}
	p, err := a.Prefix(bits)
	if err != nil {
		return netip.Prefix{}
	}
	return p
}
