// Package web answers over HTTP what the database holds. It reaches the rest of
// the program only through small interfaces wired in cmd.
package web

import (
	"context"
	"encoding/json"
	"net/http"
	"sync"
	"time"
)

// Pinger asks the database for a sign of life.
type Pinger interface {
	Ping(ctx context.Context) error
}

// Clock tells the time.
type Clock interface{ Now() time.Time }

// Health watches over the daemon: the database answers, and the scheduler
// looked at its clock lately.
type Health struct {
	db    Pinger
	clock Clock

	mu     sync.Mutex
	ticked time.Time
}

// NewHealth gives a watch that counts from now.
func NewHealth(db Pinger, clock Clock) *Health {
	return &Health{db: db, clock: clock, ticked: clock.Now()}
}

// Ticked is told each time the scheduler has looked at its clock.
func (h *Health) Ticked(t time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.ticked = t
}

// stuckAfter is how long a tick may be away: twelve wakes, so that one long
// fetch is no alarm.
const stuckAfter = 3 * time.Minute

// report is what /healthz says.
type report struct {
	OK       bool      `json:"ok"`
	Problems []string  `json:"problems"`
	Ticked   time.Time `json:"ticked"`
}

func (h *Health) report(ctx context.Context) report {
	h.mu.Lock()
	r := report{OK: true, Problems: []string{}, Ticked: h.ticked}
	h.mu.Unlock()
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	if err := h.db.Ping(ctx); err != nil {
		r.OK, r.Problems = false, append(r.Problems, "the database does not answer")
	}
	if h.clock.Now().Sub(r.Ticked) > stuckAfter {
		r.OK, r.Problems = false, append(r.Problems, "the scheduler has not looked at its clock since "+r.Ticked.UTC().Format(time.RFC3339))
	}
	return r
}

// ServeHTTP says how the daemon is, with 503 where it is not well.
func (h *Health) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	rep := h.report(r.Context())
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	if !rep.OK {
		w.WriteHeader(http.StatusServiceUnavailable)
	}
	_ = json.NewEncoder(w).Encode(rep) // the client is gone: there is nobody to tell
}
