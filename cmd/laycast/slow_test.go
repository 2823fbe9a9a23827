package main

import (
	"io"
	"net"
	"net/http"
	"strings"
	"testing"
	"time"
)

// A client that sends its header a byte at a time is cut off, and one with an
// endless header too; the limits are those of the served pages, a hundredth of the
// time so that nobody waits.
func TestSlowClientsAreCutOff(t *testing.T) {
	srv := pageServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(w, r.Body)
	}))
	for name, d := range map[string]*time.Duration{
		"header": &srv.ReadHeaderTimeout, "reading": &srv.ReadTimeout, "writing": &srv.WriteTimeout, "idling": &srv.IdleTimeout,
	} {
		if *d <= 0 || *d > 2*time.Minute {
			t.Errorf("%s: limit %s", name, *d)
		}
		*d /= 100
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	go func() { _ = srv.Serve(ln) }()
	defer srv.Close()
	for _, x := range []struct {
		name, begin string
		drip        string // sent again and again
		want        string
	}{
		{"a header that never ends", "GET / HTTP/1.1\r\nHost: quay.example\r\n", "X-A: b\r\n", ""},
		{"a form that never ends", "POST / HTTP/1.1\r\nHost: quay.example\r\nContent-Length: 1000000\r\n\r\n", "a", ""},
		{"a header of 100 kB", "GET / HTTP/1.1\r\nHost: quay.example\r\nX-A: " + strings.Repeat("b", 100_000) + "\r\n\r\n", "", "431"},
		{"one in time", "GET / HTTP/1.1\r\nHost: quay.example\r\nConnection: close\r\n\r\n", "", "200"},
	} {
		c, err := net.Dial("tcp", ln.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		done := make(chan struct{})
		go func() {
			defer close(done)
			if _, err := io.WriteString(c, x.begin); err != nil {
				return
			}
			for x.drip != "" {
				if _, err := io.WriteString(c, x.drip); err != nil {
					return // cut off
				}
				time.Sleep(5 * time.Millisecond)
			}
		}()
		_ = c.SetReadDeadline(time.Now().Add(20 * time.Second))
		answer, err := io.ReadAll(c)
		if ne, ok := err.(net.Error); ok && ne.Timeout() {
			t.Errorf("%s: the connection is still open", x.name)
		}
		if !strings.Contains(string(answer), x.want) {
			t.Errorf("%s: answer %.60q", x.name, answer)
		}
		_ = c.Close()
		<-done
	}
}
