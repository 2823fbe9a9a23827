package openmeteo

import (
	"context"
	"errors"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

// led adds the column of a lead to an answer.
func (r reply) led(name, lead string, values ...any) reply {
	r.set(name+lead, values...)
	r.units()[name+lead] = r.units()[name]
	return r
}

func previousOf(t testing.TB, r reply, leads int) Previous {
	t.Helper()
	out, err := decodePrevious(r.json(t), ask{endpoint: forecast.Deterministic, cells: []forecast.Cell{cell}, from: six, now: six}, leads)
	if err != nil {
		t.Fatal(err)
	}
	return out[0]
}

// TestPrevious: each lead has the hours of the forecast, shifted alike, and each
// measure stands for itself.
func TestPrevious(t *testing.T) {
	r := calm(six, 5).set("precipitation", 9, 0, 1.2, 0, 0).
		led("precipitation", "_previous_day1", 9, 0, 0, 0.8, 0).
		led("temperature_2m", "_previous_day1", 12, 14, 14, 14, nil).
		led("precipitation", "_previous_day2", nil, nil, nil, nil, nil).
		led("temperature_2m", "_previous_day2", 8, 8, 8, 8, 8).
		led("wind_speed_10m", "_previous_day2", 3, 3, 90, 3, 3).
		led("temperature_2m", "_previous_day3", 1, 1, 1, 1, 1).         // not asked for
		led("temperature_2m", "_previous_day12", 1, 1, 1, 1, 1).        // no lead
		led("temperature_2m", "_previous_day0", 1, 1, 1, 1, 1).         // as good as none
		led("temperature_2m", "_member01_previous_day1", 1, 1, 1, 1, 1) // of an ensemble
	p := previousOf(t, r, 2)
	if p.Cell != cell || len(p.Leads) != 3 {
		t.Fatalf("%d leads of %v", len(p.Leads), p.Cell)
	}
	want(t, p.Leads[0], forecast.Rain, 0, 0, 1.2, 0, 0)
	want(t, p.Leads[1], forecast.Rain, 0, 0, 0, 0.8, 0)
	want(t, p.Leads[2], forecast.Rain, 0, no, no, no, no)
	want(t, p.Leads[0], forecast.Air, 0, 10, 10, 10, 10)
	want(t, p.Leads[1], forecast.Air, 0, 13, 14, 14, no)
	want(t, p.Leads[2], forecast.Air, 0, 8, 8, 8, 8)
	want(t, p.Leads[2], forecast.Wind, 0, 3, no, no, 3)
	want(t, p.Leads[1], forecast.Wind, 0, no, no, no, no)
	want(t, p.Leads[0], forecast.Dew, 0, 5, 5, 5, 5)
	for d, h := range p.Leads {
		if !h.Start.Equal(six) || h.Members != 1 || h.Cols[forecast.Gust] != nil && d > 0 {
			t.Errorf("lead %d: %d members from %s, gusts %v", d, h.Members, h.Start, h.Cols[forecast.Gust])
		}
	}
	if s := strings.Join(p.Notes, "; "); !strings.Contains(s, "wind out of range, dropped (1 h)") || strings.Contains(s, "want of") {
		t.Errorf("notes %q", p.Notes)
	}
	// Two days before, rain is told in blocks, one day before by the hour.
	even := calm(six, 7).led("precipitation", "_previous_day1", 0, 0.4, 0.4, 0.4, 0, 0, 0).led("precipitation", "_previous_day2", 0, 0.4, 0.4, 0.4, 0, 0, 0)
	p = previousOf(t, even, 2)
	want(t, p.Leads[1], forecast.Rain, 0, 0.4, 0.4, 0.4, 0, 0, 0)
	two := p.Leads[2]
	if a, b, c := two.At(forecast.Rain, 0, 0), two.At(forecast.Rain, 0, 1), two.At(forecast.Rain, 0, 2); a == b && b == c || math.Abs(float64(a+b+c)-1.2) > 1e-5 {
		t.Errorf("the block two days before is %v %v %v", a, b, c)
	}
}

func TestPreviousRefused(t *testing.T) {
	a := ask{endpoint: forecast.Deterministic, cells: []forecast.Cell{cell}, from: six, now: six}
	for _, tc := range []struct{ name, body, want string }{
		{"cut short", string(calm(six, 3).json(t)[:200]), "no whole JSON"},
		{"two places", "[" + string(calm(six, 3).json(t)) + "," + string(calm(six, 3).json(t)) + "]", "2 places answered"},
		{"another day", string(calm(six.AddDate(0, 0, 1), 3).json(t)), "its hours begin at"},
		{"unequal lengths", string(calm(six, 3).led("temperature_2m", "_previous_day1", 1).json(t)), "temperature_2m_previous_day1 has 1 rows"},
		{"another unit", string(calm(six, 3).led("temperature_2m", "_previous_day1", 1, 1, 1).unit("temperature_2m_previous_day1", "°F").json(t)), "not in °C"},
		{"words", string(calm(six, 3).led("temperature_2m", "_previous_day1", "a", "b", "c").json(t)), "no list of numbers"},
	} {
		if out, err := decodePrevious([]byte(tc.body), a, 2); err == nil || !strings.Contains(err.Error(), tc.want) || out != nil {
			t.Errorf("%s: %v, want an error with %q", tc.name, err, tc.want)
		}
	}
}

// TestPreviousRequest holds the request to FORECAST_API §6 D.
func TestPreviousRequest(t *testing.T) {
	var got *http.Request
	status := 200
	midnight := time.Date(2027, 4, 6, 0, 0, 0, 0, time.UTC)
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		got = r
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(status)
		w.Write(calm(midnight, 14*24).json(t))
	}))
	defer srv.Close()
	c := clientOf(t, "http://127.0.0.1:1", func(cfg *Config) { cfg.PreviousURL = srv.URL + "/prev" })
	out, err := c.Previous(context.Background(), []forecast.Cell{cell}, 2, 14, six.Add(25*time.Minute))
	if err != nil || len(out) != 1 || out[0].Leads[0].N != 14*24-1 {
		t.Fatalf("%d places, %v", len(out), err)
	}
	const want = "cell_selection=land&elevation=50&forecast_days=0&hourly=temperature_2m%2Ctemperature_2m_previous_day1%2Ctemperature_2m_previous_day2%2Cdew_point_2m%2Cdew_point_2m_previous_day1%2Cdew_point_2m_previous_day2%2Cprecipitation%2Cprecipitation_previous_day1%2Cprecipitation_previous_day2%2Cwind_speed_10m%2Cwind_speed_10m_previous_day1%2Cwind_speed_10m_previous_day2&latitude=53.450&longitude=-6.250&past_days=14&precipitation_unit=mm&temperature_unit=celsius&timeformat=unixtime&wind_speed_unit=ms"
	if got.URL.Path != "/prev/v1/forecast" || got.URL.RawQuery != want {
		t.Errorf("asked %s?%s\nwant %s", got.URL.Path, got.URL.RawQuery, want)
	}
	if w := c.PreviousWeight(1, 7, 28); math.Abs(w-6.4) > 1e-9 { // 32 columns / 10 × 28 days / 14
		t.Errorf("weight %g", w)
	}
	status = 403
	var f *forecast.Failure
	if _, err := c.Previous(context.Background(), []forecast.Cell{cell}, 2, 14, six); !errors.As(err, &f) || f.Kind != forecast.Refused {
		t.Errorf("403: %v", err)
	}
	for _, q := range [][3]int{{11, 2, 14}, {1, 0, 14}, {1, 8, 14}, {1, 2, 0}, {1, 2, 41}} {
		got = nil
		if _, err := c.Previous(context.Background(), make([]forecast.Cell, q[0]), q[1], q[2], six); !errors.As(err, &f) || f.Kind != forecast.Refused || got != nil {
			t.Errorf("%v: %v", q, err)
		}
	}
}

func TestPreviousAddress(t *testing.T) {
	for base, want := range map[string]string{
		"": "https://previous-runs-api.open-meteo.com", "https://api.open-meteo.com/": "https://previous-runs-api.open-meteo.com",
		"https://customer-api.open-meteo.com": "https://customer-previous-runs-api.open-meteo.com", "https://weather.roofs.example": "https://weather.roofs.example",
	} {
		c, err := New(Config{ForecastURL: base})
		if err != nil || c.previous.String() != want {
			t.Errorf("%q: %v, %v, want %s", base, c.previous, err, want)
		}
	}
}

// TestSharedPrevious decodes the invented answer of the shared folder: the day
// before is 0.6 K too warm, two days before 0.9 K too cold and knows no rain.
func TestSharedPrevious(t *testing.T) {
	b, err := os.ReadFile(filepath.Join(fixtures(t), "previous_runs.json"))
	if err != nil {
		t.Fatal(err)
	}
	from := time.Unix(1808179200, 0).UTC()
	out, err := decodePrevious(b, ask{cells: []forecast.Cell{forecast.CellOf(52.21, -1.47, 94)}, from: from, now: from}, 2)
	if err != nil {
		t.Fatal(err)
	}
	l := out[0].Leads
	for i := range l[0].N {
		for d, off := range map[int]float64{1: 0.6, 2: -0.9} {
			if got := float64(l[d].At(forecast.Air, 0, i) - l[0].At(forecast.Air, 0, i)); math.Abs(got-off) > 0.011 {
				t.Errorf("lead %d is off by %.2f K in slot %d, want %.1f", d, got, i, off)
			}
		}
		if forecast.Known(l[2].At(forecast.Rain, 0, i)) || !forecast.Known(l[1].At(forecast.Rain, 0, i)) {
			t.Errorf("rain of slot %d: %v the day before, %v two days before", i, l[1].At(forecast.Rain, 0, i), l[2].At(forecast.Rain, 0, i))
		}
	}
	if l[1].At(forecast.Rain, 0, 13) != 1.1 { // row 14:00
		t.Errorf("rain from 13:00 to 14:00 is %v", l[1].At(forecast.Rain, 0, 13))
	}
}

// FuzzPrevious: no body makes the decoder panic, and what it takes is sane.
func FuzzPrevious(f *testing.F) {
	f.Add(calm(six, 3).json(f))
	f.Add(calm(six, 4).led("precipitation", "_previous_day2", 0, 0.4, 0.4, 0.4).led("temperature_2m", "_previous_day1", nil, 90, -90, 1).json(f))
	f.Add([]byte(`[null`))
	f.Fuzz(func(t *testing.T, body []byte) {
		out, err := decodePrevious(body, ask{cells: []forecast.Cell{cell}, from: six, now: six}, 3)
		if err != nil {
			return
		}
		for d, h := range out[0].Leads {
			if h.N != out[0].Leads[0].N || h.Members != 1 {
				t.Fatalf("lead %d has %d × %d", d, h.N, h.Members)
			}
			for i := range h.N {
				if rain, air := h.At(forecast.Rain, 0, i), h.At(forecast.Air, 0, i); rain < 0 || rain > 150 || air < -40 || air > 50 {
					t.Fatalf("lead %d slot %d: rain %v air %v", d, i, rain, air)
				}
			}
		}
	})
}
