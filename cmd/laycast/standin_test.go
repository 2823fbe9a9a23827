package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/replay"
)

// fault is a way in which the stand-in source misbehaves.
type fault string

const (
	well      fault = ""
	badPage   fault = "502 with a page"
	errorBody fault = "200 with an error for a body"
	htmlBody  fault = "200 with a page"
	cutBody   fault = "cut in the middle"
	nullTail  fault = "nulls from this evening on"
	oldHours  fault = "an answer from two days ago"
	stuckRun  fault = "the same model run for ever" // the hours move on, their content does not
)

// standIn is a forecast source over real HTTP that speaks the open API's JSON.
// Its weather is an invented year (forecast/replay) made mild, so that roofs
// are laid in every month. The Date header of a request is its clock.
type standIn struct {
	*httptest.Server
	mu     sync.Mutex
	fault  func(now time.Time) fault
	onHit  func(n int) // told each request, before it is answered
	hits   int
	bodies map[string]json.RawMessage // hours by endpoint, time and fault: all places get the same
	frozen time.Time                  // when stuckRun's model run was made
	clock  func() time.Time           // for requests without a Date; nil: the machine's
}

// invented is the stand-in's weather: shared, and safe for concurrent use.
var invented = sync.OnceValues(func() (*replay.Source, error) {
	rec := replay.Invent(11, 53.35, -6.26, 2027)
	for i := range rec.Rows {
		r := &rec.Rows[i]
		// mild winters, cool summers, mostly dry, with showers left in
		warm := 4.5 + 4.5*math.Cos(2*math.Pi*float64(r.At.YearDay()-20)/365)
		r.Air, r.Dew = r.Air+warm, r.Dew+warm-3
		if r.Rain < 0.6 {
			r.Rain = 0
		}
		r.Wind, r.Gust = r.Wind*0.6, r.Gust*0.6
	}
	return replay.New(rec, replay.Options{Seed: 11})
})

func newStandIn(t testing.TB) *standIn {
	t.Helper()
	if _, err := invented(); err != nil {
		t.Fatal(err)
	}
	s := &standIn{bodies: map[string]json.RawMessage{}}
	s.Server = httptest.NewServer(s)
	t.Cleanup(s.Close)
	return s
}

// between makes the source misbehave from one time to another.
func (s *standIn) between(f fault, from, to time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.fault = func(now time.Time) fault {
		if now.Before(from) || !now.Before(to) {
			return well
		}
		return f
	}
}

// always makes the source misbehave.
func (s *standIn) always(f fault) {
	s.between(f, time.Time{}, time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC))
}

func (s *standIn) asked() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.hits
}

func (s *standIn) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	now, err := http.ParseTime(r.Header.Get("Date"))
	if err != nil {
		now = time.Now() // a live firm's requests bear none
	}
	s.mu.Lock()
	if err != nil && s.clock != nil {
		now = s.clock()
	}
	s.hits++
	f := well
	if s.fault != nil {
		f = s.fault(now)
	}
	hit, n := s.onHit, s.hits
	s.mu.Unlock()
	if hit != nil {
		hit(n)
	}
	page := "<!doctype html><title>Bad gateway</title><p>temperature_2m: 21.0"
	switch f {
	case badPage:
		w.WriteHeader(http.StatusBadGateway)
		_, _ = io.WriteString(w, page)
		return
	case htmlBody:
		_, _ = io.WriteString(w, page)
		return
	case errorBody:
		_, _ = io.WriteString(w, `{"error":true,"reason":"Data corrupted at path ''."}`)
		return
	}
	body, err := s.answer(r, now, f)
	if err != nil {
		http.Error(w, err.Error(), http.StatusBadRequest)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	if f == cutBody {
		body = body[:len(body)*2/3]
	}
	_, _ = w.Write(body)
}

// answer gives the JSON for all places asked for.
func (s *standIn) answer(r *http.Request, now time.Time, f fault) ([]byte, error) {
	q := r.URL.Query()
	lats, lons := strings.Split(q.Get("latitude"), ","), strings.Split(q.Get("longitude"), ",")
	ep := forecast.Deterministic
	if r.URL.Path == "/v1/ensemble" {
		ep = forecast.Ensemble
	}
	hours, units, err := s.hours(r, ep, now, f)
	if err != nil {
		return nil, err
	}
	type place map[string]any
	var all []place
	for i := range lats {
		lat, err1 := strconv.ParseFloat(lats[i], 64)
		lon, err2 := strconv.ParseFloat(lons[i], 64)
		if err1 != nil || err2 != nil {
			return nil, fmt.Errorf("place %d is no place", i)
		}
		p := place{"latitude": lat + 0.01, "longitude": lon - 0.01, "elevation": 20.0, "utc_offset_seconds": 0,
			"timezone": "GMT", "hourly_units": units, "hourly": hours}
		if i > 0 {
			p["location_id"] = i
		}
		all = append(all, p)
	}
	if len(all) == 1 {
		return json.Marshal(all[0])
	}
	return json.Marshal(all)
}

// names are how the open API calls what it gives, and in what.
var names = map[string]struct {
	v      forecast.Var
	unit   string
	before bool // of the hour before the stamp
}{
	"temperature_2m": {forecast.Air, "°C", false}, "dew_point_2m": {forecast.Dew, "°C", false},
	"relative_humidity_2m": {forecast.RH, "%", false}, "precipitation": {forecast.Rain, "mm", true},
	"wind_speed_10m": {forecast.Wind, "m/s", false}, "wind_gusts_10m": {forecast.Gust, "m/s", true},
	"cloud_cover": {forecast.Cloud, "%", false}, "shortwave_radiation": {forecast.Solar, "W/m²", true},
}

// hours gives the columns of an answer and their units.
func (s *standIn) hours(r *http.Request, ep forecast.Endpoint, now time.Time, f fault) (hours, units json.RawMessage, err error) {
	key := fmt.Sprint(ep, " ", now.Truncate(time.Hour).Unix(), " ", f)
	s.mu.Lock()
	defer s.mu.Unlock()
	if h, ok := s.bodies[key]; ok {
		return h, s.bodies[key+" units"], nil
	}
	src, err := invented()
	if err != nil {
		return nil, nil, err
	}
	made := now
	switch f {
	case oldHours:
		made = now.Add(-48 * time.Hour)
	case stuckRun:
		made = s.frozen
	}
	runs, err := src.Fetch(r.Context(), forecast.Ask{Endpoint: ep, Cells: []forecast.Cell{{}}, Now: made})
	if err != nil {
		return nil, nil, err
	}
	shift := 0
	if f == stuckRun {
		shift = int(now.Truncate(time.Hour).Sub(made.Truncate(time.Hour)) / time.Hour)
	}
	cols, u := columns(runs[0].Hours, strings.Split(r.URL.Query().Get("hourly"), ","), shift)
	if f == nullTail {
		cut := int(now.Truncate(24*time.Hour).Add(20*time.Hour).Sub(runs[0].Hours.Start) / time.Hour)
		for k, col := range cols {
			if k != "time" {
				for i := max(cut, 0); i < len(col); i++ {
					col[i] = nil
				}
			}
		}
	}
	if s.bodies[key], err = json.Marshal(cols); err != nil {
		return nil, nil, err
	}
	if s.bodies[key+" units"], err = json.Marshal(u); err != nil {
		return nil, nil, err
	}
	return s.bodies[key], s.bodies[key+" units"], nil
}

// columns writes slots as rows: n slots make n+1 stamps. Rows before `shift`
// are left out, as many rows of nulls stand at the end instead.
func columns(h forecast.Hours, want []string, shift int) (map[string][]any, map[string]string) {
	n := h.N + 1
	cols, units := map[string][]any{"time": make([]any, n)}, map[string]string{"time": "unixtime"}
	for i := range n {
		cols["time"][i] = h.Start.Add(time.Duration(i+shift) * time.Hour).Unix()
	}
	for _, name := range want {
		spec, ok := names[name]
		if !ok {
			continue
		}
		for m := range h.Members {
			key := name
			if m > 0 {
				key += fmt.Sprintf("_member%02d", m)
			}
			col := make([]any, n)
			for i := range n {
				slot := min(i+shift, h.N-1)
				if spec.before {
					slot = max(i+shift-1, 0)
				}
				if x := float64(h.At(spec.v, m, slot)); i+shift < n && !math.IsNaN(x) {
					col[i] = math.Round(x*100) / 100
				}
			}
			cols[key], units[key] = col, spec.unit
		}
	}
	return cols, units
}
