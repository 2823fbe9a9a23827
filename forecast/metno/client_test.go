package metno

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

const (
	stamped = "Tue, 20 Apr 2027 05:41:12 GMT"
	expires = "Tue, 20 Apr 2027 06:33:40 GMT"
)

// service answers as the test says and keeps what it was asked.
type service struct {
	status int
	header map[string]string
	body   string
	asked  []*http.Request
}

func (s *service) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.asked = append(s.asked, r)
	w.Header().Set("Content-Type", "application/json")
	for k, v := range s.header {
		w.Header().Set(k, v)
	}
	w.WriteHeader(s.status)
	io.WriteString(w, s.body)
}

func serve(t *testing.T, s *service, edit func(*Config)) *Client {
	t.Helper()
	srv := httptest.NewServer(s)
	t.Cleanup(srv.Close)
	cfg := Config{BaseURL: srv.URL + "/weatherapi/locationforecast/2.0/", Contact: "mailto:office@roofs.example", Version: "1.2", Timeout: 5 * time.Second}
	if edit != nil {
		edit(&cfg)
	}
	c, err := New(cfg)
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
	return f
}

func TestNew(t *testing.T) {
	for _, contact := range []string{"", "  "} {
		if _, err := New(Config{Contact: contact}); err == nil || !strings.Contains(err.Error(), "set the source's contact") {
			t.Errorf("contact %q: %v", contact, err)
		}
	}
	for _, cfg := range []Config{{Contact: "x@y.example", Product: "classic"}, {Contact: "x@y.example", BaseURL: "api.example"}, {Contact: "a\nb"}} {
		if _, err := New(cfg); err == nil {
			t.Errorf("%+v was taken", cfg)
		}
	}
	c, err := New(Config{Contact: "ops@roofs.example"})
	if err != nil || c.product.String() != "https://api.met.no/weatherapi/locationforecast/2.0/complete" {
		t.Errorf("%v, %v", c.product, err)
	}
	if c.Batch(forecast.Deterministic) != 1 || c.Batch(forecast.Ensemble) != 0 {
		t.Error("batches")
	}
}

// TestRequest holds the request to the service's terms (FORECAST_API §4).
func TestRequest(t *testing.T) {
	s := &service{status: 200, body: string(body(t, hourly(4))), header: map[string]string{"Last-Modified": stamped, "Expires": expires}}
	now := six.Add(3*time.Minute + 20*time.Second)
	r := fetch(t, serve(t, s, func(c *Config) { c.StampDate = true }), ask(now, nil))
	if r.Modified != stamped || !r.Expires.Equal(six.Add(33*time.Minute+40*time.Second)) || r.Hours.N != 3 {
		t.Errorf("modified %q, expires %s, %d slots", r.Modified, r.Expires, r.Hours.N)
	}
	got := s.asked[0]
	if got.Method != http.MethodGet || got.URL.String() != "/weatherapi/locationforecast/2.0/complete?altitude=50&lat=53.45&lon=-6.25" {
		t.Errorf("%s %s", got.Method, got.URL)
	}
	for name, v := range map[string]string{"User-Agent": "laycast/1.2 (+mailto:office@roofs.example)", "Accept-Encoding": "gzip", "If-Modified-Since": "", "Date": "Tue, 20 Apr 2027 06:03:20 GMT"} {
		if got.Header.Get(name) != v {
			t.Errorf("header %s is %q, want %q", name, got.Header.Get(name), v)
		}
	}
	odd := forecast.Cell{Lat: 53.123456789, Lon: -6.1, Elev: 0}
	c := serve(t, s, func(c *Config) { c.Product = Compact })
	if u := c.address(odd).String(); !strings.HasSuffix(u, "/compact?altitude=0&lat=53.1235&lon=-6.1") {
		t.Errorf("address %s", u)
	}
}

// TestConditions: nothing is asked for before it expires, then only if modified,
// by the exact words of the answer before.
func TestConditions(t *testing.T) {
	s := &service{status: 200, body: string(body(t, hourly(4))), header: map[string]string{"Last-Modified": stamped, "Expires": expires}}
	c := serve(t, s, nil)
	kept := fetch(t, c, ask(six, nil))
	kept.FirstSeen, kept.LastSeen, kept.Changed = six, six, six

	again := fetch(t, c, ask(kept.Expires.Add(-time.Second), &kept))
	if len(s.asked) != 1 || again.Digest != kept.Digest || again.Modified != stamped || !again.Expires.Equal(kept.Expires) {
		t.Errorf("%d requests before expiry; run %+v", len(s.asked), again)
	}
	s.status, s.body, s.header = 304, "", map[string]string{"Expires": "Tue, 20 Apr 2027 07:05:00 GMT"}
	later := fetch(t, c, ask(kept.Expires, &kept))
	if got := s.asked[1].Header.Get("If-Modified-Since"); len(s.asked) != 2 || got != stamped {
		t.Errorf("%d requests, If-Modified-Since %q", len(s.asked), got)
	}
	if later.Digest != kept.Digest || later.Modified != stamped || !later.Expires.Equal(six.Add(65*time.Minute)) || later.Hours.N != 3 || !kept.Expires.Equal(six.Add(33*time.Minute+40*time.Second)) {
		t.Errorf("run %+v", later)
	}
	if run, isNew := forecast.Carry(&kept, later, six.Add(34*time.Minute)); isNew || !run.Expires.Equal(later.Expires) || !run.Changed.Equal(six) {
		t.Errorf("carried as %+v, new %v", run, isNew)
	}
	// Somebody else's run does not help, and a 304 that nobody asked for is no run.
	if f := failure(t, c, ask(six, nil)); f.Kind != forecast.Broken || len(s.asked) != 3 {
		t.Errorf("%+v", f)
	}
	// A source that sends no headers is asked again at any time.
	s.status, s.body, s.header = 200, string(body(t, hourly(4))), nil
	if r := fetch(t, c, ask(kept.Expires, &kept)); r.Modified != "" || !r.Expires.IsZero() {
		t.Errorf("modified %q, expires %s", r.Modified, r.Expires)
	}
}

// TestDeprecated: 203 is data with a warning, and its conditions do not work.
func TestDeprecated(t *testing.T) {
	s := &service{status: 203, body: string(body(t, hourly(4))), header: map[string]string{"Last-Modified": stamped, "Expires": expires}}
	r := fetch(t, serve(t, s, nil), ask(six, nil))
	if len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "deprecated (203)") || r.Modified != "" || r.Expires.IsZero() || r.Hours.N != 3 {
		t.Errorf("notes %q, modified %q, expires %s", r.Notes, r.Modified, r.Expires)
	}
}

// TestFailures: each sort of trouble has its kind, and one call is one request.
func TestFailures(t *testing.T) {
	html := map[string]string{"Content-Type": "text/html; charset=utf-8"}
	for _, tc := range []struct {
		name   string
		s      service
		kind   forecast.FailureKind
		until  time.Duration
		reason string
	}{
		{"403", service{status: 403, body: "<html><head><title>403 Forbidden</title></head><body>Missing User-Agent &amp; more</body></html>", header: html}, forecast.Refused, 24 * time.Hour, "answered 403: 403 Forbidden Missing User-Agent & more; asked no more for a day"},
		{"429", service{status: 429, body: "slow down", header: map[string]string{"Content-Type": "text/plain"}}, forecast.Quota, time.Hour, "answered 429: slow down"},
		{"429 with a time", service{status: 429, header: map[string]string{"Retry-After": "7200"}}, forecast.Quota, 2 * time.Hour, "answered 429"},
		{"422", service{status: 422, body: "outside", header: html}, forecast.Refused, 0, "lies outside the area"},
		{"400", service{status: 400, body: "<p>bad altitude", header: html}, forecast.Refused, 0, "answered 400: bad altitude"},
		{"404", service{status: 404, body: "", header: html}, forecast.Refused, 0, "answered 404: no reason given (text/html)"},
		{"499", service{status: 499}, forecast.Transport, 0, "answered 499"},
		{"500", service{status: 500}, forecast.Server, 0, "answered 500"},
		{"502", service{status: 502, body: "<html>Bad Gateway</html>", header: html}, forecast.Server, 0, "answered 502: Bad Gateway"},
		{"503", service{status: 503}, forecast.Server, 0, "answered 503"},
		{"elsewhere", service{status: 302, header: map[string]string{"Location": "https://api.other.example/x?lat=53.45"}}, forecast.Refused, 0, "points elsewhere (302, to https://api.other.example)"},
		{"a page of 200", service{status: 200, body: "<html>log in</html>", header: html}, forecast.Broken, 0, "sent text/html instead of a forecast"},
		{"cut short", service{status: 200, body: string(body(t, hourly(4))[:200])}, forecast.Broken, 0, "no whole JSON"},
		{"another place", service{status: 200, body: strings.Replace(string(body(t, hourly(4))), "53.45", "63.45", 1)}, forecast.Broken, 0, "from the one asked for"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f := failure(t, serve(t, &tc.s, nil), ask(six, nil))
			if f.Kind != tc.kind || !strings.Contains(f.Reason, tc.reason) {
				t.Errorf("%s: %q, want %s: %q", f.Kind, f.Reason, tc.kind, tc.reason)
			}
			if (tc.name == "422" || tc.name == "400" || tc.name == "404") != f.Place {
				t.Errorf("the place may be why: %v", f.Place)
			}
			if tc.until == 0 != f.Until.IsZero() || tc.until > 0 && !f.Until.Equal(six.Add(tc.until)) {
				t.Errorf("until %s", f.Until)
			}
			if len(tc.s.asked) != 1 {
				t.Errorf("%d requests, want 1", len(tc.s.asked))
			}
		})
	}
}

// TestWhatIsNotAsked: no request for what the service does not have.
func TestWhatIsNotAsked(t *testing.T) {
	s := &service{status: 200, body: string(body(t, hourly(4)))}
	c := serve(t, s, nil)
	if runs, err := c.Fetch(context.Background(), forecast.Ask{Endpoint: forecast.Ensemble, Now: six}); runs != nil || err != nil {
		t.Errorf("no cells: %v, %v", runs, err)
	}
	ensemble := ask(six, nil)
	ensemble.Endpoint = forecast.Ensemble
	two := ask(six, nil)
	two.Cells = append(two.Cells, cell)
	for want, a := range map[string]forecast.Ask{"has no ensemble": ensemble, "takes one a request": two} {
		if f := failure(t, c, a); f.Kind != forecast.Refused || !strings.Contains(f.Reason, want) {
			t.Errorf("%s: %q, want %q", f.Kind, f.Reason, want)
		}
	}
	if len(s.asked) != 0 {
		t.Errorf("%d requests", len(s.asked))
	}
}
