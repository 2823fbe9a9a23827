package main

import (
	"context"
	"fmt"
	"net"
	"strconv"
	"strings"
	"time"
)

// watchdog tells systemd how the daemon is, by the datagrams of sd_notify(3). It
// is silent where systemd did not start us.
type watchdog struct {
	socket string        // path, or @name of an abstract one; "" = nobody listens
	every  time.Duration // how often systemd wants to hear; 0 = never
}

// newWatchdog reads what systemd put into the environment.
func newWatchdog(env func(string) string) (watchdog, error) {
	w := watchdog{socket: env("NOTIFY_SOCKET")}
	if v := env("WATCHDOG_USEC"); v != "" && w.socket != "" {
		n, err := strconv.ParseInt(v, 10, 64)
		if err != nil || n <= 0 {
			return w, fmt.Errorf("read WATCHDOG_USEC: %q is no number of microseconds", v)
		}
		w.every = time.Duration(n) * time.Microsecond
	}
	return w, nil
}

// tell sends one datagram.
func (w watchdog) tell(lines ...string) error {
	if w.socket == "" {
		return nil
	}
	name := w.socket
	if after, ok := strings.CutPrefix(name, "@"); ok {
		name = "\x00" + after
	}
	c, err := net.DialUnix("unixgram", nil, &net.UnixAddr{Name: name, Net: "unixgram"})
	if err != nil {
		return fmt.Errorf("tell systemd: %w", err)
	}
	defer func() { _ = c.Close() }()
	if _, err := c.Write([]byte(strings.Join(lines, "\n"))); err != nil {
		return fmt.Errorf("tell systemd: %w", err)
	}
	return nil
}

// watch answers systemd until ctx ends, three times in each span that it allows,
// and only while well finds nothing wrong. What it cannot tell it tells failed.
func (w watchdog) watch(ctx context.Context, well func(context.Context) (string, bool), failed func(error)) {
	if w.every == 0 {
		return
	}
	tick := time.NewTicker(w.every / 3)
	defer tick.Stop()
	for {
		lines := []string{"WATCHDOG=1", "STATUS=well"}
		if what, ok := well(ctx); !ok {
			lines = []string{"STATUS=" + oneLine(what)}
		}
		if err := w.tell(lines...); err != nil {
			failed(err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}
