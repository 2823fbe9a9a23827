package attempt

import (
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"laycast/forecast"
)

// Judge tells what is wrong with an answer before its body is decoded; nil when
// it says it is JSON with status 200. reason is what the body gives as the
// reason, "" where it gives none. A quota's Until is the caller's to set.
func (c *Client) Judge(a Answer, reason string) *forecast.Failure {
	if reason = Plain(reason); reason == "" {
		reason = "no reason given (" + a.kind() + ")"
	}
	said := func(kind forecast.FailureKind) *forecast.Failure {
		return c.Fail(kind, "%s answered %d: %s", a.Host, a.Status, reason)
	}
	switch {
	case a.Status == http.StatusTooManyRequests:
		return said(forecast.Quota)
	case a.Status >= 500:
		return said(forecast.Server)
	case a.Status == http.StatusRequestTimeout:
		return said(forecast.Transport)
	case a.Status >= 400:
		f := said(forecast.Refused)
		// a bad request, not found, outside the source's area: by the place or by
		// the request itself, which asking for the places by themselves tells
		f.Place = a.Status == http.StatusBadRequest || a.Status == http.StatusNotFound || a.Status == http.StatusUnprocessableEntity
		return f
	case a.Status == http.StatusNotModified:
		return c.Fail(forecast.Broken, "%s says that nothing was modified, which it was not asked (a proxy?)", a.Host)
	case a.Status >= 300:
		return c.Fail(forecast.Refused, "%s points elsewhere (%d, to %s), which is not followed: set the source's address to the right host", a.Host, a.Status, a.target())
	case a.Status != http.StatusOK:
		return said(forecast.Broken)
	case !strings.Contains(strings.ToLower(a.Header.Get("Content-Type")), "json"):
		return c.Fail(forecast.Broken, "%s sent %s instead of a forecast (a proxy or a login page?)", a.Host, a.kind())
	}
	return nil
}

// target names the host a redirect points to; never its query, which might
// bear a key.
func (a Answer) target() string {
	u, err := url.Parse(a.Header.Get("Location"))
	switch {
	case err != nil || u.String() == "":
		return "nowhere"
	case u.Host == "":
		return "another page of " + a.Host
	}
	return u.Scheme + "://" + u.Host
}

// kind names the type of the body.
func (a Answer) kind() string {
	if s, _, _ := strings.Cut(a.Header.Get("Content-Type"), ";"); s != "" {
		return Plain(s)
	}
	return "a body of no type"
}

// Plain makes a stranger's words fit for a log line: one line, 200 characters.
func Plain(s string) string {
	words := []rune(strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r <= ' ' || r == 0x7f }), " "))
	if len(words) > 200 {
		words = append(words[:200], '…')
	}
	return string(words)
}

// RetryAfter gives when the answer's Retry-After header, in seconds, lets us ask
// again, but not before at and not more than a day from now.
func (a Answer) RetryAfter(now, at time.Time) time.Time {
	s, err := strconv.Atoi(strings.TrimSpace(a.Header.Get("Retry-After")))
	if err != nil || s <= 0 {
		return at
	}
	if asked := now.Add(time.Duration(min(s, longest)) * time.Second); asked.After(at) {
		return asked
	}
	return at
}

// longest is the longest pause, in seconds, that a header may ask for: a day. A
// source with a clock or a figure gone wrong must not be lost for ever.
const longest = 24 * 60 * 60

// Expires gives the time before which the source asks not to be asked again:
// Cache-Control's max-age, else Expires; zero where it names none that is still
// to come. It is a day from now at most.
func (a Answer) Expires(now time.Time) time.Time {
	var at time.Time
	if t, err := http.ParseTime(a.Header.Get("Expires")); err == nil {
		at = t
	}
	for _, part := range strings.Split(a.Header.Get("Cache-Control"), ",") {
		name, value, _ := strings.Cut(strings.TrimSpace(part), "=")
		if s, err := strconv.Atoi(strings.Trim(value, `"`)); err == nil && strings.EqualFold(name, "max-age") && s >= 0 {
			at = now.Add(time.Duration(min(s, longest)) * time.Second)
		}
	}
	if most := now.Add(longest * time.Second); at.After(most) {
		at = most
	}
	if !at.After(now) {
		return time.Time{}
	}
	return at.UTC()
}
