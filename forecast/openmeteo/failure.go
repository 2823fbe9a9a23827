package openmeteo

import (
	"encoding/json"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/forecast/attempt"
)

// judge tells what is wrong with an answer before its body is decoded, and for
// a quota when to ask again.
func (c *Client) judge(a attempt.Answer, now time.Time) *forecast.Failure {
	reason := reasonOf(a.Body)
	f := c.http.Judge(a, reason)
	switch {
	case f == nil:
	case f.Kind == forecast.Quota:
		f.Until = a.RetryAfter(now, until(reason, now))
	case !f.Place:
	case strings.Contains(reason, "API key"):
		f.Place = false
	case strings.Contains(reason, "invalid String value"): // a model or a measure that was renamed
		f.Place = false
		f.Reason += " (a name that the source does not know: set the source's model to one that it has)"
	}
	return f
}

// reasonOf gives the words of an error body, "" where it has none.
func reasonOf(body []byte) string {
	var said struct {
		Reason string `json:"reason"`
	}
	if json.Unmarshal(body, &said) != nil {
		return ""
	}
	return said.Reason
}

// margin is waited past a quota's boundary, for clocks that differ.
const margin = 10 * time.Second

// until gives when to ask again after a 429. The source counts in fixed windows
// (FORECAST_API §1.7): minutes, hours and days of UTC; words that name none of
// them hold for the hour.
func until(reason string, now time.Time) time.Time {
	now = now.UTC()
	switch words := strings.ToLower(reason); {
	case strings.Contains(words, "concurrent"):
		return now.Add(time.Minute)
	case strings.Contains(words, "minut"):
		return now.Truncate(time.Minute).Add(time.Minute + margin)
	case strings.Contains(words, "daily"), strings.Contains(words, "tomorrow"):
		return now.Truncate(24 * time.Hour).Add(24*time.Hour + margin) // elapsed: the source counts days in UTC
	}
	return now.Truncate(time.Hour).Add(time.Hour + margin)
}
