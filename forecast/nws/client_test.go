package nws

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

const stamped = "Tue, 20 Apr 2027 05:12:30 GMT"

// reply is one answer.
type reply struct {
	status int
	header map[string]string
	body   string
}

// service answers by path and keeps what it was asked.
type service struct {
	replies map[string]reply
	asked   []*http.Request
}

func (s *service) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.asked = append(s.asked, r)
	a, ok := s.replies[r.URL.Path]
	if !ok {
		a = problemOf(404, "Not Found", "no such path")
	}
	w.Header().Set("Content-Type", "application/geo+json")
	for k, v := range a.header {
		w.Header().Set(k, v)
	}
	w.WriteHeader(a.status)
	io.WriteString(w, a.body)
}

// paths are what was asked since the last call.
func (s *service) paths() []string {
	var out []string
	for _, r := range s.asked {
		out = append(out, r.URL.Path)
	}
	s.asked = nil
	return out
}

// problemOf is an error by RFC 7807.
func problemOf(status int, title, detail string) reply {
	return reply{status, map[string]string{"Content-Type": "application/problem+json"}, `{"type":"https://api.weather.gov/problems/X","title":"` + title + `","detail":"` + detail + `","correlationId":"0f1e"}`}
}

func pointOf(id, x, y string) reply {
	return reply{200, nil, `{"properties":{"gridId":"` + id + `","gridX":` + x + `,"gridY":` + y + `,"timeZone":"America/Chicago"}}`}
}

const (
	pointPath = "/points/40,-99"
	gridPath  = "/gridpoints/GID/10,20"
)

// well answers as it should.
func well(t *testing.T) *service {
	return &service{replies: map[string]reply{
		pointPath: pointOf("GID", "10", "20"),
		gridPath:  {200, map[string]string{"Last-Modified": stamped, "Cache-Control": "public, max-age=3600, s-maxage=120"}, string(body(t, grid6()))},
	}}
}

func serve(t *testing.T, s *service) *Client {
	t.Helper()
	srv := httptest.NewServer(s)
	t.Cleanup(srv.Close)
	c, err := New(Config{BaseURL: srv.URL, Contact: "office@roofs.example", Version: "1.2", Timeout: 5 * time.Second, StampDate: true})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func ask(now time.Time, kept *forecast.Run) forecast.Ask {
	a := forecast.Ask{Endpoint: forecast.Deterministic, Cells: []forecast.Cell{cell}, Now: now}
	if kept != nil {
		a.Kept = map[forecast.Cell]*forecast.Run{cell: kept}
	}
	return a
}

// fetch expects a run.
func fetch(t *testing.T, c *Client, a forecast.Ask) forecast.Run {
	t.Helper()
	runs, err := c.Fetch(context.Background(), a)
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	return runs[0]
}

// failure expects none.
func failure(t *testing.T, c *Client, a forecast.Ask) *forecast.Failure {
	t.Helper()
	runs, err := c.Fetch(context.Background(), a)
	var f *forecast.Failure
	if !errors.As(err, &f) || runs != nil {
		t.Fatalf("runs %v, error %v, want a *forecast.Failure alone", runs, err)
	}
	if strings.Contains(f.Reason, "-99") {
		t.Errorf("the reason tells the place: %q", f.Reason)
	}
	return f
}

// asked compares the paths asked for since the last time.
func asked(t *testing.T, s *service, paths ...string) {
	t.Helper()
	if got := s.paths(); !slices.Equal(got, paths) {
		t.Errorf("asked for %q, want %q", got, paths)
	}
}

func TestNew(t *testing.T) {
	if _, err := New(Config{Contact: " "}); err == nil || !strings.Contains(err.Error(), "set the source's contact") {
		t.Errorf("no contact: %v", err)
	}
	if _, err := New(Config{Contact: "x@y.example", BaseURL: "ftp://x"}); err == nil {
		t.Error("an address of no web was taken")
	}
	c, err := New(Config{Contact: "x@y.example"})
	if err != nil || c.base.String() != PublicURL || c.Batch(forecast.Deterministic) != 1 || c.Batch(forecast.Ensemble) != 0 {
		t.Errorf("%+v, %v", c, err)
	}
}

func TestRequests(t *testing.T) {
	s := well(t)
	c := serve(t, s)
	now := six.Add(25 * time.Minute)
	r := fetch(t, c, ask(now, nil))
	if r.Modified != stamped || !r.Expires.Equal(now.Add(time.Hour)) || r.Hours.N != 6 {
		t.Errorf("modified %q, expires %s, %d slots", r.Modified, r.Expires, r.Hours.N)
	}
	for _, got := range s.asked {
		for name, v := range map[string]string{"User-Agent": "laycast/1.2 (+office@roofs.example)", "Accept": "application/geo+json", "If-Modified-Since": "", "Date": "Tue, 20 Apr 2027 06:25:00 GMT"} {
			if got.Header.Get(name) != v || got.URL.RawQuery != "" {
				t.Errorf("%s: header %s is %q, want %q", got.URL, name, got.Header.Get(name), v)
			}
		}
	}
	asked(t, s, pointPath, gridPath)
	fetch(t, c, ask(now.Add(6*24*time.Hour), anyDay(t, s)))
	asked(t, s, gridPath) // the grid point is remembered
	fetch(t, c, ask(now.Add(7*24*time.Hour), anyDay(t, s)))
	asked(t, s, pointPath, gridPath) // for a week
}

// anyDay lets the service answer for any day, and keeps no run.
func anyDay(t *testing.T, s *service) *forecast.Run {
	g := s.replies[gridPath]
	d := set(grid6(), "updateTime", "2027-04-27T05:00:00+00:00")
	for _, l := range []string{"temperature", "dewpoint", "windSpeed", "quantitativePrecipitation"} {
		with(d, l, value(0, "P8D", 3))
	}
	g.body = string(body(t, d))
	s.replies[gridPath] = g
	return nil
}

// TestGridMoved: a remembered grid point that is gone is asked for anew, once.
func TestGridMoved(t *testing.T) {
	s := well(t)
	c := serve(t, s)
	fetch(t, c, ask(six, nil))
	s.paths()
	s.replies["/gridpoints/NEW/1,2"] = s.replies[gridPath]
	delete(s.replies, gridPath)
	s.replies[pointPath] = pointOf("NEW", "1", "2")
	fetch(t, c, ask(six, nil))
	asked(t, s, gridPath, pointPath, "/gridpoints/NEW/1,2")
	fetch(t, c, ask(six, nil))
	asked(t, s, "/gridpoints/NEW/1,2")

	delete(s.replies, "/gridpoints/NEW/1,2")
	if f := failure(t, c, ask(six, nil)); f.Kind != forecast.Refused {
		t.Errorf("%+v", f)
	}
	asked(t, s, "/gridpoints/NEW/1,2", pointPath, "/gridpoints/NEW/1,2")
}

// TestConditions: nothing is asked for before it expires, then only if modified.
func TestConditions(t *testing.T) {
	s := well(t)
	c := serve(t, s)
	kept := fetch(t, c, ask(six, nil))
	s.paths()
	if again := fetch(t, c, ask(kept.Expires.Add(-time.Second), &kept)); again.Digest != kept.Digest {
		t.Errorf("run %+v", again)
	}
	asked(t, s)
	s.replies[gridPath] = reply{304, map[string]string{"Cache-Control": "max-age=600"}, ""}
	later := fetch(t, c, ask(kept.Expires, &kept))
	if got := s.asked[0].Header.Get("If-Modified-Since"); got != stamped {
		t.Errorf("If-Modified-Since %q", got)
	}
	if later.Digest != kept.Digest || later.Modified != stamped || !later.Expires.Equal(kept.Expires.Add(10*time.Minute)) || !later.ModelRun.Equal(kept.ModelRun) {
		t.Errorf("run %+v", later)
	}
	// "Not modified" of a grid that is too old is no forecast either.
	if f := failure(t, c, ask(kept.ModelRun.Add(stale+time.Minute), &kept)); f.Kind != forecast.Broken || !strings.Contains(f.Reason, "stale") {
		t.Errorf("%+v", f)
	}
}

// TestStale: an old copy with status 200 is known by its time of update.
func TestStale(t *testing.T) {
	s := well(t)
	c := serve(t, s)
	for update, fresh := range map[string]bool{"2027-04-19T18:01:00+00:00": true, "2027-04-19T17:59:00+00:00": false} {
		s.replies[gridPath] = reply{200, nil, string(body(t, set(grid6(), "updateTime", update)))}
		if fresh {
			fetch(t, c, ask(six, nil))
		} else if f := failure(t, c, ask(six, nil)); f.Kind != forecast.Broken || !strings.Contains(f.Reason, "stale forecast: its grid was last updated 2027-04-19T17:59:00Z") {
			t.Errorf("%s: %+v", update, f)
		}
	}
}

// TestFailures: each sort of trouble has its kind and its title.
func TestFailures(t *testing.T) {
	html := map[string]string{"Content-Type": "text/html"}
	for _, tc := range []struct {
		name   string
		path   string
		r      reply
		kind   forecast.FailureKind
		until  time.Duration
		reason string
	}{
		{"no point", pointPath, problemOf(404, "Data Unavailable For Requested Point", "Unable to provide data for requested point 40,-99"), forecast.Refused, 0, "answered 404: Data Unavailable For Requested Point (the service covers the United States alone)"},
		{"bad point", pointPath, problemOf(400, "Invalid Parameter", "40,-99 is odd"), forecast.Refused, 0, "answered 400: Invalid Parameter"},
		{"a point of nothing", pointPath, reply{200, nil, "{}"}, forecast.Broken, 0, "sent no grid point: no office"},
		{"no contact", gridPath, reply{403, html, "<html>Access Denied</html>"}, forecast.Refused, 0, "answered 403: no reason given (text/html)"},
		{"grid expired", gridPath, problemOf(503, "Forecast Grid Expired", "The requested forecast grid was issued 2027-04-19T02:50:40+00:00 and has expired."), forecast.Server, 0, "answered 503: Forecast Grid Expired: The requested forecast grid was issued 2027-04-19"},
		{"500", gridPath, problemOf(500, "Unexpected Problem", "An unexpected problem has occurred."), forecast.Server, 0, "answered 500: Unexpected Problem"},
		{"502 page", gridPath, reply{502, html, "<html>502</html>"}, forecast.Server, 0, "answered 502: no reason given (text/html)"},
		{"429", gridPath, problemOf(429, "Rate Limit", "slow down"), forecast.Quota, time.Minute, "answered 429: Rate Limit"},
		{"429 with a time", gridPath, reply{429, map[string]string{"Retry-After": "300"}, ""}, forecast.Quota, 5 * time.Minute, "answered 429"},
		{"a problem of 200", gridPath, reply{200, nil, `{"title":"Forecast Grid Expired","status":503}`}, forecast.Broken, 0, "no place or no weather"},
		{"a page of 200", gridPath, reply{200, html, "<html>"}, forecast.Broken, 0, "sent text/html instead of a forecast"},
		{"304 unasked", gridPath, reply{304, nil, ""}, forecast.Broken, 0, "nothing was modified, which it was not asked"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := well(t)
			s.replies[tc.path] = tc.r
			f := failure(t, serve(t, s), ask(six, nil))
			if f.Kind != tc.kind || !strings.Contains(f.Reason, tc.reason) {
				t.Errorf("%s: %q, want %s: %q", f.Kind, f.Reason, tc.kind, tc.reason)
			}
			if (tc.name == "no point" || tc.name == "bad point") != f.Place {
				t.Errorf("the place may be why: %v", f.Place)
			}
			if tc.until == 0 != f.Until.IsZero() || tc.until > 0 && !f.Until.Equal(six.Add(tc.until)) {
				t.Errorf("until %s", f.Until)
			}
			if n := len(s.asked); n > 2 || tc.path == pointPath && n != 1 {
				t.Errorf("%d requests", n)
			}
		})
	}
}

// TestSharedProblem: the shared folder's error body is told by its title.
func TestSharedProblem(t *testing.T) {
	s := well(t)
	s.replies[gridPath] = reply{503, map[string]string{"Content-Type": "application/problem+json"}, string(shared(t, "nws_problem_503.json"))}
	if f := failure(t, serve(t, s), ask(six, nil)); f.Kind != forecast.Server || !strings.Contains(f.Reason, "Forecast Grid Expired") {
		t.Errorf("%+v", f)
	}
}

// TestWhatIsNotAsked: no request for what the service does not have.
func TestWhatIsNotAsked(t *testing.T) {
	s := well(t)
	c := serve(t, s)
	if runs, err := c.Fetch(context.Background(), forecast.Ask{Endpoint: forecast.Ensemble, Now: six}); runs != nil || err != nil {
		t.Errorf("no cells: %v, %v", runs, err)
	}
	ensemble, two := ask(six, nil), ask(six, nil)
	ensemble.Endpoint = forecast.Ensemble
	two.Cells = append(two.Cells, cell)
	for words, a := range map[string]forecast.Ask{"has no ensemble": ensemble, "takes one a request": two} {
		if f := failure(t, c, a); f.Kind != forecast.Refused || !strings.Contains(f.Reason, words) {
			t.Errorf("%s: %q, want %q", f.Kind, f.Reason, words)
		}
	}
	asked(t, s)
}
