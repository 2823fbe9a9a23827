package scheduler

import (
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

// hoursOf gives a run of so many members of which `whole` know every hour; the
// others know nothing from hour `ends` on.
func hoursOf(ep forecast.Endpoint, start time.Time, members, whole, ends int) forecast.Run {
	h := forecast.NewHours(start, 240, members, forecast.Air, forecast.Rain)
	for m := range members {
		for i := range h.N {
			if m < whole || i < ends {
				h.Cols[forecast.Air][m*h.N+i], h.Cols[forecast.Rain][m*h.N+i] = 12, 0
			}
		}
	}
	return forecast.Run{Source: "test", Endpoint: ep, Hours: h}
}

// A forecast that does not reach past tomorrow is not taken in place of one
// that does; the others of its batch are.
func TestForecastMustReachPastTomorrow(t *testing.T) {
	now := at(t, "2027-06-10T16:15:00Z")
	hour := now.Truncate(time.Hour)
	for _, tt := range []struct {
		name string
		run  forecast.Run
		good bool
	}{
		{"whole hourly run, two days of past", hoursOf(forecast.Deterministic, hour.Add(-48*time.Hour), 1, 1, 0), true},
		{"hourly run that ends at midnight", hoursOf(forecast.Deterministic, hour.Add(-48*time.Hour), 1, 0, 48+8), false},
		{"hourly run that ends just late enough", hoursOf(forecast.Deterministic, hour.Add(-48*time.Hour), 1, 0, 48+36), true},
		{"hourly run that ends an hour sooner", hoursOf(forecast.Deterministic, hour.Add(-48*time.Hour), 1, 0, 48+35), false},
		{"hourly run that is all past", hoursOf(forecast.Deterministic, hour.Add(-300*time.Hour), 1, 1, 0), false},
		{"whole ensemble", hoursOf(forecast.Ensemble, hour, 19, 19, 0), true},
		{"ten whole members of nineteen", hoursOf(forecast.Ensemble, hour, 19, 10, 5), true},
		{"nine whole members of nineteen", hoursOf(forecast.Ensemble, hour, 19, 9, 5), false},
		{"three members, all whole", hoursOf(forecast.Ensemble, hour, 3, 3, 0), true},
		{"nulls alone", hoursOf(forecast.Ensemble, hour, 19, 0, 0), false},
	} {
		good, short := reaching([]forecast.Run{hoursOf(tt.run.Endpoint, hour, 1, 1, 0), tt.run}, now)
		if want := 1; tt.good {
			if want = 2; len(good) != want || short != nil {
				t.Errorf("%s: %d taken, %v", tt.name, len(good), short)
			}
		} else if len(good) != want || short == nil || !strings.Contains(short.Error(), "next 36 hours") {
			t.Errorf("%s: %d taken, %v", tt.name, len(good), short)
		}
	}
}
