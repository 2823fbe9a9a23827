package attempt

import (
	"context"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

var noon = time.Date(2027, 4, 20, 12, 0, 0, 0, time.UTC)

// TestNothingIsPrinted: when it tries again, the library prints addresses to
// standard error. The client never lets it; even if it did, nothing is told.
func TestNothingIsPrinted(t *testing.T) {
	r, w, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	old := os.Stderr
	os.Stderr = w
	srv := httptest.NewUnstartedServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { panic(http.ErrAbortHandler) }))
	srv.Config.ErrorLog = log.New(io.Discard, "", 0)
	srv.Start()
	defer srv.Close()
	c, err := New(Config{})
	if err != nil {
		t.Fatal(err)
	}
	c.http.SetRetryCount(1).SetRetryWaitTime(time.Millisecond)
	u, err := url.Parse(srv.URL + "/?lat=53.45")
	if err != nil {
		t.Fatal(err)
	}
	_, f := c.Get(context.Background(), u, "", noon)
	if f == nil || f.Kind != forecast.Transport || strings.Contains(f.Reason, "53.45") {
		t.Errorf("failure %+v", f)
	}
	os.Stderr = old
	w.Close()
	if out, err := io.ReadAll(r); err != nil || len(out) > 0 {
		t.Errorf("printed %q (%v)", out, err)
	}
}

func TestExpires(t *testing.T) {
	for _, tc := range []struct {
		expires, cache string
		want           time.Time
	}{
		{"", "", time.Time{}},
		{"Tue, 20 Apr 2027 12:33:40 GMT", "", noon.Add(33*time.Minute + 40*time.Second)},
		{"Tue, 20 Apr 2027 11:59:00 GMT", "", time.Time{}},
		{"soon", "no-cache", time.Time{}},
		{"0", "public, max-age=3540, s-maxage=120", noon.Add(59 * time.Minute)},
		{"Tue, 20 Apr 2027 12:33:40 GMT", "max-age=60", noon.Add(time.Minute)},
		{"Tue, 20 Apr 2027 12:33:40 GMT", "max-age=-1", noon.Add(33*time.Minute + 40*time.Second)},
		{"Tue, 20 Apr 2038 12:33:40 GMT", "", noon.Add(24 * time.Hour)},
		{"", "max-age=999999999", noon.Add(24 * time.Hour)},
	} {
		a := Answer{Header: http.Header{"Expires": {tc.expires}, "Cache-Control": {tc.cache}}}
		if got := a.Expires(noon); !got.Equal(tc.want) {
			t.Errorf("%q, %q: %s, want %s", tc.expires, tc.cache, got, tc.want)
		}
	}
}

// TestPlain: a stranger's words become one short line.
func TestPlain(t *testing.T) {
	if got := Plain("a\r\n b\x00c\x7f"); got != "a b c" {
		t.Errorf("%q", got)
	}
	if got := Plain(strings.Repeat("ä", 300)); got != strings.Repeat("ä", 200)+"…" {
		t.Errorf("%d bytes", len(got))
	}
}

// TestIPv4Only: a host that has an IPv6 route alone is not reached with the
// switch, and is without it.
func TestIPv4Only(t *testing.T) {
	l, err := net.Listen("tcp6", "[::1]:0")
	if err != nil {
		t.Skipf("this machine has no IPv6, so the switch against it is not tried; turn it on for the loopback to try it: %v", err)
	}
	srv := httptest.NewUnstartedServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	srv.Listener.Close()
	srv.Listener = l
	srv.Start()
	defer srv.Close()
	u, err := url.Parse(srv.URL)
	if err != nil {
		t.Fatal(err)
	}
	for _, only := range []bool{false, true} {
		c, err := New(Config{IPv4Only: only, Timeout: 5 * time.Second})
		if err != nil {
			t.Fatal(err)
		}
		if _, f := c.Get(context.Background(), u, "", noon); (f != nil) != only || only && f.Kind != forecast.Transport {
			t.Errorf("IPv4 only %v: %+v", only, f)
		}
	}
}
