package openmeteo

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

// TestRefusedAnswers: an answer is taken whole or not at all.
func TestRefusedAnswers(t *testing.T) {
	with := func(key string, v any) reply { r := calm(six, 3); r[key] = v; return r }
	stamps := func(s ...any) reply { return calm(six, 3).set("time", s...).unit("time", "unixtime") }
	at := six.Unix()
	for _, tc := range []struct {
		name, body, want string
	}{
		{"empty", "", "the body is empty"},
		{"a page", "<html>502</html>", "no whole JSON"},
		{"cut short", string(calm(six, 3).json(t)[:200]), "no whole JSON"},
		{"two documents", string(calm(six, 3).json(t)) + "{}", "no whole JSON"},
		{"an error of 200", `{"error":true,"reason":"Unexpected error\nwhile streaming"}`, "an error instead of a forecast: Unexpected error while streaming"},
		{"null", "null", "no latitude"},
		{"some other object", `{"hello":1}`, "no latitude, longitude or hours"},
		{"two places", "[" + string(calm(six, 3).json(t)) + "," + string(calm(six, 3).json(t)) + "]", "2 places answered, 1 asked for"},
		{"no places", "[]", "0 places answered, 1 asked for"},
		{"a place of nothing", "[null]", "no latitude"},
		{"another position", string(with("location_id", 3).json(t)), "it says it is number 4"},
		{"local time", string(with("utc_offset_seconds", 3600).json(t)), "local (+3600 s)"},
		{"far away", string(with("latitude", 53.9).json(t)), "its grid cell lies 50 km"},
		{"no hours", string(with("hourly", nil).json(t)), "no latitude, longitude or hours"},
		{"no times", string(calm(six, 3).without("time").unit("time", "unixtime").json(t)), "no list of 2 to 1000 unix seconds"},
		{"iso times", string(calm(six, 3).unit("time", "iso8601").json(t)), `not unix seconds but "iso8601"`},
		{"iso times under a false unit", string(stamps("2027-04-20T06:00", "2027-04-20T07:00", "2027-04-20T08:00").json(t)), "no list of 2 to 1000 unix seconds"},
		{"one row", string(calm(six, 1).json(t)), "no list of 2 to 1000 unix seconds"},
		{"too many rows", string(calm(six, 1001).json(t)), "no list of 2 to 1000 unix seconds"},
		{"a null time", string(stamps(at, nil, at+7200).json(t)), "row 1 does not begin at a whole hour"},
		{"half hours", string(stamps(at+1800, at+5400, at+9000).json(t)), "row 0 does not begin at a whole hour"},
		{"a gap", string(stamps(at, at+3600, at+10800).json(t)), "row 2 does not follow row 1 by an hour"},
		{"three-hourly", string(stamps(at, at+10800, at+21600).json(t)), "row 1 does not follow"},
		{"a doubled hour", string(stamps(at, at, at+3600).json(t)), "row 1 does not follow"},
		{"another day", string(calm(six.Add(-24*time.Hour), 3).json(t)), "its hours begin at 2027-04-19T06:00:00Z"},
		{"three hours late", string(calm(six.Add(3*time.Hour), 3).json(t)), "its hours begin at"},
		{"unequal lengths", string(calm(six, 3).set("precipitation", 0, 0).json(t)), "precipitation has 2 rows, the times have 3"},
		{"words for numbers", string(calm(six, 3).set("precipitation", "0", "0", "0").json(t)), "precipitation is no list of numbers"},
		{"a number for a list", string(calm(six, 3).without("precipitation").scalar("precipitation").json(t)), "precipitation is no list of numbers"},
		{"wind in km/h", string(calm(six, 3).unit("wind_speed_10m", "km/h").json(t)), `wind_speed_10m is in "km/h", not in m/s`},
		{"fahrenheit", string(calm(six, 3).unit("temperature_2m", "°F").json(t)), `temperature_2m is in "°F", not in °C`},
		{"no unit told", string(calm(six, 3).unit("precipitation", nil).json(t)), `precipitation is in "<nil>"`},
		{"nothing of ours", string(calm(six, 3).onlyTime().json(t)), "no column of the weather"},
		{"member 300", string(calm(six, 3).set("precipitation_member300", 0, 0, 0).json(t)), "member 300"},
	} {
		runs, err := decode([]byte(tc.body), ask{endpoint: forecast.Ensemble, cells: []forecast.Cell{cell}, from: six, now: six})
		if err == nil || !strings.Contains(err.Error(), tc.want) || runs != nil {
			t.Errorf("%s: %v, want an error with %q", tc.name, err, tc.want)
		}
	}
}

// scalar puts a bare number where a list belongs.
func (r reply) scalar(name string) reply {
	r.hourly()[name] = 0
	return r.unit(name, "mm")
}

// onlyTime leaves the stamps alone.
func (r reply) onlyTime() reply {
	for _, m := range source {
		r.without(m.name)
	}
	return r
}

// TestHoursNearTheOnesAskedFor: the source's clock may be an hour or two off.
func TestHoursNearTheOnesAskedFor(t *testing.T) {
	for _, off := range []time.Duration{-2 * time.Hour, -time.Hour, 0, time.Hour, 2 * time.Hour} {
		if run := one(t, calm(six.Add(off), 3)); !run.Hours.Start.Equal(six.Add(off)) {
			t.Errorf("start %s, want %s", run.Hours.Start, six.Add(off))
		}
	}
}

// TestPlacesComeInOrder: places are told apart by position alone.
func TestPlacesComeInOrder(t *testing.T) {
	second := calm(six, 3).set("temperature_2m", 12, 12, 12)
	second["location_id"] = 1
	cells := []forecast.Cell{cell, {Lat: 53.4, Lon: -6.3, Elev: 0}}
	body := "[" + string(calm(six, 3).json(t)) + "," + string(second.json(t)) + "]"
	runs, err := decode([]byte(body), ask{endpoint: forecast.Deterministic, cells: cells, from: six, now: six})
	if err != nil {
		t.Fatal(err)
	}
	if runs[0].Cell != cells[0] || runs[1].Cell != cells[1] || runs[0].Hours.At(forecast.Air, 0, 0) != 10 || runs[1].Hours.At(forecast.Air, 0, 0) != 12 {
		t.Errorf("runs of %v (%v °C) and %v (%v °C)", runs[0].Cell, runs[0].Hours.At(forecast.Air, 0, 0), runs[1].Cell, runs[1].Hours.At(forecast.Air, 0, 0))
	}
}

// fixtures finds the shared folder of invented answers beside the repository.
func fixtures(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for parent := filepath.Dir(dir); parent != dir; dir, parent = parent, filepath.Dir(parent) {
		found := filepath.Join(parent, "shared", "forecast_fixtures")
		if _, err := os.Stat(found); err == nil {
			return found
		}
	}
	t.Skip("no folder shared/forecast_fixtures: lay the folder shared beside the repository to try the shared answers")
	return ""
}

// TestSharedAnswers decodes the invented answers of the shared folder; what they
// hold is told in FORECAST_API §9.
func TestSharedAnswers(t *testing.T) {
	dir := fixtures(t)
	from := time.Unix(1808179200, 0).UTC() // of all of them
	one, two := forecast.CellOf(52.21, -1.47, 94), forecast.CellOf(53.78, -1.73, 151)
	read := func(name string) []byte {
		b, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	get := func(name string, ep forecast.Endpoint, model string, cells ...forecast.Cell) []forecast.Run {
		t.Helper()
		runs, err := decode(read(name), ask{endpoint: ep, model: model, cells: cells, from: from, now: from})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		return runs
	}

	h := get("forecast_single.json", forecast.Deterministic, "", one)[0].Hours
	for i := range h.N {
		wet := i >= 12 && i < 15 || i == 36 // rows 13 to 15 and 37: rain between 12:00 and 15:00
		if rain := h.At(forecast.Rain, 0, i); !forecast.Known(rain) || (rain > 0) != wet {
			t.Errorf("forecast_single: rain of slot %d is %v, wet: %v", i, rain, wet)
		}
	}
	if runs := get("forecast_multi.json", forecast.Deterministic, "", one, two); runs[0].Digest == runs[1].Digest {
		t.Error("forecast_multi: both places have one digest")
	}
	tail := get("nulls_tail.json", forecast.Deterministic, "", one)[0]
	for i := range tail.Hours.N { // air ends at row 43, so slot 42 is the last that is known
		if forecast.Known(tail.Hours.At(forecast.Rain, 0, i)) != (i <= 42) || forecast.Known(tail.Hours.At(forecast.Gust, 0, i)) != (i <= 42) {
			t.Errorf("nulls_tail: slot %d has rain %v, gust %v", i, tail.Hours.At(forecast.Rain, 0, i), tail.Hours.At(forecast.Gust, 0, i))
		}
	}
	if s := strings.Join(tail.Notes, "; "); !strings.Contains(s, "gust estimated") || !strings.Contains(s, "want of air, dew, rain, wind (4 h)") {
		t.Errorf("nulls_tail: notes %q", s)
	}
	if h := get("ensemble.json", forecast.Ensemble, "", one)[0].Hours; h.Members != 5 || h.N != 23 || h.At(forecast.Air, 4, 0) != 10.05 {
		t.Errorf("ensemble: %d × %d, air of member 4 %v, want 5 × 23, 10.05", h.Members, h.N, h.At(forecast.Air, 4, 0))
	}
	damaged := get("ensemble_damaged.json", forecast.Ensemble, "", one)[0].Hours
	for i := range damaged.N {
		for m, known := range []bool{i <= 14, true, false, false, true} { // the control's rain ends at row 15
			if forecast.Known(damaged.At(forecast.Rain, m, i)) != known {
				t.Errorf("ensemble_damaged: rain of member %d in slot %d: known is not %v", m, i, known)
			}
		}
	}
	if h := get("ensemble_two_models.json", forecast.Ensemble, "icon_eu_eps", one)[0].Hours; h.Members != 2 {
		t.Errorf("ensemble_two_models: %d members, want 2", h.Members)
	}
	for _, name := range []string{"forecast_local_dst_trap.json", "error_400.json", "error_429.json", "error_502.html", "stream_abort_200.txt", "truncated_200.txt", "met_no_compact.json", "elevation.json"} {
		if _, err := decode(read(name), ask{endpoint: forecast.Deterministic, cells: []forecast.Cell{one}, from: from, now: from}); err == nil {
			t.Errorf("%s was taken for a forecast", name)
		}
	}
}

// FuzzDecode: no body makes the decoder panic, and what it takes is sane.
func FuzzDecode(f *testing.F) {
	f.Add(calm(six, 3).json(f))
	f.Add(calm(six, 3).set("precipitation", nil, 0.2, 500).set("temperature_2m_member01", 1, nil, 3).json(f))
	f.Add(calm(six, 3).renamed("_a_eps", 1).json(f))
	f.Add(append(append([]byte("["), calm(six, 2).json(f)...), ']'))
	f.Add([]byte(`{"error":true,"reason":"x"}`))
	f.Add([]byte(`[null`))
	f.Fuzz(func(t *testing.T, body []byte) {
		for _, model := range []string{"", "a_eps"} {
			runs, err := decode(body, ask{endpoint: forecast.Ensemble, model: model, cells: []forecast.Cell{cell}, from: six, now: six})
			if err != nil {
				continue
			}
			h := runs[0].Hours
			for m := range h.Members {
				for i := range h.N {
					rain, wind, gust, air := h.At(forecast.Rain, m, i), h.At(forecast.Wind, m, i), h.At(forecast.Gust, m, i), h.At(forecast.Air, m, i)
					all := forecast.Known(rain) == forecast.Known(air) && forecast.Known(rain) == forecast.Known(wind) && forecast.Known(rain) == forecast.Known(gust)
					if !all || rain < 0 || rain > 150 || gust < wind || air < -40 || air > 50 {
						t.Fatalf("member %d slot %d: rain %v wind %v gust %v air %v", m, i, rain, wind, gust, air)
					}
				}
			}
			if b, err := forecast.Pack(h); err != nil {
				t.Fatalf("decoded hours do not pack: %v", err)
			} else if back, err := forecast.Unpack(b); err != nil || forecast.Digest(back) != runs[0].Digest {
				t.Fatalf("decoded hours change in the store: %v", err)
			}
		}
	})
}
