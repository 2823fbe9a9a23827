package nws

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"laycast/forecast/attempt"
)

// longestInterval bounds an interval: the grid itself has about eight days.
const longestInterval = 31 * 24 * time.Hour // elapsed: an ISO 8601 day of a grid in UTC

// duration is an ISO 8601 duration of weeks, days, hours, minutes and seconds.
// Years and months, which have no one length, do not occur.
var duration = regexp.MustCompile(`^P(?:(\d{1,4})W)?(?:(\d{1,4})D)?(?:T(?:(\d{1,5})H)?(?:(\d{1,6})M)?(?:(\d{1,7})S)?)?$`)

// parseInterval reads "2027-04-20T00:00:00+00:00/PT6H": a start and how long a
// value is valid from it on.
func parseInterval(s string) (from time.Time, length time.Duration, err error) {
	start, long, ok := strings.Cut(s, "/")
	if !ok {
		return from, 0, fmt.Errorf("%q is no interval of time", attempt.Plain(s))
	}
	if from, err = time.Parse(time.RFC3339, start); err != nil {
		return time.Time{}, 0, fmt.Errorf("%q begins at no time", attempt.Plain(s))
	}
	if length, err = parseDuration(long); err != nil {
		return time.Time{}, 0, fmt.Errorf("%q: %w", attempt.Plain(s), err)
	}
	return from.UTC(), length, nil
}

// parseDuration reads "P1DT6H".
func parseDuration(s string) (time.Duration, error) {
	parts := duration.FindStringSubmatch(s)
	if parts == nil || strings.HasSuffix(s, "T") || s == "P" {
		return 0, errors.New("it lasts no length of time")
	}
	var sum time.Duration
	for i, unit := range []time.Duration{7 * 24 * time.Hour, 24 * time.Hour, time.Hour, time.Minute, time.Second} { // elapsed: UTC
		n, _ := strconv.Atoi(parts[i+1]) // "" is none; the digits are few
		sum += time.Duration(n) * unit
	}
	if sum <= 0 || sum > longestInterval {
		return 0, fmt.Errorf("it lasts %s", sum)
	}
	return sum, nil
}
