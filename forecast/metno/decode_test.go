package metno

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

var (
	six  = time.Date(2027, 4, 20, 6, 0, 0, 0, time.UTC)
	cell = forecast.Cell{Lat: 53.45, Lon: -6.25, Elev: 50}
	no   = forecast.Unknown()
)

// object is a JSON object, to be spoilt by a test.
type object = map[string]any

// doc makes an answer with steps at the given hours after six: 10 °C, dew point
// 5, 4 m/s, gusts 7.5, dry. A step one hour before the next has next_1_hours,
// any other next_6_hours; the last has none.
func doc(hours ...int) object {
	var steps []any
	for i, h := range hours {
		data := object{"instant": object{"details": object{
			"air_temperature": 10.0, "dew_point_temperature": 5.0, "relative_humidity": 71.0, "wind_speed": 4.0,
			"wind_speed_of_gust": 7.5, "cloud_area_fraction": 40.0, "air_pressure_at_sea_level": 1013.0, "wind_from_direction": 200,
		}}}
		if i < len(hours)-1 {
			name := "next_6_hours"
			if hours[i+1] == h+1 {
				name = "next_1_hours"
			}
			data[name] = object{"summary": object{"symbol_code": "cloudy"}, "details": object{"precipitation_amount": 0.0, "probability_of_precipitation": 5.0}}
		}
		steps = append(steps, object{"time": six.Add(time.Duration(h) * time.Hour).Format(time.RFC3339), "data": data})
	}
	return object{
		"type": "Feature", "geometry": object{"type": "Point", "coordinates": []any{-6.25, 53.45, 50}},
		"properties": object{"timeseries": steps, "meta": object{"updated_at": "2027-04-20T05:41:00Z", "units": object{
			"air_temperature": "celsius", "dew_point_temperature": "celsius", "relative_humidity": "%", "wind_speed": "m/s", "wind_speed_of_gust": "m/s",
			"cloud_area_fraction": "%", "precipitation_amount": "mm", "probability_of_precipitation": "%", "air_pressure_at_sea_level": "hPa",
		}}},
	}
}

func hourly(n int) object {
	var hours []int
	for h := range n {
		hours = append(hours, h)
	}
	return doc(hours...)
}

func steps(d object) []any { return d["properties"].(object)["timeseries"].([]any) }
func units(d object) object {
	return d["properties"].(object)["meta"].(object)["units"].(object)
}

// details gives the measures of a step's period, such as "instant".
func details(d object, step int, period string) object {
	return steps(d)[step].(object)["data"].(object)[period].(object)["details"].(object)
}

// at sets a measure of the instants, one value a step; nil removes it.
func at(d object, name string, values ...any) object {
	for i, x := range values {
		if x == nil {
			delete(details(d, i, "instant"), name)
		} else {
			details(d, i, "instant")[name] = x
		}
	}
	return d
}

// in sets a measure of one step's period.
func in(d object, step int, period, name string, x any) object {
	details(d, step, period)[name] = x
	return d
}

func body(t testing.TB, d object) []byte {
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

// TestStepsBecomeSlots is the rule of hours: this source looks forward, so the
// rain told at 08:00 falls from 08:00 to 09:00.
func TestStepsBecomeSlots(t *testing.T) {
	d := at(hourly(5), "air_temperature", 8, 9, 11, 12.5, 12.4)
	at(d, "dew_point_temperature", 4, 5, 5.1, 5, 6)
	at(d, "relative_humidity", 80, 75, 70, 60, 61)
	at(d, "wind_speed", 2, 3, 4.5, 5, 5)
	at(d, "wind_speed_of_gust", 7, 8, 12.5, 9, 6)
	at(d, "cloud_area_fraction", 0, 100, 50, 50, 51)
	in(d, 2, "next_1_hours", "precipitation_amount", 1.2)
	in(d, 2, "next_1_hours", "probability_of_precipitation", 80.5)
	r := run(t, d)
	h := r.Hours
	if !h.Start.Equal(six) || h.N != 4 || h.Members != 1 {
		t.Fatalf("%d × %d from %s", h.N, h.Members, h.Start)
	}
	if x := h.At(forecast.Rain, 0, h.Slot(six.Add(2*time.Hour+59*time.Minute))); x != 1.2 {
		t.Errorf("rain at 08:59 is %v", x)
	}
	want(t, h, forecast.Rain, 0, 0, 1.2, 0)
	want(t, h, forecast.RainChance, 5, 5, 80.5, 5)
	want(t, h, forecast.Air, 8.5, 10, 11.75, 12.45)
	want(t, h, forecast.Dew, 4.5, 5.05, 5.05, 5.5)
	want(t, h, forecast.RH, 77.5, 72.5, 65, 60.5)
	want(t, h, forecast.Wind, 2.5, 3.75, 4.75, 5)
	want(t, h, forecast.Gust, 8, 12.5, 12.5, 9)
	want(t, h, forecast.Cloud, 50, 75, 50, 50.5)
	if h.Cols[forecast.Solar] != nil || h.Cols[forecast.Pressure] != nil {
		t.Error("radiation or pressure is known, which the source does not tell")
	}
	if r.Source != Source || r.Endpoint != forecast.Deterministic || r.Cell != cell || r.Digest != forecast.Digest(h) || len(r.Notes) != 0 {
		t.Errorf("run %+v", r)
	}
}

// TestBlocks: where the steps are six hours long, the rain of a block is drawn
// and not divided, and instants lie on a line.
func TestBlocks(t *testing.T) {
	d := at(doc(0, 1, 2, 8, 14, 20), "air_temperature", 10, 10, 10, 16, 13, 13)
	at(d, "wind_speed_of_gust", 7, 7, 7, 12, 9, 9)
	in(d, 2, "next_6_hours", "precipitation_amount", 2.4)
	in(d, 2, "next_6_hours", "probability_of_precipitation", 60)
	in(d, 4, "next_6_hours", "precipitation_amount", 0.1)
	r := run(t, d)
	h := r.Hours
	if h.N != 20 {
		t.Fatalf("%d slots", h.N)
	}
	sum, values := float32(0), map[float32]bool{}
	for i := 2; i < 8; i++ {
		sum += h.At(forecast.Rain, 0, i)
		values[h.At(forecast.Rain, 0, i)] = true
		if x := h.At(forecast.RainChance, 0, i); x != 60 {
			t.Errorf("chance of rain in slot %d is %v", i, x)
		}
		if x, w := h.At(forecast.Air, 0, i), float32(10.5+float64(i-2)); x != w {
			t.Errorf("air in slot %d is %v, want %v", i, x, w)
		}
		if x := h.At(forecast.Gust, 0, i); x != 12 {
			t.Errorf("gust in slot %d is %v", i, x)
		}
	}
	if math.Abs(float64(sum)-2.4) > 1e-5 || len(values) < 2 {
		t.Errorf("the block of 2.4 mm became %v mm, %d different hours", sum, len(values))
	}
	wet := 0
	for i := 14; i < 20; i++ {
		if h.At(forecast.Rain, 0, i) > 0 {
			wet++
		}
	}
	if wet != 1 {
		t.Errorf("0.1 mm in six hours falls in %d hours", wet)
	}
	if len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "drawn") {
		t.Errorf("notes %q", r.Notes)
	}
	again := run(t, d)
	if again.Digest != r.Digest {
		t.Error("the same answer has another digest")
	}
	// An hour later the same blocks have the same hours.
	props := d["properties"].(object)
	props["timeseries"] = steps(d)[1:]
	later := run(t, d).Hours
	for i := range later.N {
		if later.At(forecast.Rain, 0, i) != h.At(forecast.Rain, 0, i+1) {
			t.Errorf("slot %d: rain %v, an hour before %v", i, later.At(forecast.Rain, 0, i), h.At(forecast.Rain, 0, i+1))
		}
	}
	// A block that runs into the next step gives only the hours before that.
	cut := run(t, in(doc(0, 1, 4, 10), 1, "next_6_hours", "precipitation_amount", 60)).Hours
	for i := 4; i < 10; i++ {
		if x := cut.At(forecast.Rain, 0, i); x != 0 {
			t.Errorf("rain of the block before in slot %d: %v", i, x)
		}
	}
	// A hole of more than six hours is not known.
	want(t, run(t, doc(0, 1, 9, 10)).Hours, forecast.Air, 10, no, no, no, no, no, no, no, no, 10)
}

func TestMends(t *testing.T) {
	compact := hourly(3)
	at(compact, "air_temperature", 20, 20, 20)
	at(compact, "relative_humidity", 50, 50, 50)
	at(compact, "dew_point_temperature", nil, nil, nil)
	at(compact, "wind_speed_of_gust", nil, nil, nil)
	noRain := hourly(4)
	delete(details(noRain, 1, "next_1_hours"), "precipitation_amount")
	for _, tc := range []struct {
		name  string
		d     object
		v     forecast.Var
		want  []float32
		notes []string
	}{
		// 20 °C and 50 %: psychrolib 1.1.1 has 9.27 (CHECKS.md, computed), Magnus 9.26.
		{"compact: dew point", compact, forecast.Dew, []float32{9.26, 9.26}, []string{"dew point derived", "gust estimated as 1.5 times"}},
		{"compact: gust", compact, forecast.Gust, []float32{6, 6}, []string{"dew point derived", "gust estimated as 1.5 times"}},
		{"no rain told is not dry", noRain, forecast.Air, []float32{10, no, 10}, []string{"hour left unknown for want of rain (1 h)"}},
		{"null rain is not dry", in(hourly(4), 1, "next_1_hours", "precipitation_amount", nil), forecast.Rain, []float32{0, no, 0}, []string{"want of rain"}},
		{"null air", in(hourly(4), 1, "instant", "air_temperature", nil), forecast.Rain, []float32{no, no, 0}, []string{"want of air (2 h)"}},
		{"no wind at all", at(hourly(3), "wind_speed", nil, nil, nil), forecast.Rain, []float32{no, no}, []string{"want of wind (2 h)"}},
		{"gust below the wind", at(hourly(3), "wind_speed_of_gust", 2, 2, 2), forecast.Gust, []float32{4, 4}, []string{"gust below the wind, lifted to it (2 h)"}},
		{"one cloudburst too many", in(hourly(7), 2, "next_1_hours", "precipitation_amount", 200), forecast.Rain, []float32{0, 0, no, 0, 0, 0}, []string{"rain out of range, dropped (1 h)", "want of rain"}},
		{"int for float, unknown keys", at(at(hourly(3), "air_temperature", json.Number("13"), json.Number("13.0"), json.Number("1.3e1")), "mood", 1, 2, 3), forecast.Air, []float32{13, 13}, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := run(t, tc.d)
			want(t, r.Hours, tc.v, tc.want...)
			if len(r.Notes) != len(tc.notes) {
				t.Fatalf("notes %q, want %q", r.Notes, tc.notes)
			}
			for i, n := range tc.notes {
				if !strings.Contains(r.Notes[i], n) {
					t.Errorf("note %q, want one with %q", r.Notes[i], n)
				}
			}
		})
	}
}

// TestRefusedAnswers: an answer is taken whole or not at all.
func TestRefusedAnswers(t *testing.T) {
	timed := func(i int, s string) object { d := hourly(4); steps(d)[i].(object)["time"] = s; return d }
	unit := func(name string, u any) object { d := hourly(3); units(d)[name] = u; return d }
	placed := func(xy ...any) object {
		d := hourly(3)
		d["geometry"].(object)["coordinates"] = xy
		return d
	}
	for _, tc := range []struct{ name, body, want string }{
		{"empty", "", "no whole JSON"},
		{"a page", "<html>", "no whole JSON"},
		{"cut short", string(body(t, hourly(3))[:300]), "no whole JSON"},
		{"null", "null", "no place or no times"},
		{"an object of another kind", `{"latitude":53.4,"hourly":{}}`, "no place or no times"},
		{"one step", string(body(t, hourly(1))), "no place or no times"},
		{"no place", string(body(t, placed())), "no place or no times"},
		{"another place", string(body(t, placed(-6.25, 53.9, 0))), "a place 50 km from the one asked for"},
		{"latitude and longitude swapped", string(body(t, placed(53.45, -6.25))), "km from the one asked for"},
		{"no time", string(body(t, timed(1, ""))), "no whole JSON"},
		{"local time without a zone", string(body(t, timed(1, "2027-04-20T07:00:00"))), "no whole JSON"},
		{"half an hour", string(body(t, timed(1, "2027-04-20T07:30:00Z"))), "step 1 is not at a whole hour"},
		{"backwards", string(body(t, timed(1, "2027-04-20T09:00:00Z"))), "step 2 does not come after step 1"},
		{"a doubled hour", string(body(t, timed(1, "2027-04-20T06:00:00Z"))), "step 1 does not come after step 0"},
		{"another year", string(body(t, timed(3, "2028-04-20T06:00:00Z"))), "its hours are those from"},
		{"yesterday's", string(body(t, timed(0, "2027-04-19T05:00:00Z"))), "its hours are those from"},
		{"fahrenheit", string(body(t, unit("air_temperature", "fahrenheit"))), `air_temperature is in "fahrenheit", not in celsius`},
		{"no unit told", string(body(t, unit("precipitation_amount", ""))), `precipitation_amount is in "", not in mm`},
		{"words for numbers", string(body(t, in(hourly(3), 1, "instant", "wind_speed", "4"))), "no whole JSON"},
	} {
		if r, err := decode([]byte(tc.body), cell, six); err == nil || !strings.Contains(err.Error(), tc.want) || r.Hours.N != 0 {
			t.Errorf("%s: %v, want an error with %q", tc.name, err, tc.want)
		}
	}
	if _, err := decode(body(t, unit("dew_point_temperature", "")), cell, six); err == nil {
		t.Error("a measure of no unit was taken")
	}
	if _, err := decode(body(t, at(unit("wind_speed_of_gust", nil), "wind_speed_of_gust", nil, nil, nil)), cell, six); err != nil {
		t.Errorf("a measure that does not occur needs no unit: %v", err)
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
// §9): 18 steps of an hour, then six of six; rain between 13:00 and 15:00.
func TestSharedAnswer(t *testing.T) {
	b := shared(t, "met_no_compact.json")
	at := time.Date(2027, 4, 20, 0, 10, 0, 0, time.UTC)
	r, err := decode(b, forecast.CellOf(52.21, -1.47, 94), at)
	if err != nil {
		t.Fatal(err)
	}
	h := r.Hours
	if h.N != 54 || h.Start.Hour() != 0 {
		t.Fatalf("%d slots from %s", h.N, h.Start)
	}
	for i := range 18 {
		wet := i == 13 || i == 14
		if x := h.At(forecast.Rain, 0, i); (x > 0) != wet || !forecast.Known(x) {
			t.Errorf("rain of slot %d is %v, wet: %v", i, x, wet)
		}
	}
	for _, block := range []struct {
		from int
		mm   float64
	}{{18, 0.9}, {24, 1.2}, {30, 0}, {36, 0.3}, {42, 0.6}, {48, 0.9}} {
		sum := 0.0
		for i := block.from; i < block.from+6; i++ {
			sum += float64(h.At(forecast.Rain, 0, i))
		}
		if math.Abs(sum-block.mm) > 1e-6 {
			t.Errorf("the block at slot %d has %g mm, want %g", block.from, sum, block.mm)
		}
	}
	all := strings.Join(r.Notes, "; ")
	if !strings.Contains(all, "dew point derived") || !strings.Contains(all, "gust estimated") || !strings.Contains(all, "drawn") {
		t.Errorf("notes %q", r.Notes)
	}
	if slices.ContainsFunc(h.Cols[forecast.Dew], func(x float32) bool { return !forecast.Known(x) }) {
		t.Error("a dew point is not known")
	}
}

// FuzzDecode: no body makes the decoder panic, and what it takes is sane.
func FuzzDecode(f *testing.F) {
	f.Add(body(f, hourly(4)))
	f.Add(body(f, in(doc(0, 1, 2, 8, 14), 2, "next_6_hours", "precipitation_amount", 2.4)))
	f.Add(body(f, at(doc(0, 6), "air_temperature", 10, 30)))
	f.Add([]byte(`{"type":"Feature","geometry":{"coordinates":[-6.25,53.45]},"properties":{"timeseries":[{"time":"2027-04-20T06:00:00Z"},{"time":"2027-04-20T07:00:00Z"}]}}`))
	f.Add([]byte(`[null`))
	f.Fuzz(func(t *testing.T, b []byte) {
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
