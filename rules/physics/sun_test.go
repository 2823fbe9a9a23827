package physics_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"laycast/rules/physics"

	"pgregory.net/rapid"
)

// Values of the NREL solar position calculator as quoted in the pvlib tests
// (S+R, tolerance 0.1 min), and almanac minutes for London (S+R, cut to the
// minute, so 1 min).
func TestSunPublishedValues(t *testing.T) {
	for _, c := range []struct {
		event    physics.Event
		lat, lon float64
		want     string
		tol      time.Duration
	}{
		{physics.Sunrise, -35, 0, "1996-07-05T07:08:15Z", 6 * time.Second},
		{physics.Sunset, -35, 0, "1996-07-05T17:01:04Z", 6 * time.Second},
		{physics.Sunrise, 35, 0, "1994-01-02T07:08:12Z", 6 * time.Second},
		{physics.Sunset, 35, 0, "1994-01-02T16:59:55Z", 6 * time.Second},
		{physics.CivilDawn, 51.5, -0.1333333, "2015-12-25T07:25:00Z", time.Minute},
		{physics.CivilDusk, 51.5, -0.1333333, "2015-12-25T16:36:00Z", time.Minute},
	} {
		want, err := time.Parse(time.RFC3339, c.want)
		if err != nil {
			t.Fatal(err)
		}
		y, m, d := want.Date()
		got, ok := physics.SunEvent(c.event, c.lat, c.lon, y, m, d, time.UTC)
		if !ok || got.Sub(want).Abs() > c.tol {
			t.Errorf("event %d at lat %v = %v (%v), want %v", c.event, c.lat, got, ok, want)
		}
	}
}

func TestSunFile(t *testing.T) {
	events := map[string]physics.Event{
		"sunrise": physics.Sunrise, "sunset": physics.Sunset,
		"civil_dawn": physics.CivilDawn, "civil_dusk": physics.CivilDusk,
	}
	rows := readChecks(t, "sun.csv")
	atLeast(t, len(rows), 48)
	for _, r := range rows {
		zone := time.FixedZone("", int(r.num(t, "utc_offset_h")*3600))
		layout, clock := "2006-01-02 15:04:05", r["local_time_published"]
		if strings.Count(clock, ":") == 1 {
			clock += ":00"
		}
		want, err := time.ParseInLocation(layout, r["date"]+" "+clock, zone)
		if err != nil {
			t.Fatal(err)
		}
		tol := time.Minute
		if strings.Contains(r["use"], "0.1 min") {
			tol = 6 * time.Second
		}
		event, known := events[r["event"]]
		y, m, d := want.Date()
		got, ok := physics.SunEvent(event, r.num(t, "lat"), r.num(t, "lon"), y, m, d, zone)
		if !known || !ok || got.Sub(want).Abs() > tol {
			t.Errorf("%s %s %s = %v (%v), want %v ± %v", r["event"], r["place"], r["date"], got.In(zone), ok, want, tol)
		}
	}
}

// Golden, Colorado: the source lists this sunset under 2 August UTC; it is the
// evening of 1 August there (S+R). The civil day is the site's, not UTC's.
func TestSunsetBelongsToLocalDay(t *testing.T) {
	mst := time.FixedZone("MST", -7*3600)
	got, ok := physics.SunEvent(physics.Sunset, 39.742476, -105.1786, 2015, time.August, 1, mst)
	want := time.Date(2015, time.August, 2, 2, 13, 58, 0, time.UTC)
	if !ok || got.Sub(want).Abs() > 6*time.Second || got.Location() != time.UTC {
		t.Errorf("sunset = %v (%v), want %v in UTC", got, ok, want)
	}
}

// Tromsø on 5 June: the sun does not set (S+R). In December it does not rise
// but there is civil twilight (from memory).
func TestSunThatDoesNotCross(t *testing.T) {
	const lat, lon = 69.65, 18.96
	for _, e := range []physics.Event{physics.CivilDawn, physics.Sunrise, physics.Sunset, physics.CivilDusk} {
		if at, ok := physics.SunEvent(e, lat, lon, 2019, time.June, 5, nil); ok {
			t.Errorf("event %d happens at %v under the midnight sun", e, at)
		}
	}
	if !physics.Daylight(lat, lon, time.Date(2019, time.June, 5, 0, 0, 0, 0, time.UTC)) {
		t.Error("midnight under the midnight sun is dark")
	}
	if at, ok := physics.SunEvent(physics.Sunrise, lat, lon, 2019, time.December, 15, nil); ok {
		t.Errorf("the sun rises at %v in the polar night", at)
	}
	if _, _, ok := physics.CivilDay(lat, lon, 2019, time.December, 15, nil); !ok {
		t.Error("no civil twilight at noon in Tromsø in December")
	}
	for _, lat := range []float64{math.NaN(), 91, math.Inf(1)} {
		if _, ok := physics.SunEvent(physics.Sunrise, lat, 0, 2019, time.June, 5, nil); ok {
			t.Errorf("the sun rises at latitude %v", lat)
		}
		if lat != 91 && physics.Daylight(lat, 0, time.Date(2019, 6, 5, 12, 0, 0, 0, time.UTC)) {
			t.Errorf("it is light at latitude %v", lat)
		}
	}
}

// At every event the sun stands at that event's height, dawn comes before dusk,
// and each lies within 25 h of civil noon (12 for a zone that does not fit its
// longitude, 13 for the longest half day).
func TestSunProperties(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		lat := rapid.Float64Range(-66, 66).Draw(r, "lat")
		lon := rapid.Float64Range(-180, 180).Draw(r, "lon")
		day := rapid.IntRange(0, 20000).Draw(r, "day")
		zone := time.FixedZone("", rapid.IntRange(-12, 14).Draw(r, "zone")*3600)
		y, m, d := time.Date(1990, 1, 1+day, 0, 0, 0, 0, time.UTC).Date()
		noon := time.Date(y, m, d, 12, 0, 0, 0, zone)
		height := map[physics.Event]float64{
			physics.CivilDawn: -6, physics.Sunrise: -0.833, physics.Sunset: -0.833, physics.CivilDusk: -6,
		}
		last := time.Time{}
		for e := physics.CivilDawn; e <= physics.CivilDusk; e++ {
			at, ok := physics.SunEvent(e, lat, lon, y, m, d, zone)
			if !ok {
				if math.Abs(lat) < 60 {
					r.Fatalf("event %d does not happen at latitude %v", e, lat)
				}
				continue
			}
			if got := physics.SunElevation(lat, lon, at); math.Abs(got-height[e]) > 0.01 {
				r.Fatalf("event %d at %v: the sun stands at %v°", e, at, got)
			}
			if at.Before(last) || at.Sub(noon).Abs() > 25*time.Hour {
				r.Fatalf("event %d at %v, the one before at %v, noon %v", e, at, last, noon)
			}
			last = at
		}
	})
}
