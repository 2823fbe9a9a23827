package openmeteo

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

var (
	six  = time.Date(2027, 4, 20, 6, 0, 0, 0, time.UTC)
	cell = forecast.Cell{Lat: 53.45, Lon: -6.25, Elev: 50}
)

// reply is one place's answer, to be spoilt by a test.
type reply map[string]any

// calm makes an answer of n rows from `at` on: 10 °C, dry, 4 m/s.
func calm(at time.Time, n int) reply {
	units, hourly := map[string]any{"time": "unixtime"}, map[string]any{}
	var stamps []any
	for i := range n {
		stamps = append(stamps, at.Add(time.Duration(i)*time.Hour).Unix())
	}
	for _, m := range source {
		x := map[forecast.Var]any{
			forecast.Air: 10, forecast.Dew: 5.0, forecast.RH: 71, forecast.Wind: 4.0, forecast.Gust: 7.5, forecast.Pressure: 1013.2,
		}[m.v]
		if x == nil {
			x = 0.0
		}
		hourly[m.name], units[m.name] = slices.Repeat([]any{x}, n), m.unit
	}
	hourly["time"] = stamps
	return reply{
		"latitude": 53.43, "longitude": -6.24, "generationtime_ms": 0.3, "utc_offset_seconds": 0, "timezone": "GMT",
		"elevation": 71.0, "hourly_units": units, "hourly": hourly,
	}
}

func (r reply) hourly() map[string]any { return r["hourly"].(map[string]any) }
func (r reply) units() map[string]any  { return r["hourly_units"].(map[string]any) }

// set replaces a column, or adds it with the unit of its measure.
func (r reply) set(name string, values ...any) reply {
	r.hourly()[name] = values
	if c, _, ok := parseKey(name); ok {
		r.units()[name] = c.unit
	}
	return r
}

// without removes columns.
func (r reply) without(names ...string) reply {
	for _, n := range names {
		delete(r.hourly(), n)
		delete(r.units(), n)
	}
	return r
}

func (r reply) json(t testing.TB) []byte {
	t.Helper()
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// one decodes r as the deterministic run of cell from six on.
func one(t testing.TB, r reply) forecast.Run {
	t.Helper()
	runs, err := decode(r.json(t), ask{endpoint: forecast.Deterministic, cells: []forecast.Cell{cell}, from: six, now: six})
	if err != nil {
		t.Fatal(err)
	}
	return runs[0]
}

// ensemble decodes r as the ensemble run of a model.
func ensemble(t testing.TB, model string, r reply) forecast.Run {
	t.Helper()
	runs, err := decode(r.json(t), ask{endpoint: forecast.Ensemble, model: model, cells: []forecast.Cell{cell}, from: six, now: six})
	if err != nil {
		t.Fatal(err)
	}
	return runs[0]
}

// want compares one member's slots of a measure; NaN means unknown.
func want(t *testing.T, h forecast.Hours, v forecast.Var, m int, values ...float32) {
	t.Helper()
	for i, w := range values {
		if got := h.At(v, m, i); got != w && (forecast.Known(got) || forecast.Known(w)) {
			t.Errorf("%s of member %d in slot %d is %v, want %v", v, m, i, got, w)
		}
	}
	if len(values) != h.N {
		t.Errorf("%d slots, want %d", h.N, len(values))
	}
}

var no = forecast.Unknown()

// TestRowsBecomeSlots is the rule of hours: what is stamped at its end goes
// back by one, instants become the mean of both ends.
func TestRowsBecomeSlots(t *testing.T) {
	r := calm(six, 5).
		set("precipitation", 9.9, 0, 0, 1.2, 0). // the row of 09:00 rained from 08:00 to 09:00
		set("wind_gusts_10m", 30, 7, 8, 12.5, 9).
		set("shortwave_radiation", 900, 10, 40, 90.5, 200).
		set("precipitation_probability", 99, 5, 10, 80, 20).
		set("temperature_2m", 8, 9, 11, 12.5, 12.4).
		set("dew_point_2m", 4, 5, 5.1, 5, 6).
		set("relative_humidity_2m", 80, 75, 70, 60, 61).
		set("wind_speed_10m", 2, 3, 4.5, 5, 5).
		set("cloud_cover", 0, 100, 50, 50, 51).
		set("surface_pressure", 1010, 1011, 1012.5, 1013, 1013)
	run := one(t, r)
	h := run.Hours
	if !h.Start.Equal(six) || h.N != 4 || h.Members != 1 {
		t.Fatalf("hours %s, %d × %d, want 4 from %s", h.Start, h.N, h.Members, six)
	}
	if slot := h.Slot(six.Add(2*time.Hour + 59*time.Minute)); h.At(forecast.Rain, 0, slot) != 1.2 {
		t.Errorf("no rain at 08:59: slot %d has %v", slot, h.At(forecast.Rain, 0, slot))
	}
	want(t, h, forecast.Rain, 0, 0, 0, 1.2, 0)
	want(t, h, forecast.Gust, 0, 7, 8, 12.5, 9)
	want(t, h, forecast.Solar, 0, 10, 40, 90.5, 200)
	want(t, h, forecast.RainChance, 0, 5, 10, 80, 20)
	want(t, h, forecast.Air, 0, 8.5, 10, 11.75, 12.45)
	want(t, h, forecast.Dew, 0, 4.5, 5.05, 5.05, 5.5)
	want(t, h, forecast.RH, 0, 77.5, 72.5, 65, 60.5)
	want(t, h, forecast.Wind, 0, 2.5, 3.75, 4.75, 5)
	want(t, h, forecast.Cloud, 0, 50, 75, 50, 50.5)
	want(t, h, forecast.Pressure, 0, 1010.5, 1011.8, 1012.8, 1013)
	if run.Source != "open-meteo" || run.Endpoint != forecast.Deterministic || run.Cell != cell || run.Model != "" || len(run.Notes) != 0 {
		t.Errorf("run %+v", run)
	}
	if run.Digest != forecast.Digest(h) {
		t.Error("the digest is not that of the hours")
	}
}

func TestMends(t *testing.T) {
	// 20 °C and 50 %: psychrolib 1.1.1 has 9.27 (CHECKS.md, computed), Magnus 9.26.
	for _, tc := range []struct {
		name string
		r    reply
		v    forecast.Var
		want []float32
		note string // part of the only note, "" = no note
	}{
		{"null rain is not zero", calm(six, 4).set("precipitation", nil, 0, nil, 0), forecast.Rain, []float32{0, no, 0}, "hour left unknown for want of rain (1 h)"},
		{"null instants take both slots", calm(six, 5).set("temperature_2m", 10, 10, nil, 10, 10), forecast.Air, []float32{10, no, no, 10}, "hour left unknown for want of air (2 h)"},
		{"an hour without rain knows nothing", calm(six, 3).set("precipitation", 0, 0, nil), forecast.Wind, []float32{4, no}, "want of rain"},
		{"no wind column", calm(six, 3).without("wind_speed_10m"), forecast.Air, []float32{no, no}, "want of wind (2 h)"},
		{"no unit, no column", calm(six, 3).unit("precipitation", "undefined"), forecast.Air, []float32{no, no}, "want of rain (2 h)"},
		{"no probability", calm(six, 3).without("precipitation_probability"), forecast.RainChance, []float32{no, no}, ""},
		{"no pressure", calm(six, 3).set("surface_pressure", nil, nil, nil), forecast.Rain, []float32{0, 0}, ""},
		{"no dew point column", calm(six, 3).without("dew_point_2m").set("temperature_2m", 20, 20, 20).set("relative_humidity_2m", 50, 50, 50), forecast.Dew, []float32{9.26, 9.26}, "dew point derived from air temperature and humidity (3 h)"},
		{"a null dew point", calm(six, 3).set("dew_point_2m", 5, 5, nil), forecast.Dew, []float32{5, 4.99}, "dew point derived"},
		{"no humidity at all", calm(six, 3).without("dew_point_2m", "relative_humidity_2m"), forecast.Air, []float32{no, no}, "want of dew (2 h)"},
		{"no humidity column", calm(six, 3).without("relative_humidity_2m").set("temperature_2m", 20, 20, 20).set("dew_point_2m", 9.26, 9.26, 9.26), forecast.RH, []float32{50, 50}, "humidity derived from dew point (3 h)"},
		{"humidity above 100", calm(six, 3).set("relative_humidity_2m", 104, 101, 100), forecast.RH, []float32{100, 100}, "rh above 100 %, lowered to it (1 h)"},
		{"no gust column", calm(six, 3).without("wind_gusts_10m"), forecast.Gust, []float32{6, 6}, "gust estimated as 1.5 times the wind (common practice, no source) (2 h)"},
		{"gusts end early", calm(six, 4).set("wind_gusts_10m", 7, 7, nil, nil), forecast.Gust, []float32{7, 6, 6}, "gust estimated"},
		{"gust below the wind", calm(six, 3).set("wind_gusts_10m", 7, 2, 3.9), forecast.Gust, []float32{4, 4}, "gust below the wind, lifted to it (1 h)"},
		{"wind that dies within the hour", calm(six, 3).set("wind_speed_10m", 8, 2, 2).set("wind_gusts_10m", 15, 3.5, 3), forecast.Gust, []float32{5, 3}, ""},
		{"sun at night", calm(six, 4).set("shortwave_radiation", 0, 500, 500, 0).set("is_day", 0, 0, 1, 1), forecast.Solar, []float32{0, 500, 0}, "radiation at night, set to zero (1 h)"},
		{"int for float", calm(six, 3).set("temperature_2m", json.Number("13"), json.Number("13.0"), json.Number("1.3e1")), forecast.Air, []float32{13, 13}, ""},
		{"unknown keys", calm(six, 3).set("roof_mood", "gay", nil, 3), forecast.Air, []float32{10, 10}, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			run := one(t, tc.r)
			want(t, run.Hours, tc.v, 0, tc.want...)
			if tc.note == "" && len(run.Notes) != 0 || tc.note != "" && (len(run.Notes) != 1 || !strings.Contains(run.Notes[0], tc.note)) {
				t.Errorf("notes %q, want %q alone", run.Notes, tc.note)
			}
		})
	}
}

// unit replaces the unit of a column.
func (r reply) unit(name string, u any) reply {
	r.units()[name] = u
	return r
}

// TestOutOfRange: a value that cannot be is unknown, alone or with its column.
func TestOutOfRange(t *testing.T) {
	for _, tc := range []struct {
		name  string
		r     reply
		v     forecast.Var
		want  []float32
		notes []string
	}{
		{"one hot hour", calm(six, 6).set("temperature_2m", 10, 10, 10, 51, 10, 10), forecast.Air, []float32{10, 10, no, no, 10}, []string{"air out of range, dropped (1 h)", "want of air"}},
		{"one gust of 600", calm(six, 6).set("wind_gusts_10m", 7, 7, 7, 600, 7, 7), forecast.Gust, []float32{7, 7, 6, 7, 7}, []string{"gust out of range, dropped (1 h)", "gust estimated"}},
		{"all gusts × 100, some within bounds", calm(six, 6).set("wind_gusts_10m", 700, 700, 60, 700, 50, 700), forecast.Gust, []float32{6, 6, 6, 6, 6}, []string{"gust out of range, dropped (3 h)", "gust out of range too often, whole column dropped", "gust estimated"}},
		{"temperatures in kelvin", calm(six, 3).set("temperature_2m", 283, 283, 283), forecast.Rain, []float32{no, no}, []string{"air out of range", "whole column", "want of air"}},
		{"negative rain", calm(six, 6).set("precipitation", 0, 0, -3, 0, 0, 0), forecast.Rain, []float32{0, no, 0, 0, 0}, []string{"rain out of range", "want of rain"}},
		{"a cloudburst of 200 mm", calm(six, 6).set("precipitation", 0, 0, 200, 0, 0, 0), forecast.Rain, []float32{0, no, 0, 0, 0}, []string{"rain out of range", "want of rain"}},
		{"dew point above air", calm(six, 3).set("dew_point_2m", 11, 11, 11), forecast.Dew, []float32{4.98, 4.98}, []string{"dew point above air temperature, dropped (3 h)", "dew point derived"}},
		{"dew point a little above air", calm(six, 3).set("dew_point_2m", 10.4, 10.4, 10.4), forecast.Dew, []float32{10.4, 10.4}, nil},
		{"radiation of 1500", calm(six, 6).set("shortwave_radiation", 0, 9, 1500, 9, 9, 9), forecast.Solar, []float32{9, no, 9, 9, 9}, []string{"solar out of range"}},
		{"humidity of 250", calm(six, 6).without("dew_point_2m").set("relative_humidity_2m", 71, 71, 71, 250, 71, 71), forecast.Rain, []float32{0, 0, no, no, 0}, []string{"rh out of range", "dew point derived", "want of dew"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			run := one(t, tc.r)
			want(t, run.Hours, tc.v, 0, tc.want...)
			if len(run.Notes) != len(tc.notes) {
				t.Fatalf("notes %q, want %q", run.Notes, tc.notes)
			}
			for i, n := range tc.notes {
				if !strings.Contains(run.Notes[i], n) {
					t.Errorf("note %q, want one with %q", run.Notes[i], n)
				}
			}
		})
	}
}

func TestMembers(t *testing.T) {
	r := calm(six, 3)
	for _, m := range source {
		control := r.hourly()[m.name].([]any)
		for k := 1; k <= 4; k++ {
			if k != 2 { // member 2 never came
				r.set(fmt.Sprintf("%s_member%02d", m.name, k), control...)
			}
		}
	}
	r.set("precipitation_member01", 0, 0.4, 0).set("precipitation_member03", nil, nil, nil).set("temperature_2m_member04", 12, 12, 12)
	run := ensemble(t, "", r)
	h := run.Hours
	if h.Members != 5 || h.N != 2 {
		t.Fatalf("%d members × %d, want 5 × 2", h.Members, h.N)
	}
	want(t, h, forecast.Rain, 0, 0, 0)
	want(t, h, forecast.Rain, 1, 0.4, 0)
	want(t, h, forecast.Air, 2, no, no)
	want(t, h, forecast.Air, 3, no, no)
	want(t, h, forecast.Air, 4, 12, 12)
	if len(run.Notes) != 2 || !strings.Contains(run.Notes[0], "air, dew, rain, wind (2 member hours)") {
		t.Errorf("notes %q", run.Notes)
	}
	if det := one(t, r); det.Hours.Members != 1 {
		t.Errorf("a deterministic run has %d members", det.Hours.Members)
	}
}

// renamed gives every column of weather a suffix.
func (r reply) renamed(suffix string, rain float64) reply {
	for key, col := range maps.Clone(r.hourly()) {
		if c, _, ok := parseKey(key); ok && !strings.Contains(key, "_eps") {
			r.without(key).set(key+suffix, col.([]any)...)
			if c.v == forecast.Rain {
				r.set(key+suffix, rain, rain, rain)
			}
		}
	}
	return r
}

func TestModelNames(t *testing.T) {
	two := calm(six, 3).renamed("_member01_b_eps", 2)
	maps.Copy(two.hourly(), calm(six, 3).renamed("_a_eps", 1).hourly())
	maps.Copy(two.units(), calm(six, 3).renamed("_a_eps", 1).units())
	for _, tc := range []struct {
		name, model   string
		r             reply
		member, count int
		rain          float32
		err           string
	}{
		{"no suffix", "a_eps", calm(six, 3), 0, 1, 0, ""},
		{"asked for the first", "a_eps", two, 0, 1, 1, ""},
		{"asked for the second", "b_eps", two, 1, 2, 2, ""},
		{"asked for neither", "c_eps", two, 0, 0, 0, "no column of the weather"},
		{"renamed by the source", "a", calm(six, 3).renamed("_a_eps", 3), 0, 1, 3, ""},
		{"best match never has a suffix", "", calm(six, 3).renamed("_a_eps", 3), 0, 0, 0, "no column of the weather"},
	} {
		runs, err := decode(tc.r.json(t), ask{endpoint: forecast.Ensemble, model: tc.model, cells: []forecast.Cell{cell}, from: six, now: six})
		if tc.err != "" {
			if err == nil || !strings.Contains(err.Error(), tc.err) {
				t.Errorf("%s: error %v, want %q", tc.name, err, tc.err)
			}
			continue
		}
		if err != nil {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		if h := runs[0].Hours; h.Members != tc.count || h.At(forecast.Rain, tc.member, 0) != tc.rain || runs[0].Model != tc.model {
			t.Errorf("%s: %d members, rain %v, model %q", tc.name, h.Members, h.At(forecast.Rain, tc.member, 0), runs[0].Model)
		}
	}
}
