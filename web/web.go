// Package web answers over HTTP what the database holds. It reaches the rest of
// the program only through small interfaces wired in cmd.
package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"time"
)

// Watched is what the health page looks at.
type Watched interface {
	// Ping asks the database for a sign of life.
	Ping(ctx context.Context) error
	// Unheard counts the evening calls for today or later, made before the
	// given time, whose crew has not been told.
	Unheard(ctx context.Context, madeBefore time.Time) (int, error)
	// Forecast gives when a forecast was last fetched; zero: never.
	Forecast(ctx context.Context) (time.Time, error)
}

// Clock tells the time.
type Clock interface{ Now() time.Time }

// Health watches over the daemon: the database answers, the scheduler looked at
// its clock lately, and every crew that was called has been told.
type Health struct {
	db    Watched
	clock Clock

	mu     sync.Mutex
	ticked time.Time
}

// NewHealth gives a watch that counts from now.
func NewHealth(db Watched, clock Clock) *Health {
	return &Health{db: db, clock: clock, ticked: clock.Now()}
}

// Ticked is told each time the scheduler has looked at its clock.
func (h *Health) Ticked(t time.Time) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.ticked = t
}

// LastTick gives when the scheduler last looked at its clock.
func (h *Health) LastTick() time.Time {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.ticked
}

// stuckAfter is how long a tick may be away: twelve wakes, so that one long
// fetch is no alarm.
const stuckAfter = 3 * time.Minute

// HeardWithin is how long after a call its crew must have been told: the
// absence check comes 20 minutes after the call.
const HeardWithin = 20 * time.Minute

// report is what /healthz says.
type report struct {
	OK       bool      `json:"ok"`
	Problems []string  `json:"problems"`
	Ticked   time.Time `json:"ticked"`
	Forecast any       `json:"forecast"` // when one was last fetched; old weather is no fault of ours, and never a go
}

func (h *Health) report(ctx context.Context) report {
	h.mu.Lock()
	r := report{OK: true, Problems: []string{}, Ticked: h.ticked}
	h.mu.Unlock()
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	if err := h.db.Ping(ctx); err != nil {
		r.OK, r.Problems = false, append(r.Problems, "the database does not answer")
	} else {
		h.look(ctx, &r)
	}
	if h.clock.Now().Sub(r.Ticked) > stuckAfter {
		r.OK, r.Problems = false, append(r.Problems, "the scheduler has not looked at its clock since "+r.Ticked.UTC().Format(time.RFC3339))
	}
	return r
}

// Ready reports whether the daemon can do its work now: the database answers and
// its workers look at the clock. It says what is wrong in words. Unlike the whole
// report it does not ask what became of the work: a crew that was not told is no
// reason to start the daemon anew.
func (h *Health) Ready(ctx context.Context) (wrong string, ok bool) {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	if err := h.db.Ping(ctx); err != nil {
		return "the database does not answer", false
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.clock.Now().Sub(h.ticked) > stuckAfter {
		return "the scheduler has not looked at its clock since " + h.ticked.UTC().Format(time.RFC3339), false
	}
	return "", true
}

// ready answers whether requests may be sent here.
func (h *Health) ready(w http.ResponseWriter, r *http.Request) {
	if wrong, ok := h.Ready(r.Context()); !ok {
		plain(w, http.StatusServiceUnavailable, wrong)
		return
	}
	plain(w, http.StatusOK, "ready")
}

// look adds what the book knows of how things stand.
func (h *Health) look(ctx context.Context, r *report) {
	n, err := h.db.Unheard(ctx, h.clock.Now().Add(-HeardWithin))
	switch {
	case err != nil:
		r.OK, r.Problems = false, append(r.Problems, "the calls cannot be read")
	case n > 0:
		r.OK, r.Problems = false, append(r.Problems, fmt.Sprintf("%d calls have not reached their crew", n))
	}
	if t, err := h.db.Forecast(ctx); err == nil && !t.IsZero() {
		r.Forecast = t.UTC().Format(time.RFC3339)
	}
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
