package main

import (
	"context"
	"net"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func listenAsSystemd(t *testing.T) (*net.UnixConn, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "n")
	c, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Skipf("this system has no Unix datagram sockets, which systemd speaks by; run it on Linux: %v", err)
	}
	t.Cleanup(func() { _ = c.Close() })
	return c, path
}

// heard gives the next datagram, "" where none comes.
func heard(t *testing.T, c *net.UnixConn, within time.Duration) string {
	t.Helper()
	b := make([]byte, 4096)
	if err := c.SetReadDeadline(time.Now().Add(within)); err != nil {
		t.Fatal(err)
	}
	n, err := c.Read(b)
	if err != nil {
		return ""
	}
	return string(b[:n])
}

// Systemd hears that the daemon is well only while it is.
func TestWatchdogIsSilentWhileUnwell(t *testing.T) {
	t.Parallel()
	c, path := listenAsSystemd(t)
	env := map[string]string{"NOTIFY_SOCKET": path, "WATCHDOG_USEC": "90000"}
	w, err := newWatchdog(func(k string) string { return env[k] })
	if err != nil || w.every != 90*time.Millisecond {
		t.Fatalf("%+v, %v", w, err)
	}
	if err := w.tell("READY=1"); err != nil || heard(t, c, time.Second) != "READY=1" {
		t.Fatalf("ready is not heard: %v", err)
	}
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	turn := 0
	go w.watch(ctx, func(context.Context) (string, bool) { turn++; return "the database\ndoes not answer", turn != 2 }, func(err error) { t.Error(err) })
	for i, want := range []bool{true, false, true} {
		got := heard(t, c, 5*time.Second)
		if strings.Contains(got, "WATCHDOG=1") != want || strings.Count(got, "\n") > 1 || !want && !strings.Contains(got, "does not answer") {
			t.Errorf("beat %d says %q", i, got)
		}
	}
}

func TestWatchdogWithoutSystemd(t *testing.T) {
	t.Parallel()
	w, err := newWatchdog(func(string) string { return "" })
	if err != nil || w.tell("READY=1") != nil {
		t.Fatalf("%+v, %v", w, err)
	}
	w.watch(t.Context(), nil, nil) // ends at once
	if _, err := newWatchdog(func(string) string { return "x" }); err == nil {
		t.Error("WATCHDOG_USEC=x passes")
	}
}
