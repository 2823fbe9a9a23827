package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"laycast/forecast"
)

// otherSource stands in for MET Norway's or the US service's API with invented
// weather, by the terms of both: it wants to know who asks, and says when it
// will have something new. The Date header of a request is its clock.
type otherSource struct {
	*httptest.Server
	t    testing.TB
	mu   sync.Mutex
	bar  bool      // 403 to everybody
	down time.Time // 503 from then on; zero: never
	asks []time.Time
	same int // answered that nothing was modified
}

func newOther(t testing.TB) *otherSource {
	s := &otherSource{t: t}
	s.Server = httptest.NewServer(s)
	t.Cleanup(s.Close)
	return s
}

func (s *otherSource) asked(from, to time.Time) (n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, at := range s.asks {
		if !at.Before(from) && at.Before(to) {
			n++
		}
	}
	return n
}

func (s *otherSource) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	now, err := http.ParseTime(r.Header.Get("Date"))
	if err != nil || !strings.Contains(r.Header.Get("User-Agent"), "office@quay.example") {
		s.t.Errorf("asked by %q at %q", r.Header.Get("User-Agent"), r.Header.Get("Date"))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.asks = append(s.asks, now)
	if s.bar {
		w.WriteHeader(http.StatusForbidden)
		return
	}
	if !s.down.IsZero() && !now.Before(s.down) {
		w.WriteHeader(http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	if strings.HasPrefix(r.URL.Path, "/points/") {
		_, _ = fmt.Fprint(w, `{"properties":{"gridId":"QUA","gridX":7,"gridY":9}}`)
		return
	}
	modified := now.Truncate(2 * time.Hour).Format(http.TimeFormat)
	w.Header().Set("Last-Modified", modified)
	w.Header().Set("Expires", now.Add(20*time.Minute).Format(http.TimeFormat))
	if r.Header.Get("If-Modified-Since") == modified {
		s.same++
		w.WriteHeader(http.StatusNotModified)
		return
	}
	src, err := invented()
	if err != nil {
		s.t.Error(err)
		return
	}
	runs, err := src.Fetch(r.Context(), forecast.Ask{Endpoint: forecast.Deterministic, Cells: []forecast.Cell{{}}, Now: now.Truncate(2 * time.Hour)})
	if err != nil {
		s.t.Error(err)
		return
	}
	body := norwegian(runs[0].Hours, now)
	if strings.HasPrefix(r.URL.Path, "/gridpoints/") {
		body = american(runs[0].Hours, now)
	}
	if err := json.NewEncoder(w).Encode(body); err != nil {
		s.t.Error(err)
	}
}

type obj = map[string]any

// norwegian writes slots as Locationforecast: instants at the step, rain of the
// hour that follows.
func norwegian(h forecast.Hours, now time.Time) any {
	var steps []any
	for i := h.Slot(now); i < h.N; i++ {
		x := func(v forecast.Var) float64 { return float64(h.At(v, 0, i)) }
		steps = append(steps, obj{"time": h.Start.Add(time.Duration(i) * time.Hour).Format(time.RFC3339), "data": obj{
			"instant": obj{"details": obj{"air_temperature": x(forecast.Air), "dew_point_temperature": x(forecast.Dew),
				"relative_humidity": x(forecast.RH), "wind_speed": x(forecast.Wind), "wind_speed_of_gust": x(forecast.Gust),
				"cloud_area_fraction": 60}},
			"next_1_hours": obj{"details": obj{"precipitation_amount": x(forecast.Rain)}},
		}})
	}
	return obj{"type": "Feature", "geometry": obj{"type": "Point", "coordinates": []float64{-6.25, 53.35, 20}},
		"properties": obj{"meta": obj{"units": obj{"air_temperature": "celsius", "dew_point_temperature": "celsius",
			"relative_humidity": "%", "wind_speed": "m/s", "wind_speed_of_gust": "m/s", "cloud_area_fraction": "%", "precipitation_amount": "mm"}}, "timeseries": steps}}
}

// american writes slots as raw grid layers, an interval an hour.
func american(h forecast.Hours, now time.Time) any {
	layer := func(unit string, scale float64, v forecast.Var) any {
		var values []any
		for i := h.Slot(now); i < h.N; i++ {
			values = append(values, obj{"validTime": h.Start.Add(time.Duration(i)*time.Hour).Format("2006-01-02T15:04:05-07:00") + "/PT1H",
				"value": float64(h.At(v, 0, i)) * scale})
		}
		return obj{"uom": unit, "values": values}
	}
	return obj{"geometry": obj{"coordinates": [][][]float64{{{-6.3, 53.3}, {-6.2, 53.3}, {-6.2, 53.4}, {-6.3, 53.4}, {-6.3, 53.3}}}},
		"properties": obj{
			"updateTime": now.Truncate(2 * time.Hour).Format(time.RFC3339), "elevation": obj{"unitCode": "wmoUnit:m", "value": 20},
			"temperature": layer("wmoUnit:degC", 1, forecast.Air), "dewpoint": layer("wmoUnit:degC", 1, forecast.Dew),
			"relativeHumidity": layer("wmoUnit:percent", 1, forecast.RH), "windSpeed": layer("wmoUnit:km_h-1", 3.6, forecast.Wind),
			"windGust": layer("wmoUnit:km_h-1", 3.6, forecast.Gust), "skyCover": layer("wmoUnit:percent", 1, forecast.Cloud),
			"quantitativePrecipitation": layer("wmoUnit:mm", 1, forecast.Rain),
		}}
}
