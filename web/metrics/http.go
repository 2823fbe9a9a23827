package metrics

import (
	"net/http"
	"strconv"
	"time"
)

// Count counts the requests that next answers, and how long they took. elapsed
// gives the time since some moment: how long a thing took is measured by the
// machine's clock, whatever time the daemon lives by.
func (m *Metrics) Count(next http.Handler, elapsed func() time.Duration) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		begun := elapsed()
		seen := &statusSeen{ResponseWriter: w, code: http.StatusOK}
		defer func() {
			route := routeOf(r)
			m.requests.WithLabelValues(route, methodOf(r.Method), strconv.Itoa(seen.code)).Inc()
			m.pages.WithLabelValues(route).Observe((elapsed() - begun).Seconds())
		}()
		next.ServeHTTP(seen, r)
	})
}

// routeOf names the page by its pattern, "/p/{token}", never by the path: a path
// may hold a secret.
func routeOf(r *http.Request) string {
	switch r.Pattern {
	case "":
		return "refused" // before any page was looked for
	case "/":
		return "none" // there is no such page
	}
	return r.Pattern
}

// methodOf gives the method, where it is one that pages know: others are the
// client's own words.
func methodOf(m string) string {
	switch m {
	case http.MethodGet, http.MethodHead, http.MethodPost:
		return m
	}
	return "other"
}

// statusSeen remembers the status of an answer.
type statusSeen struct {
	http.ResponseWriter
	code  int
	wrote bool
}

func (s *statusSeen) WriteHeader(code int) {
	if !s.wrote {
		s.code, s.wrote = code, true
	}
	s.ResponseWriter.WriteHeader(code)
}

func (s *statusSeen) Write(b []byte) (int, error) {
	s.wrote = true
	return s.ResponseWriter.Write(b)
}

// Unwrap lets http.ResponseController reach what is wrapped.
func (s *statusSeen) Unwrap() http.ResponseWriter { return s.ResponseWriter }
