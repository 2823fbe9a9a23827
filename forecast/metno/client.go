// Package metno fetches forecasts from MET Norway's Locationforecast 2.0 and
// decodes them into forecast.Run. One call is one place and one HTTP attempt;
// what to do after a failure is told as data (forecast.Failure).
//
// The service's terms are strict and are kept here: who asks is named, what has
// not expired is not asked for, what has is asked for only if it was modified,
// coordinates have four decimals at most, and who is shut out stays away for a
// day (FORECAST_API §4).
package metno

import (
	"cmp"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/forecast/attempt"
)

// Source is the name that runs of this package bear.
const Source = "met-norway"

// Credit is the line to show wherever the weather is shown. The licence, for
// commercial use too, is CC BY 4.0 or NLOD 2.0 (FORECAST_API §0).
const (
	Credit     = "Based on data from MET Norway (https://api.met.no/), CC BY 4.0 (https://creativecommons.org/licenses/by/4.0/), processed."
	Licence    = "CC BY 4.0"
	LicenceURL = "https://creativecommons.org/licenses/by/4.0/"
)

// PublicURL is where the service's products are.
const PublicURL = "https://api.met.no/weatherapi/locationforecast/2.0"

// The products: Complete has dew point, gusts and chance of rain where the model
// has them; Compact has none of these.
const (
	Complete = "complete"
	Compact  = "compact"
)

// Config says where and how to ask. Zero values are defaults.
type Config struct {
	BaseURL   string // "" = PublicURL
	Product   string // Complete or Compact; "" = Complete
	Contact   string // mail address or page of the firm, told in User-Agent; required
	Version   string // of laycast, told in User-Agent
	StampDate bool   // send `now` as the Date header: a stand-in server's clock

	Timeout        time.Duration // of the whole attempt; 0 = 45 s
	ConnectTimeout time.Duration // 0 = 10 s
	IPv4Only       bool          // for hosts with a broken IPv6 route
}

// Client asks the service. It keeps no state between calls and is safe for
// concurrent use.
type Client struct {
	product *url.URL
	http    *attempt.Client
}

// New makes a client. It fails without a contact, which the service demands.
func New(cfg Config) (*Client, error) {
	if strings.TrimSpace(cfg.Contact) == "" {
		return nil, errors.New("MET Norway answers only those who say how to reach them: set the source's contact to a mail address or web page of the firm")
	}
	product := cmp.Or(cfg.Product, Complete)
	if product != Complete && product != Compact {
		return nil, fmt.Errorf("there is no product %q: choose %s or %s", product, Complete, Compact)
	}
	base, err := attempt.Base(cmp.Or(cfg.BaseURL, PublicURL))
	if err != nil {
		return nil, fmt.Errorf("forecast address: %w", err)
	}
	c := &Client{product: base.JoinPath(product)}
	c.http, err = attempt.New(attempt.Config{
		Contact: strings.TrimSpace(cfg.Contact), Version: cfg.Version, StampDate: cfg.StampDate,
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
// Modified and Expires set; the times of seeing are the caller's to set
// (forecast.Carry). Where the kept run has not expired, or the service answers
// that nothing was modified, it is the kept run again. Every error is a
// *forecast.Failure.
func (c *Client) Fetch(ctx context.Context, ask forecast.Ask) ([]forecast.Run, error) {
	if len(ask.Cells) == 0 {
		return nil, nil
	}
	if n := c.Batch(ask.Endpoint); n == 0 {
		return nil, c.http.Fail(forecast.Refused, "%s has no %s: it has the hourly forecast alone", Source, ask.Endpoint)
	} else if len(ask.Cells) > n {
		return nil, c.http.Fail(forecast.Refused, "%d places asked for at once, %s takes one a request", len(ask.Cells), Source)
	}
	cell := ask.Cells[0]
	kept := ask.Kept[cell]
	since := ""
	if kept != nil {
		if ask.Now.Before(kept.Expires) {
			return []forecast.Run{*kept}, nil
		}
		since = kept.Modified
	}
	answer, f := c.http.Get(ctx, c.address(cell), since, ask.Now)
	if f != nil {
		return nil, f
	}
	run, err := c.read(answer, cell, kept, ask.Now)
	if err != nil {
		return nil, err
	}
	return []forecast.Run{run}, nil
}

// address gives the question about a cell, to four decimals at most: the service
// answers 403 to more.
func (c *Client) address(cell forecast.Cell) *url.URL {
	degrees := func(x float64) string { return strconv.FormatFloat(math.Round(x*1e4)/1e4, 'f', -1, 64) }
	u := *c.product
	u.RawQuery = url.Values{"lat": {degrees(cell.Lat)}, "lon": {degrees(cell.Lon)}, "altitude": {strconv.Itoa(cell.Elev)}}.Encode()
	return &u
}

// deprecated is the note of an answer that the service calls so.
const deprecated = "MET Norway calls this form of its forecast deprecated (203): it will end, look for a newer laycast"

// read makes a run of an answer.
func (c *Client) read(a attempt.Answer, cell forecast.Cell, kept *forecast.Run, now time.Time) (forecast.Run, error) {
	if a.Status == http.StatusNotModified && kept != nil {
		run := *kept
		run.Expires = a.Expires(now)
		return run, nil
	}
	old := a.Status == http.StatusNonAuthoritativeInfo
	if old {
		a.Status = http.StatusOK
	}
	if f := c.judge(a, now); f != nil {
		return forecast.Run{}, f
	}
	run, err := decode(a.Body, cell, now)
	if err != nil {
		return forecast.Run{}, c.http.Fail(forecast.Broken, "%s sent no whole forecast: %v", a.Host, err)
	}
	run.Modified, run.Expires = a.Header.Get("Last-Modified"), a.Expires(now)
	if old { // conditions do not work on such an answer
		run.Modified = ""
		run.Notes = slices.Concat([]string{deprecated}, run.Notes)
	}
	return run, nil
}

// The pauses after a refusal. A day after 403: those who went on asking stayed
// blocked (FORECAST_API §7 row 19). An hour after 429: "limit traffic
// immediately" names no time; ours.
const (
	afterRefused = 24 * time.Hour // elapsed: no matter of calendars
	afterQuota   = time.Hour
)

// closedRequest is the status of a request that the service's proxy gave up on.
const closedRequest = 499

// judge tells what is wrong with an answer, and when to ask again where the
// service has shut us out.
func (c *Client) judge(a attempt.Answer, now time.Time) *forecast.Failure {
	f := c.http.Judge(a, words(a))
	switch {
	case f == nil:
	case a.Status == closedRequest:
		f.Kind = forecast.Transport
	case a.Status == http.StatusForbidden:
		f.Until = now.Add(afterRefused)
		f.Reason += "; asked no more for a day, as the service demands: see that the contact is right"
	case a.Status == http.StatusTooManyRequests:
		f.Until = a.RetryAfter(now, now.Add(afterQuota))
	case a.Status == http.StatusUnprocessableEntity:
		f.Reason += " (the place lies outside the area of the service)"
	}
	return f
}

// words gives what an error page says, "" for a page of none; the service's
// errors are HTML or plain text.
func words(a attempt.Answer) string {
	if len(a.Body) > 4096 || !strings.HasPrefix(strings.ToLower(a.Header.Get("Content-Type")), "text/") {
		return ""
	}
	d := xml.NewDecoder(strings.NewReader(string(a.Body)))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var text strings.Builder
	for {
		t, err := d.Token()
		if err != nil {
			return text.String() // at the end, or as far as the page makes sense
		}
		if s, ok := t.(xml.CharData); ok {
			text.Write(s)
			text.WriteByte(' ')
		}
	}
}
