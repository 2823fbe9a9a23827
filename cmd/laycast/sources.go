package main

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"laycast/forecast/metno"
	"laycast/forecast/nws"
	"laycast/forecast/openmeteo"
	"laycast/job"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
	"laycast/web"
)

// freeWarning is said at start where a free host is asked.
const freeWarning = "the free hosts of the open API are asked, whose terms allow no commercial use; for work take a contract, run a server of your own, or use met-norway or us-nws"

// The share of the free hosts' limits that is used (600, 5000 and 10 000 calls,
// FORECAST_API §1.7): others at the same address use them too.
const freeShare = 0.8

// freeLimits are the bounds for a free host.
func freeLimits() ledger.Limits {
	return ledger.Limits{Minute: 600 * freeShare, Hour: 5000 * freeShare, Day: 10000 * freeShare}
}

// sources makes the forecast sources that the configuration names, in its order.
// stamp says that requests bear the time they are made for, which is not the
// machine's.
func (h *house) sources(stamp bool) ([]scheduler.NamedSource, error) {
	var out []scheduler.NamedSource
	for _, c := range h.cfg.Sources {
		n, err := newSource(c, stamp)
		if err != nil {
			return nil, fmt.Errorf("set up the weather source %s: %w", c.Name, err)
		}
		n.Name = cmp.Or(c.Name, c.Kind)
		n.Limits = ledger.Limits{
			Minute: cmp.Or(c.PerMinute, n.Limits.Minute), Hour: cmp.Or(c.PerHour, n.Limits.Hour), Day: cmp.Or(c.PerDay, n.Limits.Day),
		}
		out = append(out, n)
	}
	return out, nil
}

// places gives the index of places of the first source that has one; nil where
// none is configured.
func (h *house) places(clock scheduler.Clock) (web.Places, error) {
	for _, c := range h.cfg.Sources {
		if c.GeocodingURL == "" {
			continue
		}
		x, err := openmeteo.NewIndex(c.GeocodingURL, openmeteo.Config{Key: c.Key.Reveal(), IPv4Only: c.IPv4, Contact: c.Contact, Version: version})
		if err != nil {
			return nil, fmt.Errorf("set up the search of places of %s: %w", c.Name, err)
		}
		return index{x, clock}, nil
	}
	return nil, nil
}

// index lets the pages look for places.
type index struct {
	*openmeteo.Index
	clock scheduler.Clock
}

func (x index) Find(ctx context.Context, name string) ([]web.Place, error) {
	found, err := x.Index.Find(ctx, name, x.clock.Now())
	if err != nil {
		return nil, err
	}
	var out []web.Place
	for _, p := range found {
		out = append(out, web.Place{Name: p.Name, Point: job.Point{Lat: p.Lat, Lon: p.Lon}, ElevationM: p.ElevationM, Zone: p.Zone})
	}
	return out, nil
}

// The US service often fails once or twice and then answers (pitfall 20 of
// FORECAST_API §7), so it has three tries before another is asked.
const (
	nwsTries   = 3
	nwsTimeout = 30 * time.Second
)

func newSource(c SourceConfig, stamp bool) (scheduler.NamedSource, error) {
	switch c.Kind {
	case "replay":
		src, err := demoSource()
		return scheduler.NamedSource{Source: src, Credit: demoCredit, Licence: "invented weather, nobody's data"}, err
	case metno.Source:
		src, err := metno.New(metno.Config{BaseURL: c.URL, Contact: c.Contact, Version: version, StampDate: stamp, IPv4Only: c.IPv4})
		return scheduler.NamedSource{Source: src, Credit: metno.Credit, Licence: metno.Licence + ", commercial use allowed"}, err
	case nws.Source:
		// up to three requests a call, which have to end within the lease on the source
		src, err := nws.New(nws.Config{BaseURL: c.URL, Contact: c.Contact, Version: version, StampDate: stamp, Timeout: nwsTimeout, IPv4Only: c.IPv4})
		return scheduler.NamedSource{Source: src, Credit: nws.Credit, Licence: nws.Licence + ", any use allowed", Tries: nwsTries}, err
	case openmeteo.Source:
		src, err := openmeteo.New(openmeteo.Config{
			ForecastURL: c.ForecastURL, EnsembleURL: c.EnsembleURL, PreviousURL: c.PreviousURL, Model: c.Model, Key: c.Key.Reveal(), IPv4Only: c.IPv4,
			Contact: c.Contact, Version: version, StampDate: stamp,
		})
		if err != nil {
			return scheduler.NamedSource{}, err
		}
		n := scheduler.NamedSource{Source: src, Credit: openmeteo.Credit, Licence: "CC BY 4.0", Free: src.Free()}
		if n.Free {
			n.Limits = freeLimits()
		}
		return n, nil
	}
	return scheduler.NamedSource{}, fmt.Errorf("there is no kind %q", c.Kind)
}
