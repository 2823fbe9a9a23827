// Package openmeteo fetches forecasts from the open ensemble and forecast API
// (api.open-meteo.com, its paid hosts, or a server of one's own) and decodes
// them into forecast.Run: shifted into hour slots, checked, mended where a
// mend is honest, quantised. One call is one HTTP attempt; what to do after a
// failure is told as data (forecast.Failure) and decided by the caller.
package openmeteo

import (
	"cmp"
	"context"
	"fmt"
	"net/url"
	"time"

	"laycast/forecast"
	"laycast/forecast/attempt"
)

// Source is the name that runs of this package bear.
const Source = "open-meteo"

// Credit is the line that the data's licence (CC BY 4.0) asks to be shown
// wherever the weather is shown.
const Credit = "Weather data by Open-Meteo.com (https://open-meteo.com/), CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/), processed."

// The free hosts: for uses without commerce only, by their terms.
const (
	FreeForecastURL = "https://api.open-meteo.com"
	FreeEnsembleURL = "https://ensemble-api.open-meteo.com"
	FreePreviousURL = "https://previous-runs-api.open-meteo.com"
)

// The paid hosts that belong together.
const (
	paidForecastURL = "https://customer-api.open-meteo.com"
	paidPreviousURL = "https://customer-previous-runs-api.open-meteo.com"
)

// DefaultModel is the ensemble asked for when none is configured: hourly steps,
// 18 members, 8 days.
const DefaultModel = "ukmo_global_ensemble_20km"

// Config says where and how to ask. Zero values are defaults.
type Config struct {
	ForecastURL string // scheme and host, with a path prefix if need be; "" = the free host
	EnsembleURL string
	PreviousURL string // of forecasts made in the past; "" = the one that belongs to ForecastURL
	Model       string // ensemble model; "" = DefaultModel
	Key         string // sent in the X-Api-Key header, never in the address
	Contact     string // mail address or page of the firm, told in User-Agent
	Version     string // of laycast, told in User-Agent
	StampDate   bool   // send `now` as the Date header: the stand-in server's clock

	Timeout        time.Duration // of the whole attempt; 0 = 45 s
	ConnectTimeout time.Duration // 0 = 10 s
	IPv4Only       bool          // for hosts with a broken IPv6 route
}

// Client asks one source. It keeps no state between calls and is safe for
// concurrent use; the source lets one request run at a time (FORECAST_API §1.7).
type Client struct {
	cfg                          Config
	forecast, ensemble, previous *url.URL
	http                         *attempt.Client
}

// New makes a client. It fails on an address that is not plain http(s), or that
// holds a password or a query: a key belongs in Key.
func New(cfg Config) (*Client, error) {
	cfg.ForecastURL = cmp.Or(cfg.ForecastURL, FreeForecastURL)
	cfg.EnsembleURL = cmp.Or(cfg.EnsembleURL, FreeEnsembleURL)
	cfg.PreviousURL = cmp.Or(cfg.PreviousURL, previousFor(cfg.ForecastURL))
	cfg.Model = cmp.Or(cfg.Model, DefaultModel)
	c := &Client{cfg: cfg}
	var err error
	if c.forecast, err = attempt.Base(cfg.ForecastURL); err != nil {
		return nil, fmt.Errorf("forecast address: %w", err)
	}
	if c.ensemble, err = attempt.Base(cfg.EnsembleURL); err != nil {
		return nil, fmt.Errorf("ensemble address: %w", err)
	}
	if c.previous, err = attempt.Base(cfg.PreviousURL); err != nil {
		return nil, fmt.Errorf("address of previous runs: %w", err)
	}
	c.http, err = attempt.New(attempt.Config{
		Contact: cfg.Contact, Version: cfg.Version, Key: cfg.Key, StampDate: cfg.StampDate,
		Timeout: cfg.Timeout, ConnectTimeout: cfg.ConnectTimeout, IPv4Only: cfg.IPv4Only,
	})
	return c, err
}

// Free reports whether the client asks a free host, whose terms allow no
// commercial use: worth a warning at start.
func (c *Client) Free() bool {
	for u, free := range map[*url.URL]string{c.forecast: FreeForecastURL, c.ensemble: FreeEnsembleURL, c.previous: FreePreviousURL} {
		if u.Scheme+"://"+u.Host == free {
			return true
		}
	}
	return false
}

// Fetch asks once for the runs of one endpoint for at most Batch(ep) cells and
// gives them in the order of cells, decoded, checked and quantised, with Digest
// set; the times of seeing are the caller's to set (forecast.Carry). The
// deterministic run begins 48 h before the hour of ask.Now, the ensemble at it.
// The source knows no conditional requests, so ask.Kept is not read. Every error
// is a *forecast.Failure. One bad cell fails the whole call: ask for halves to
// find it.
func (c *Client) Fetch(ctx context.Context, ask forecast.Ask) ([]forecast.Run, error) {
	if len(ask.Cells) == 0 {
		return nil, nil
	}
	now := ask.Now
	q, err := c.question(ask.Endpoint, ask.Cells, now)
	if err != nil {
		return nil, &forecast.Failure{Kind: forecast.Refused, Reason: err.Error()}
	}
	answer, f := c.http.Get(ctx, q.address, "", now)
	if f == nil {
		f = c.judge(answer, now)
	}
	if f != nil {
		return nil, f
	}
	runs, err := decode(answer.Body, q.ask)
	if err != nil {
		return nil, c.http.Fail(forecast.Broken, "%s sent no whole forecast: %v", answer.Host, err)
	}
	return runs, nil
}
