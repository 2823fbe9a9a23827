package openmeteo

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/go-resty/resty/v2"

	"laycast/forecast"
)

// fail makes a Failure whose reason bears no key.
func (c *Client) fail(kind forecast.FailureKind, format string, args ...any) *forecast.Failure {
	reason := fmt.Sprintf(format, args...)
	if c.cfg.Key != "" {
		reason = strings.ReplaceAll(reason, c.cfg.Key, "(key)")
		reason = strings.ReplaceAll(reason, url.QueryEscape(c.cfg.Key), "(key)")
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
		return c.fail(forecast.Broken, "%s sent more than %d MB", host, bodyLimit>>20)
	case errors.As(err, &slow) && slow.Timeout():
		return c.fail(forecast.Transport, "%s did not answer in time", host)
	case answered && resp.StatusCode() == http.StatusOK && errors.Is(err, io.ErrUnexpectedEOF):
		return c.fail(forecast.Broken, "the answer of %s was cut short", host)
	case answered:
		return c.fail(forecast.Transport, "the answer of %s broke off: %v", host, err)
	default:
		return c.fail(forecast.Transport, "%s gave no answer: %v", host, err)
	}
}

// judge tells what is wrong with an answer before its body is decoded; nil when
// it says it is JSON with status 200.
func (c *Client) judge(host string, resp *resty.Response, now time.Time) *forecast.Failure {
	status, reason := resp.StatusCode(), reasonOf(resp)
	said := func(kind forecast.FailureKind) *forecast.Failure {
		return c.fail(kind, "%s answered %d: %s", host, status, reason)
	}
	switch {
	case status == http.StatusTooManyRequests:
		f := said(forecast.Quota)
		f.Until = until(reason, resp.Header().Get("Retry-After"), now)
		return f
	case status >= 500:
		return said(forecast.Server)
	case status == http.StatusRequestTimeout:
		return said(forecast.Transport)
	case status >= 400:
		return said(forecast.Refused)
	case status >= 300:
		return c.fail(forecast.Refused, "%s points elsewhere (%d, to %s), which is not followed: set the source's address to the right host", host, status, target(resp))
	case status != http.StatusOK:
		return said(forecast.Broken)
	case !strings.Contains(strings.ToLower(resp.Header().Get("Content-Type")), "json"):
		return c.fail(forecast.Broken, "%s sent %s instead of a forecast (a proxy or a login page?)", host, kindOf(resp))
	}
	return nil
}

// target names the host a redirect points to; never its query, which might
// bear a key.
func target(resp *resty.Response) string {
	u, err := resp.RawResponse.Location()
	if err != nil {
		return "nowhere"
	}
	return u.Scheme + "://" + u.Host
}

// kindOf names the type of a body.
func kindOf(resp *resty.Response) string {
	if s, _, _ := strings.Cut(resp.Header().Get("Content-Type"), ";"); s != "" {
		return plain(s)
	}
	return "a body of no type"
}

// reasonOf gives the words of an error body, or what it is instead.
func reasonOf(resp *resty.Response) string {
	var said struct {
		Reason string `json:"reason"`
	}
	if json.Unmarshal(resp.Body(), &said) == nil && said.Reason != "" {
		return plain(said.Reason)
	}
	return "no reason given (" + kindOf(resp) + ")"
}

// plain makes a stranger's words fit for a log line: one line, 200 characters.
func plain(s string) string {
	words := []rune(strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r <= ' ' || r == 0x7f }), " "))
	if len(words) > 200 {
		words = append(words[:200], '…')
	}
	return string(words)
}

// margin is waited past a quota's boundary, for clocks that differ.
const margin = 10 * time.Second

// until gives when to ask again after a 429. The source counts in fixed windows
// (FORECAST_API §1.7): minutes, hours and days of UTC; words that name none of
// them hold for the hour. A Retry-After in seconds can only lengthen it, to a
// day at most.
func until(reason, retryAfter string, now time.Time) time.Time {
	now = now.UTC()
	at := now.Truncate(time.Hour).Add(time.Hour + margin)
	switch words := strings.ToLower(reason); {
	case strings.Contains(words, "concurrent"):
		at = now.Add(time.Minute)
	case strings.Contains(words, "minut"):
		at = now.Truncate(time.Minute).Add(time.Minute + margin)
	case strings.Contains(words, "daily"), strings.Contains(words, "tomorrow"):
		at = now.Truncate(24 * time.Hour).Add(24*time.Hour + margin) // elapsed: the source counts days in UTC
	}
	if s, err := strconv.Atoi(strings.TrimSpace(retryAfter)); err == nil && s > 0 {
		if asked := now.Add(time.Duration(min(s, 86400)) * time.Second); asked.After(at) {
			return asked
		}
	}
	return at
}
