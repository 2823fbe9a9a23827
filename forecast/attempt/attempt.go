// Package attempt asks a weather source once over HTTP and tells what went
// wrong as data (forecast.Failure). It never tries again, follows no redirect
// and keeps no connection: what to do after a failure is decided by whoever
// keeps the clock.
package attempt

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-resty/resty/v2"

	"laycast/forecast"
)

// The bounds of one attempt. The answer to ten places of a 51-member ensemble
// is about 6 MB.
const (
	DefaultTimeout = 45 * time.Second
	DefaultConnect = 10 * time.Second
	BodyLimit      = 32 << 20
)

// Config says how to ask. Zero values are defaults.
type Config struct {
	Contact   string // mail address or page of the firm, told in User-Agent
	Version   string // of laycast, told in User-Agent; "" = "dev"
	Accept    string // media type; "" = application/json
	Key       string // sent in the X-Api-Key header, taken out of every reason
	StampDate bool   // send `now` as the Date header: the stand-in server's clock

	Timeout        time.Duration // of the whole attempt; 0 = 45 s
	ConnectTimeout time.Duration // 0 = 10 s
	IPv4Only       bool          // for hosts with a broken IPv6 route
}

// Client asks. It keeps no state between calls and is safe for concurrent use.
type Client struct {
	key  string
	date bool
	http *resty.Client
}

// New makes a client. It fails on words that no header can carry.
func New(cfg Config) (*Client, error) {
	for name, s := range map[string]string{"key": cfg.Key, "contact": cfg.Contact, "version": cfg.Version} {
		if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r > '~' }) {
			return nil, fmt.Errorf("the source's %s holds a character that no header can carry: write it in plain ASCII on one line", name)
		}
	}
	return &Client{key: cfg.Key, date: cfg.StampDate, http: newHTTP(cfg)}, nil
}

// newHTTP sets up one attempt a call: no retry, no redirect, and no kept
// connection, on which Go itself would ask a second time.
func newHTTP(cfg Config) *resty.Client {
	connect := orDefault(cfg.ConnectTimeout, DefaultConnect)
	dialer := &net.Dialer{Timeout: connect}
	dial := dialer.DialContext
	if cfg.IPv4Only {
		dial = func(ctx context.Context, _, addr string) (net.Conn, error) {
			return dialer.DialContext(ctx, "tcp4", addr)
		}
	}
	agent := "laycast/" + orDefault(cfg.Version, "dev")
	if cfg.Contact != "" {
		agent += " (+" + cfg.Contact + ")"
	}
	r := resty.New().
		SetTransport(&http.Transport{
			Proxy:               http.ProxyFromEnvironment,
			DialContext:         dial,
			TLSHandshakeTimeout: connect,
			DisableKeepAlives:   true,
		}).
		SetTimeout(orDefault(cfg.Timeout, DefaultTimeout)).
		SetResponseBodyLimit(BodyLimit).
		SetRedirectPolicy(resty.RedirectPolicyFunc(func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse })).
		SetLogger(silent{}).
		SetHeader("User-Agent", agent).
		SetHeader("Accept", orDefault(cfg.Accept, "application/json"))
	if cfg.Key != "" {
		r.SetHeader("X-Api-Key", cfg.Key)
	}
	return r
}

// orDefault gives x, or def where x is the zero value.
func orDefault[T comparable](x, def T) T {
	var zero T
	if x == zero {
		return def
	}
	return x
}

// silent takes the library's log lines, which bear whole addresses (with the
// sites' coordinates, and keys where there are any), and drops them: all that
// is worth telling is in the Failure.
type silent struct{}

func (silent) Errorf(string, ...any) {}
func (silent) Warnf(string, ...any)  {}
func (silent) Debugf(string, ...any) {}

// Base reads the address of a source: scheme and host, with a path prefix if
// need be. A password or a query in it is refused: a key belongs in Key.
func Base(s string) (*url.URL, error) {
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

// Answer is what a source answered, whatever its status.
type Answer struct {
	Host   string
	Status int
	Header http.Header
	Body   []byte
}

// Get asks once, at the time now. since is what If-Modified-Since is to say, ""
// for a request without conditions. A failure is one of the way there or back;
// whether the answer is any good is Judge's to say.
func (c *Client) Get(ctx context.Context, u *url.URL, since string, now time.Time) (Answer, *forecast.Failure) {
	req := c.http.R().SetContext(ctx)
	if c.date {
		req.SetHeader("Date", now.UTC().Format(http.TimeFormat))
	}
	if since != "" {
		req.SetHeader("If-Modified-Since", since)
	}
	resp, err := req.Get(u.String())
	if err != nil {
		return Answer{}, c.broke(u.Host, resp, err)
	}
	return Answer{Host: u.Host, Status: resp.StatusCode(), Header: resp.Header(), Body: resp.Body()}, nil
}

// Fail makes a Failure whose reason bears no key.
func (c *Client) Fail(kind forecast.FailureKind, format string, args ...any) *forecast.Failure {
	reason := fmt.Sprintf(format, args...)
	if c.key != "" {
		reason = strings.ReplaceAll(reason, c.key, "(key)")
		reason = strings.ReplaceAll(reason, url.QueryEscape(c.key), "(key)")
	}
	return &forecast.Failure{Kind: kind, Reason: reason}
}

// broke tells of an attempt that gave no whole answer. The library's error
// repeats the address, so only what lies under it is told.
func (c *Client) broke(host string, resp *resty.Response, err error) *forecast.Failure {
	var address *url.Error
	if errors.As(err, &address) {
		err = address.Err
	}
	answered := resp != nil && resp.RawResponse != nil
	var slow net.Error
	switch {
	case errors.Is(err, resty.ErrResponseBodyTooLarge):
		return c.Fail(forecast.Broken, "%s sent more than %d MB", host, BodyLimit>>20)
	case errors.As(err, &slow) && slow.Timeout():
		return c.Fail(forecast.Transport, "%s did not answer in time", host)
	case answered && resp.StatusCode() == http.StatusOK && errors.Is(err, io.ErrUnexpectedEOF):
		return c.Fail(forecast.Broken, "the answer of %s was cut short", host)
	case answered:
		return c.Fail(forecast.Transport, "the answer of %s broke off: %v", host, err)
	default:
		return c.Fail(forecast.Transport, "%s gave no answer: %v", host, err)
	}
}
