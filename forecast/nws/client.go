// Package nws fetches forecasts from the US National Weather Service
// (api.weather.gov) and decodes its raw grid into forecast.Run: the grid point
// of a place is asked for once in a week, the grid itself at each call. One
// request is one HTTP attempt; what to do after a failure is told as data
// (forecast.Failure). FORECAST_API §5.
package nws

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"laycast/forecast"
	"laycast/forecast/attempt"
)

// Source is the name that runs of this package bear.
const Source = "us-nws"

// Credit is the line to show wherever the weather is shown. The service calls
// its data open and free to use for any purpose (seen quoted only, FORECAST_API
// §0); a credit is asked by nobody and owed all the same.
const (
	Credit     = "Weather data by the US National Weather Service (https://www.weather.gov/), open data, processed."
	Licence    = "open data"
	LicenceURL = "https://www.weather.gov/disclaimer"
)

// PublicURL is the public service.
const PublicURL = "https://api.weather.gov"

// Config says where and how to ask. Zero values are defaults.
type Config struct {
	BaseURL   string // "" = PublicURL
	Contact   string // mail address or page of the firm, told in User-Agent; required
	Version   string // of laycast, told in User-Agent
	StampDate bool   // send `now` as the Date header: a stand-in server's clock

	Timeout        time.Duration // of each request; 0 = 45 s
	ConnectTimeout time.Duration // 0 = 10 s
	IPv4Only       bool          // for hosts with a broken IPv6 route
}

// Client asks the service. It remembers the grid points of places and nothing
// else, and is safe for concurrent use.
type Client struct {
	base *url.URL
	http *attempt.Client

	mu    sync.Mutex
	grids map[forecast.Cell]grid
}

// grid is a grid point and when it was told.
type grid struct {
	office string
	x, y   int
	told   time.Time
}

// gridFor is how long a grid point is taken as told: they move when an office
// redraws its grid, which a 404 shows.
const gridFor = 7 * 24 * time.Hour // elapsed: no matter of calendars

// New makes a client. It fails without a contact, which the service demands.
func New(cfg Config) (*Client, error) {
	if strings.TrimSpace(cfg.Contact) == "" {
		return nil, errors.New("the US weather service answers only those who say how to reach them: set the source's contact to a mail address or web page of the firm")
	}
	base, err := attempt.Base(cmp.Or(cfg.BaseURL, PublicURL))
	if err != nil {
		return nil, fmt.Errorf("forecast address: %w", err)
	}
	c := &Client{base: base, grids: map[forecast.Cell]grid{}}
	c.http, err = attempt.New(attempt.Config{
		Accept: "application/geo+json", Contact: strings.TrimSpace(cfg.Contact), Version: cfg.Version, StampDate: cfg.StampDate,
		Timeout: cfg.Timeout, ConnectTimeout: cfg.ConnectTimeout, IPv4Only: cfg.IPv4Only,
	})
	return c, err
}

// Batch gives how many cells one call may ask for: 1 deterministic run; there is
// no other endpoint.
func (c *Client) Batch(ep forecast.Endpoint) int {
	if ep == forecast.Deterministic {
		return 1
	}
	return 0
}

// Fetch asks for the run of one cell, checked and quantised, with Digest,
// ModelRun (when the office last updated its grid), Modified and Expires set; the
// times of seeing are the caller's to set (forecast.Carry). Where the kept run
// has not expired, or the service answers that nothing was modified, it is the
// kept run again. It makes one request, two where the grid point is not known,
// three where that has moved. Every error is a *forecast.Failure.
func (c *Client) Fetch(ctx context.Context, ask forecast.Ask) ([]forecast.Run, error) {
	if len(ask.Cells) == 0 {
		return nil, nil
	}
	if n := c.Batch(ask.Endpoint); n == 0 {
		return nil, c.http.Fail(forecast.Refused, "%s has no %s: it has the hourly forecast alone", Source, ask.Endpoint)
	} else if len(ask.Cells) > n {
		return nil, c.http.Fail(forecast.Refused, "%d places asked for at once, %s takes one a request", len(ask.Cells), Source)
	}
	cell, since := ask.Cells[0], ""
	kept := ask.Kept[cell]
	if kept != nil {
		if ask.Now.Before(kept.Expires) {
			return []forecast.Run{*kept}, nil
		}
		since = kept.Modified
	}
	answer, f := c.gridpoint(ctx, cell, since, ask.Now)
	if f != nil {
		return nil, f
	}
	run, f := c.read(answer, cell, kept, ask.Now)
	if f != nil {
		return nil, f
	}
	return []forecast.Run{run}, nil
}

// gridpoint asks for the grid of a cell. A point that is remembered and not
// there any more is asked for anew, once.
func (c *Client) gridpoint(ctx context.Context, cell forecast.Cell, since string, now time.Time) (attempt.Answer, *forecast.Failure) {
	g, remembered := c.remembered(cell, now)
	for {
		if !remembered {
			var f *forecast.Failure
			if g, f = c.resolve(ctx, cell, now); f != nil {
				return attempt.Answer{}, f
			}
			c.remember(cell, g)
		}
		u := c.base.JoinPath("gridpoints", g.office, strconv.Itoa(g.x)+","+strconv.Itoa(g.y))
		a, f := c.http.Get(ctx, u, since, now)
		if f != nil || a.Status != http.StatusNotFound {
			return a, f
		}
		c.forget(cell)
		if !remembered {
			return a, nil
		}
		remembered = false
	}
}

func (c *Client) remembered(cell forecast.Cell, now time.Time) (grid, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	g, ok := c.grids[cell]
	return g, ok && now.Sub(g.told) < gridFor
}

func (c *Client) remember(cell forecast.Cell, g grid) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.grids[cell] = g
}

func (c *Client) forget(cell forecast.Cell) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.grids, cell)
}

// resolve asks for the grid point of a cell, to four decimals at most.
func (c *Client) resolve(ctx context.Context, cell forecast.Cell, now time.Time) (grid, *forecast.Failure) {
	degrees := func(x float64) string { return strconv.FormatFloat(math.Round(x*1e4)/1e4, 'f', -1, 64) }
	a, f := c.http.Get(ctx, c.base.JoinPath("points", degrees(cell.Lat)+","+degrees(cell.Lon)), "", now)
	if f != nil {
		return grid{}, f
	}
	if f := c.judge(a, now); f != nil {
		if a.Status == http.StatusNotFound {
			f.Reason += " (the service covers the United States alone)"
		}
		return grid{}, f
	}
	g, err := decodePoint(a.Body)
	if err != nil {
		return grid{}, c.http.Fail(forecast.Broken, "%s sent no grid point: %v", a.Host, err)
	}
	g.told = now
	return g, nil
}

// stale is the age from which a grid is not taken: offices update theirs several
// times a day, and old copies have been served for hours (FORECAST_API §5).
const stale = 12 * time.Hour

// read makes a run of an answer.
func (c *Client) read(a attempt.Answer, cell forecast.Cell, kept *forecast.Run, now time.Time) (forecast.Run, *forecast.Failure) {
	var run forecast.Run
	if a.Status == http.StatusNotModified && kept != nil {
		run = *kept
	} else {
		if f := c.judge(a, now); f != nil {
			return run, f
		}
		var err error
		if run, err = decode(a.Body, cell, now); err != nil {
			return run, c.http.Fail(forecast.Broken, "%s sent no whole forecast: %v", a.Host, err)
		}
		run.Modified = a.Header.Get("Last-Modified")
	}
	if now.Sub(run.ModelRun) > stale {
		return forecast.Run{}, c.http.Fail(forecast.Broken, "%s sent a stale forecast: its grid was last updated %s, more than %.0f h ago", a.Host, run.ModelRun.UTC().Format(time.RFC3339), stale.Hours())
	}
	run.Expires = a.Expires(now)
	return run, nil
}

// afterQuota is how long to wait after a 429 that names no time: the rate limit
// is not published; a retry after some five seconds is told second-hand, and
// patience costs nothing.
const afterQuota = time.Minute

// judge tells what is wrong with an answer before its body is decoded.
func (c *Client) judge(a attempt.Answer, now time.Time) *forecast.Failure {
	f := c.http.Judge(a, problem(a))
	if f != nil && f.Kind == forecast.Quota {
		f.Until = a.RetryAfter(now, now.Add(afterQuota))
	}
	return f
}

// problem gives what an error body says (RFC 7807). The detail of a refusal is
// left out: it repeats the place.
func problem(a attempt.Answer) string {
	var p struct{ Title, Detail string }
	if json.Unmarshal(a.Body, &p) != nil {
		return ""
	}
	if a.Status >= http.StatusInternalServerError && p.Detail != "" {
		return strings.TrimPrefix(p.Title+": "+p.Detail, ": ")
	}
	return p.Title
}
