// Package openmeteo fetches forecasts from the open ensemble and forecast API
// (api.open-meteo.com, its paid hosts, or a server of one's own) and decodes
// them into forecast.Run: shifted into hour slots, checked, mended where a
// mend is honest, quantised. One call is one HTTP attempt; what to do after a
// failure is told as data (forecast.Failure) and decided by the caller.
package openmeteo

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-resty/resty/v2"

	"laycast/forecast"
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
)

// DefaultModel is the ensemble asked for when none is configured: hourly steps,
// 18 members, 8 days.
const DefaultModel = "ukmo_global_ensemble_20km"

// The bounds of one attempt. The answer to ten places of a 51-member ensemble
// is about 6 MB.
const (
	defaultTimeout = 45 * time.Second
	defaultConnect = 10 * time.Second
	bodyLimit      = 32 << 20
)

// Config says where and how to ask. Zero values are defaults.
type Config struct {
	ForecastURL string // scheme and host, with a path prefix if need be; "" = the free host
	EnsembleURL string
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
	cfg                Config
	forecast, ensemble *url.URL
	http               *resty.Client
}

// New makes a client. It fails on an address that is not plain http(s), or that
// holds a password or a query: a key belongs in Key.
func New(cfg Config) (*Client, error) {
	orDefault(&cfg.ForecastURL, FreeForecastURL)
	orDefault(&cfg.EnsembleURL, FreeEnsembleURL)
	orDefault(&cfg.Model, DefaultModel)
	orDefault(&cfg.Version, "dev")
	orDefault(&cfg.Timeout, defaultTimeout)
	orDefault(&cfg.ConnectTimeout, defaultConnect)
	c := &Client{cfg: cfg}
	var err error
	if c.forecast, err = base(cfg.ForecastURL); err != nil {
		return nil, fmt.Errorf("forecast address: %w", err)
	}
	if c.ensemble, err = base(cfg.EnsembleURL); err != nil {
		return nil, fmt.Errorf("ensemble address: %w", err)
	}
	for name, s := range map[string]string{"key": cfg.Key, "contact": cfg.Contact, "version": cfg.Version} {
		if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r > '~' }) {
			return nil, fmt.Errorf("the source's %s holds a character that no header can carry: write it in plain ASCII on one line", name)
		}
	}
	c.http = newHTTP(cfg)
	return c, nil
}

// orDefault sets *p to def where it is the zero value.
func orDefault[T comparable](p *T, def T) {
	var zero T
	if *p == zero {
		*p = def
	}
}

// base reads a base address.
func base(s string) (*url.URL, error) {
	u, err := url.Parse(strings.TrimRight(s, "/"))
	switch {
	case err != nil: // the parser's error would repeat the address, and a key in it
		return nil, errors.New("this is no web address: give it as https://host")
	case u.Scheme != "https" && u.Scheme != "http" || u.Host == "":
		return nil, fmt.Errorf("%q is no web address: give it as https://host", u.Redacted())
	case u.User != nil || u.RawQuery != "" || u.Fragment != "":
		return nil, fmt.Errorf("the address of %s holds more than host and path: put the key into the key setting", u.Host)
	}
	return u, nil
}

// newHTTP sets up one attempt a call: no retry, no redirect, and no kept
// connection, on which Go itself would ask a second time.
func newHTTP(cfg Config) *resty.Client {
	dialer := &net.Dialer{Timeout: cfg.ConnectTimeout}
	dial := dialer.DialContext
	if cfg.IPv4Only {
		dial = func(ctx context.Context, _, addr string) (net.Conn, error) {
			return dialer.DialContext(ctx, "tcp4", addr)
		}
	}
	agent := "laycast/" + cfg.Version
	if cfg.Contact != "" {
		agent += " (+" + cfg.Contact + ")"
	}
	r := resty.New().
		SetTransport(&http.Transport{
			Proxy:               http.ProxyFromEnvironment,
			DialContext:         dial,
			TLSHandshakeTimeout: cfg.ConnectTimeout,
			DisableKeepAlives:   true,
		}).
		SetTimeout(cfg.Timeout).
		SetResponseBodyLimit(bodyLimit).
		SetRedirectPolicy(resty.RedirectPolicyFunc(func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse })).
		SetLogger(silent{}).
		SetHeader("User-Agent", agent).
		SetHeader("Accept", "application/json")
	if cfg.Key != "" {
		r.SetHeader("X-Api-Key", cfg.Key)
	}
	return r
}

// silent takes the library's log lines, which bear whole addresses (with the
// sites' coordinates, and keys where there are any), and drops them: all that
// is worth telling is in the Failure.
type silent struct{}

func (silent) Errorf(string, ...any) {}
func (silent) Warnf(string, ...any)  {}
func (silent) Debugf(string, ...any) {}

// Free reports whether the client asks a free host, whose terms allow no
// commercial use: worth a warning at start.
func (c *Client) Free() bool {
	return c.forecast.Scheme+"://"+c.forecast.Host == FreeForecastURL || c.ensemble.Scheme+"://"+c.ensemble.Host == FreeEnsembleURL
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
	req := c.http.R().SetContext(ctx)
	if c.cfg.StampDate {
		req.SetHeader("Date", now.UTC().Format(http.TimeFormat))
	}
	host := q.address.Host
	resp, err := req.Get(q.address.String())
	if err != nil {
		return nil, c.broke(host, resp, err)
	}
	if f := c.judge(host, resp, now); f != nil {
		return nil, f
	}
	runs, err := decode(resp.Body(), q.ask)
	if err != nil {
		return nil, c.fail(forecast.Broken, "%s sent no whole forecast: %v", host, err)
	}
	return runs, nil
}
