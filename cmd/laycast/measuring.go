package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"time"

	"github.com/rs/zerolog"

	"laycast/scheduler"
	"laycast/scheduler/ledger"
	"laycast/web"
	"laycast/web/metrics"
)

// measured lets the metrics look at this house's firm, or at all of them.
type measured struct{ watched }

func (m measured) Status(ctx context.Context, now time.Time) (ledger.Status, error) {
	uid := m.firm.UID
	if m.many {
		uid = ""
	}
	return m.db.Status(ctx, uid, now)
}

func (m measured) Failures() int64 { return m.db.Failures() }

// measure counts what the pages answer and what the sources are asked, and tells it
// at an address of its own until end is called. Without such an address in the
// configuration it does nothing. It is an address apart because a proxy that passes
// the pages on would pass on whatever stands beside them.
func (s *session) measure(h *house, health *web.Health, sched *scheduler.Scheduler, pages http.Handler, log zerolog.Logger) (counted http.Handler, end func(), err error) {
	if h.cfg.MetricsListen == "" {
		return pages, func() {}, nil
	}
	ln, err := net.Listen("tcp", h.cfg.MetricsListen)
	if err != nil {
		return nil, nil, fmt.Errorf("listen on %s for metrics: %w; set another address with metrics_listen in the configuration", h.cfg.MetricsListen, err)
	}
	limits := map[string]ledger.Limits{}
	for _, n := range sched.Sources {
		limits[n.Name] = n.Limits
	}
	m := metrics.New(metrics.Config{
		Book: measured{watched{h, sched.Clock}}, Clock: sched.Clock, Ticked: health.LastTick, Limits: limits, Version: version,
		HeardWithin: web.HeardWithin, Log: log,
	})
	for i, n := range sched.Sources {
		sched.Sources[i].Source = m.CountSource(n.Name, n.Source)
	}
	srv := pageServer(m.Handler())
	go func() {
		if err := srv.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
			log.Error().Err(err).Msg("metrics are not told any more")
		}
	}()
	if s.Measuring != nil {
		s.Measuring(ln.Addr().String())
	}
	begun := time.Now()
	return m.Count(pages, func() time.Duration { return time.Since(begun) }), func() { _ = srv.Close() }, nil
}

// metrics looks at who can read the metrics.
func (e *examination) metrics(listen string) {
	const about = "metrics"
	if listen == "" {
		return // nobody can
	}
	host, _, err := net.SplitHostPort(listen)
	ip, notIP := netip.ParseAddr(host)
	switch {
	case err != nil: // the configuration was refused for it
	case loopback(host), notIP == nil && ip.IsPrivate():
		e.ok(about, "are told at http://%s/metrics", listen)
	default:
		e.see(doubt, about, "set metrics_listen to 127.0.0.1 or to an address in a network of your own, or see that a firewall keeps others out",
			"whoever reaches %s can read the metrics: they name nobody, and are none of the public's business", listen)
	}
}
