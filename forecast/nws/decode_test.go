package nws

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

var (
	six  = time.Date(2027, 4, 20, 6, 0, 0, 0, time.UTC)
	cell = forecast.Cell{Lat: 40, Lon: -99, Elev: 500}
	no   = forecast.Unknown()
)

// object is a JSON object, to be spoilt by a test.
type object = map[string]any

// value is a value of a layer: from so many hours after six on, for so long.
func value(from int, long string, x any) object {
	return object{"validTime": six.Add(time.Duration(from)*time.Hour).Format("2006-01-02T15:04:05-07:00") + "/" + long, "value": x}
}

// grid6 makes an answer for six hours from six on: 10 °C, dew point 5, 4 m/s,
// gusts 7.5 m/s, dry.
func grid6() object {
	layer := func(unit string, x float64) object {
		return object{"uom": unit, "values": []any{value(0, "PT6H", x)}}
	}
	return object{
		"type": "Feature", "geometry": object{"type": "Polygon", "coordinates": []any{[]any{[]any{-99.01, 40.0}, []any{-99.01, 40.02}}}},
		"properties": object{
			"updateTime": "2027-04-20T05:12:00+00:00", "elevation": object{"unitCode": "wmoUnit:m", "value": 512.064}, "gridX": "10",
			"temperature": layer("wmoUnit:degC", 10), "dewpoint": layer("wmoUnit:degC", 5), "relativeHumidity": layer("wmoUnit:percent", 71),
			"windSpeed": layer("wmoUnit:km_h-1", 14.4), "windGust": layer("wmoUnit:km_h-1", 27), "skyCover": layer("wmoUnit:percent", 40),
			"probabilityOfPrecipitation": layer("wmoUnit:percent", 5), "quantitativePrecipitation": layer("wmoUnit:mm", 0),
			"weather": object{"values": []any{object{"validTime": "x", "value": []any{}}}},
		},
	}
}

func props(d object) object { return d["properties"].(object) }

// with replaces the values of a layer.
func with(d object, layer string, values ...any) object {
	props(d)[layer].(object)["values"] = values
	return d
}

// unit replaces the unit of a layer.
func unit(d object, layer string, u any) object {
	props(d)[layer].(object)["uom"] = u
	return d
}

// set replaces a property; nil removes it.
func set(d object, name string, x any) object {
	props(d)[name] = x
	if x == nil {
		delete(props(d), name)
	}
	return d
}

func body(t testing.TB, d any) []byte {
	t.Helper()
	b, err := json.Marshal(d)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func run(t testing.TB, d object) forecast.Run {
	t.Helper()
	r, err := decode(body(t, d), cell, six.Add(25*time.Minute))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func want(t *testing.T, h forecast.Hours, v forecast.Var, values ...float32) {
	t.Helper()
	if len(values) != h.N {
		t.Errorf("%d slots, want %d", h.N, len(values))
	}
	for i, w := range values {
		if got := h.At(v, 0, i); got != w && (forecast.Known(got) || forecast.Known(w)) {
			t.Errorf("%s in slot %d is %v, want %v", v, i, got, w)
		}
	}
}

// TestIntervalsBecomeSlots is the rule of hours: a value holds in each hour of
// its interval; rain of one hour's interval falls in that hour.
func TestIntervalsBecomeSlots(t *testing.T) {
	d := with(grid6(), "temperature", value(0, "PT2H", 11.1), value(2, "PT1H", 10.5), value(3, "PT3H", 9.4))
	with(d, "windSpeed", value(0, "PT3H", 18), value(3, "PT3H", 36))
	with(d, "windGust", value(-3, "PT6H", 36), value(3, "PT9H", 54))
	with(d, "quantitativePrecipitation", value(0, "PT2H", 0), value(2, "PT1H", 1.2), value(3, "PT3H", 0))
	with(d, "probabilityOfPrecipitation", value(-6, "PT6H", 90), value(0, "PT6H", 40))
	r := run(t, d)
	h := r.Hours
	if !h.Start.Equal(six) || h.N != 6 || h.Members != 1 {
		t.Fatalf("%d × %d from %s", h.N, h.Members, h.Start)
	}
	if x := h.At(forecast.Rain, 0, h.Slot(six.Add(2*time.Hour+59*time.Minute))); x != 1.2 {
		t.Errorf("rain at 08:59 is %v", x)
	}
	want(t, h, forecast.Rain, 0, 0, 1.2, 0, 0, 0)
	want(t, h, forecast.Air, 11.1, 11.1, 10.5, 9.4, 9.4, 9.4)
	want(t, h, forecast.Dew, 5, 5, 5, 5, 5, 5)
	want(t, h, forecast.Wind, 5, 5, 5, 10, 10, 10)
	want(t, h, forecast.Gust, 10, 10, 10, 15, 15, 15)
	want(t, h, forecast.RainChance, 40, 40, 40, 40, 40, 40)
	want(t, h, forecast.Cloud, 40, 40, 40, 40, 40, 40)
	if r.Source != Source || r.Endpoint != forecast.Deterministic || r.Cell != cell || r.Digest != forecast.Digest(h) || len(r.Notes) != 0 {
		t.Errorf("run %+v", r)
	}
	if !r.ModelRun.Equal(six.Add(-48 * time.Minute)) {
		t.Errorf("updated %s", r.ModelRun)
	}
}

// TestRainIsATotal: the rain of an interval is spread over its hours by a draw
// that the next answer repeats.
func TestRainIsATotal(t *testing.T) {
	d := with(grid6(), "quantitativePrecipitation", value(-2, "PT6H", 2.54), value(4, "PT6H", 0.1))
	long := func(d object) object {
		for _, l := range []string{"temperature", "dewpoint", "windSpeed"} {
			props(d)[l].(object)["values"].([]any)[0] = value(-2, "PT12H", 9.0)
		}
		return d
	}
	r := run(t, long(d))
	sum, different := 0.0, map[float32]bool{}
	for i := range 6 {
		sum += float64(r.Hours.At(forecast.Rain, 0, i))
		different[r.Hours.At(forecast.Rain, 0, i)] = true
	}
	if math.Abs(sum-2.54) > 1e-5 || len(different) < 2 || len(r.Notes) == 0 || !strings.Contains(r.Notes[0], "drawn") {
		t.Errorf("2.54 mm became %g mm in %d different hours, notes %q", sum, len(different), r.Notes)
	}
	// What lies before the first temperature falls away and nothing else changes.
	cut := run(t, with(grid6(), "quantitativePrecipitation", value(-2, "PT6H", 2.54), value(4, "PT6H", 0.1)))
	for i := range cut.Hours.N {
		if a, b := cut.Hours.At(forecast.Rain, 0, i), r.Hours.At(forecast.Rain, 0, i+2); a != b {
			t.Errorf("rain of slot %d is %v and %v", i, a, b)
		}
	}
}

func TestMends(t *testing.T) {
	for _, tc := range []struct {
		name string
		d    object
		v    forecast.Var
		want []float32
		note string
	}{
		{"null gust", with(grid6(), "windGust", value(0, "PT6H", nil)), forecast.Gust, []float32{6, 6, 6, 6, 6, 6}, "gust estimated as 1.5 times the wind (common practice, no source) (6 h)"},
		{"no gust layer", set(grid6(), "windGust", nil), forecast.Gust, []float32{6, 6, 6, 6, 6, 6}, "gust estimated"},
		{"an empty layer without a unit", set(grid6(), "windGust", object{"values": []any{}}), forecast.Gust, []float32{6, 6, 6, 6, 6, 6}, "gust estimated"},
		{"null rain is not dry", with(grid6(), "quantitativePrecipitation", value(0, "PT2H", 0), value(2, "PT2H", nil), value(4, "PT2H", 0)), forecast.Rain, []float32{0, 0, no, no, 0, 0}, "want of rain (2 h)"},
		{"rain that ends early", with(grid6(), "quantitativePrecipitation", value(0, "PT4H", 0)), forecast.Air, []float32{10, 10, 10, 10, no, no}, "want of rain (2 h)"},
		{"no rain layer", set(grid6(), "quantitativePrecipitation", nil), forecast.Air, []float32{no, no, no, no, no, no}, "want of rain (6 h)"},
		{"a hole in the wind", with(grid6(), "windSpeed", value(0, "PT1H", 18), value(3, "PT3H", 18)), forecast.Air, []float32{10, no, no, 10, 10, 10}, "want of wind (2 h)"},
		{"no dew point", set(grid6(), "dewpoint", nil), forecast.Dew, []float32{4.98, 4.98, 4.98, 4.98, 4.98, 4.98}, "dew point derived"},
		{"no humidity", set(grid6(), "relativeHumidity", nil), forecast.RH, []float32{71.1, 71.1, 71.1, 71.1, 71.1, 71.1}, "humidity derived"},
		{"fahrenheit", unit(with(grid6(), "temperature", value(0, "PT6H", 50)), "temperature", "unit:degF"), forecast.Air, []float32{10, 10, 10, 10, 10, 10}, ""},
		{"knots", unit(with(grid6(), "windSpeed", value(0, "PT6H", 9)), "windSpeed", "wmoUnit:kt"), forecast.Wind, []float32{4.63, 4.63, 4.63, 4.63, 4.63, 4.63}, ""},
		{"metres a second", unit(with(grid6(), "windSpeed", value(0, "PT6H", 3)), "windSpeed", "wmoUnit:m_s-1"), forecast.Wind, []float32{3, 3, 3, 3, 3, 3}, ""},
		{"parts of hours", with(grid6(), "windSpeed", value(0, "PT5H", 14.4), value(5, "PT30M", 14.4)), forecast.Air, []float32{10, 10, 10, 10, 10, no}, ""},
		{"impossible heat", with(grid6(), "temperature", value(0, "PT5H", 10), value(5, "PT1H", 60)), forecast.Air, []float32{10, 10, 10, 10, 10, no}, ""},
		{"a grid on the hill", set(grid6(), "elevation", object{"unitCode": "wmoUnit:m", "value": 910}), forecast.Air, []float32{10, 10, 10, 10, 10, 10}, "410 m above the place"},
		{"a grid in the valley", set(grid6(), "elevation", object{"unitCode": "wmoUnit:m", "value": 300}), forecast.Air, []float32{10, 10, 10, 10, 10, 10}, "200 m below the place"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := run(t, tc.d)
			want(t, r.Hours, tc.v, tc.want...)
			if all := strings.Join(r.Notes, "; "); tc.note != "" && (len(r.Notes) != 1 || !strings.Contains(all, tc.note)) {
				t.Errorf("notes %q, want %q alone", r.Notes, tc.note)
			}
		})
	}
}

// TestWindow: the hours are those the temperature is told for, at most two days
// back.
func TestWindow(t *testing.T) {
	past := with(grid6(), "temperature", value(-9, "PT9H", 8), value(0, "P1DT6H", 10))
	if h := run(t, past).Hours; !h.Start.Equal(six.Add(-9*time.Hour)) || h.N != 39 || forecast.Known(h.At(forecast.Air, 0, 0)) || h.At(forecast.Air, 0, 9) != 10 {
		t.Errorf("%d slots from %s", h.N, h.Start)
	}
	if h := run(t, with(grid6(), "temperature", value(-90, "P3DT18H", 8), value(0, "P21D", 10))).Hours; !h.Start.Equal(six.Add(-48*time.Hour)) || h.N != 348 {
		t.Errorf("%d slots from %s", h.N, h.Start)
	}
}

// TestRefusedAnswers: an answer is taken whole or not at all.
func TestRefusedAnswers(t *testing.T) {
	timed := func(s string) object { return with(grid6(), "temperature", object{"validTime": s, "value": 10}) }
	placed := grid6()
	placed["geometry"].(object)["coordinates"] = []any{[]any{[]any{-99.01, 40.5}}}
	nowhere := grid6()
	nowhere["geometry"] = nil
	for _, tc := range []struct {
		name string
		body []byte
		want string
	}{
		{"empty", nil, "no whole JSON"},
		{"cut short", body(t, grid6())[:400], "no whole JSON"},
		{"null", []byte("null"), "no place or no weather"},
		{"another object", []byte(`{"title":"x","status":503}`), "no place or no weather"},
		{"no place", body(t, nowhere), "no place or no weather"},
		{"another place", body(t, placed), "a place 56 km from the one asked for"},
		{"no time of update", body(t, set(grid6(), "updateTime", nil)), "when it was updated"},
		{"no temperature", body(t, set(grid6(), "temperature", nil)), "no temperature for the hours from now on"},
		{"yesterday's hours", body(t, with(grid6(), "temperature", value(-24, "PT24H", 10))), "no temperature for the hours from now on"},
		{"tomorrow's hours", body(t, with(grid6(), "temperature", value(24, "PT24H", 10))), "no temperature for the hours from now on"},
		{"unknown unit", body(t, unit(grid6(), "windSpeed", "wmoUnit:furlong")), `windSpeed is in "wmoUnit:furlong"`},
		{"inches", body(t, unit(grid6(), "quantitativePrecipitation", "wmoUnit:in")), "quantitativePrecipitation is in"},
		{"no unit", body(t, unit(grid6(), "temperature", nil)), `temperature is in ""`},
		{"no length", body(t, timed("2027-04-20T06:00:00+00:00")), "no interval of time"},
		{"an odd start", body(t, timed("NOW/PT6H")), "begins at no time"},
		{"an odd length", body(t, timed("2027-04-20T06:00:00+00:00/6 hours")), "it lasts no length of time"},
		{"an endless length", body(t, timed("2027-04-20T06:00:00+00:00/P99D")), "it lasts 2376h"},
		{"words for numbers", body(t, with(grid6(), "temperature", value(0, "PT6H", "ten"))), "no whole JSON"},
	} {
		if r, err := decode(tc.body, cell, six); err == nil || !strings.Contains(err.Error(), tc.want) || r.Hours.N != 0 {
			t.Errorf("%s: %v, want an error with %q", tc.name, err, tc.want)
		}
	}
}

func TestParseDuration(t *testing.T) {
	for s, want := range map[string]time.Duration{
		"PT1H": time.Hour, "PT6H": 6 * time.Hour, "P1D": 24 * time.Hour, "P7DT4H": 172 * time.Hour, "P1DT30M": 24*time.Hour + 30*time.Minute,
		"P1W": 168 * time.Hour, "PT90M": 90 * time.Minute, "PT3600S": time.Hour,
		"": 0, "P": 0, "PT": 0, "P1DT": 0, "P1Y": 0, "P1M": 0, "PT0H": 0, "-PT1H": 0, "PT1.5H": 0, "PT1H ": 0, "P32D": 0, "PT1H1H": 0, "1H": 0, "PT99999H": 0,
	} {
		got, err := parseDuration(s)
		if got != want || (err != nil) != (want == 0) {
			t.Errorf("%q: %s, %v, want %s", s, got, err, want)
		}
	}
}

func TestDecodePoint(t *testing.T) {
	point := func(id, x, y string) string {
		return fmt.Sprintf(`{"properties":{"gridId":%s,"gridX":%s,"gridY":%s,"forecastGridData":"https://elsewhere.example/"}}`, id, x, y)
	}
	if g, err := decodePoint([]byte(point(`"TOP"`, "31", "80"))); err != nil || g.office != "TOP" || g.x != 31 || g.y != 80 {
		t.Errorf("%+v, %v", g, err)
	}
	for _, bad := range []string{"", "null", "{}", point(`"../x"`, "1", "2"), point(`""`, "1", "2"), point(`"TOP"`, "-1", "2"), point(`"TOP"`, "null", "2"), point(`"TOP"`, "1.5", "2"), point(`"TOP"`, `"1"`, "2")} {
		if g, err := decodePoint([]byte(bad)); err == nil {
			t.Errorf("%s was taken: %+v", bad, g)
		}
	}
}

// shared finds a file of the shared folder of invented answers beside the
// repository.
func shared(t *testing.T, name string) []byte {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for parent := filepath.Dir(dir); parent != dir; dir, parent = parent, filepath.Dir(parent) {
		if b, err := os.ReadFile(filepath.Join(parent, "shared", "forecast_fixtures", name)); err == nil {
			return b
		}
	}
	t.Skipf("no file shared/forecast_fixtures/%s: lay the folder shared beside the repository to try that answer", name)
	return nil
}

// TestSharedAnswer decodes the invented answer of the shared folder (FORECAST_API
// §9): six hours, gusts null, 2.54 mm in one interval.
func TestSharedAnswer(t *testing.T) {
	b := shared(t, "nws_gridpoint.json")
	r, err := decode(b, forecast.CellOf(40.01, -99, 512), time.Date(2027, 4, 20, 3, 20, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	h := r.Hours
	want(t, h, forecast.Air, 11.1, 11.1, 10.5, 9.4, 9.4, 9.4)
	want(t, h, forecast.RH, 74, 74, 74, 83, 83, 83)
	want(t, h, forecast.RainChance, 40, 40, 40, 40, 40, 40)
	sum := 0.0
	for i := range h.N {
		sum += float64(h.At(forecast.Rain, 0, i))
		if w, g := h.At(forecast.Wind, 0, i), h.At(forecast.Gust, 0, i); w != 4.12 || g != 6.17 {
			t.Errorf("wind %v, gust %v in slot %d, want 14.816 km/h and 1.5 times that", w, g, i)
		}
	}
	if math.Abs(sum-2.54) > 1e-5 {
		t.Errorf("%g mm of rain", sum)
	}
}

// FuzzDecode: no body makes the decoder panic, and what it takes is sane.
func FuzzDecode(f *testing.F) {
	f.Add(body(f, grid6()))
	f.Add(body(f, with(grid6(), "quantitativePrecipitation", value(-2, "PT6H", 2.54), value(4, "P1DT6H", nil))))
	f.Add(body(f, with(grid6(), "temperature", value(-90, "P3DT18H", 8), value(0, "P21D", 10))))
	f.Add([]byte(`{"properties":{"gridId":"TOP","gridX":31,"gridY":80}}`))
	f.Add([]byte(`[null`))
	f.Fuzz(func(t *testing.T, b []byte) {
		if g, err := decodePoint(b); err == nil && (g.x < 0 || g.y < 0 || strings.ContainsAny(g.office, "/.?%")) {
			t.Fatalf("grid point %+v", g)
		}
		r, err := decode(b, cell, six)
		if err != nil {
			return
		}
		h := r.Hours
		for i := range h.N {
			rain, wind, gust, air, dew := h.At(forecast.Rain, 0, i), h.At(forecast.Wind, 0, i), h.At(forecast.Gust, 0, i), h.At(forecast.Air, 0, i), h.At(forecast.Dew, 0, i)
			all := forecast.Known(rain) == forecast.Known(air) && forecast.Known(rain) == forecast.Known(wind) && forecast.Known(rain) == forecast.Known(gust) && forecast.Known(rain) == forecast.Known(dew)
			if !all || rain < 0 || rain > 150 || gust < wind || air < -40 || air > 50 || dew > air+0.51 {
				t.Fatalf("slot %d: rain %v wind %v gust %v air %v dew %v", i, rain, wind, gust, air, dew)
			}
		}
		if p, err := forecast.Pack(h); err != nil {
			t.Fatalf("decoded hours do not pack: %v", err)
		} else if back, err := forecast.Unpack(p); err != nil || forecast.Digest(back) != r.Digest {
			t.Fatalf("decoded hours change in the store: %v", err)
		}
	})
}

// FuzzInterval: what is read as an interval lasts some time, and not for ever.
func FuzzInterval(f *testing.F) {
	for _, s := range []string{"2027-04-20T00:00:00+00:00/PT6H", "2027-04-19T21:00:00+00:00/P7DT4H", "2027-04-20T00:00:00Z/P1W", "NOW/PT1H", "x/y/z", "/"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		from, long, err := parseInterval(s)
		if err == nil && (long <= 0 || long > longestInterval || from.Location() != time.UTC) || err != nil && (long != 0 || !from.IsZero()) {
			t.Fatalf("%q: %s, %s, %v", s, from, long, err)
		}
	})
}
