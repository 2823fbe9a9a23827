package replay

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"laycast/forecast"
)

var (
	evening  = time.Date(2027, 4, 13, 21, 17, 5, 0, time.UTC)
	twoCells = []forecast.Cell{forecast.CellOf(44.65, -63.58, 40), forecast.CellOf(44.7, -63.7, 90)}
)

// newSource makes a source or fails the test.
func newSource(t *testing.T, rec Record, opt Options) *Source {
	t.Helper()
	s, err := New(rec, opt)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// fetch gives the run of the first cell.
func fetch(t *testing.T, s *Source, ep forecast.Endpoint, now time.Time) forecast.Run {
	t.Helper()
	runs, err := s.Fetch(context.Background(), forecast.Ask{Endpoint: ep, Cells: twoCells, Now: now})
	if err != nil {
		t.Fatal(err)
	}
	if len(runs) != len(twoCells) {
		t.Fatalf("%d runs for %d cells", len(runs), len(twoCells))
	}
	return runs[0]
}

func TestFetchShape(t *testing.T) {
	s := newSource(t, inventedYear(1), Options{Seed: 1})
	det, ens := fetch(t, s, forecast.Deterministic, evening), fetch(t, s, forecast.Ensemble, evening)
	hour := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
	if !det.Hours.Start.Equal(hour.Add(-48*time.Hour)) || det.Hours.N != 288 || det.Hours.Members != 1 {
		t.Errorf("deterministic: start %s, %d slots, %d members", det.Hours.Start, det.Hours.N, det.Hours.Members)
	}
	if !ens.Hours.Start.Equal(hour) || ens.Hours.N != 168 || ens.Hours.Members != 19 {
		t.Errorf("ensemble: start %s, %d slots, %d members", ens.Hours.Start, ens.Hours.N, ens.Hours.Members)
	}
	for _, r := range []forecast.Run{det, ens} {
		if r.Source != "replay" || r.Model != "replay" || r.Cell != twoCells[0] || !r.ModelRun.Equal(hour) {
			t.Errorf("%s: source %q, model %q, cell %s, run %s", r.Endpoint, r.Source, r.Model, r.Cell, r.ModelRun)
		}
		if r.Digest == "" || r.Digest != forecast.Digest(r.Hours) {
			t.Errorf("%s: digest %q is not that of the hours", r.Endpoint, r.Digest)
		}
	}
	soundHours(t, ens.Hours)
	soundHours(t, det.Hours)
	if forecast.Known(det.Hours.At(forecast.RainChance, 0, 47)) || !forecast.Known(det.Hours.At(forecast.RainChance, 0, 48)) {
		t.Error("the chance of rain must be told ahead, and of no hour past")
	}
	if s.RunTime(evening.Add(2*time.Hour)) != hour || s.RunTime(evening.Add(3*time.Hour)) != hour.Add(3*time.Hour) {
		t.Error("model runs do not start each three hours")
	}
}

// soundHours checks every value against what weather can be.
func soundHours(t *testing.T, h forecast.Hours) {
	t.Helper()
	for m := range h.Members {
		for i := range h.N {
			get := func(v forecast.Var) float64 { return float64(h.At(v, m, i)) }
			air, dew, rh := get(forecast.Air), get(forecast.Dew), get(forecast.RH)
			ok := dew <= air+1e-6 && rh > 5 && rh <= 100 && air > -35 && air < 40 &&
				get(forecast.Rain) >= 0 && get(forecast.Wind) >= 0 && get(forecast.Gust) >= get(forecast.Wind) &&
				get(forecast.Cloud) >= 0 && get(forecast.Cloud) <= 100 &&
				get(forecast.Solar) >= 0 && get(forecast.Solar) < 1100
			if !ok {
				t.Fatalf("member %d, slot %d is no weather: air %g, dew %g, rh %g", m, i, air, dew, rh)
			}
		}
	}
}

func TestFetchRefuses(t *testing.T) {
	s := newSource(t, inventedYear(1), Options{})
	if _, err := s.Fetch(context.Background(), forecast.Ask{Endpoint: "seasonal", Cells: twoCells, Now: evening}); err == nil {
		t.Error("an unknown endpoint was answered")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := s.Fetch(ctx, forecast.Ask{Endpoint: forecast.Ensemble, Cells: twoCells, Now: evening}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled fetch gave %v", err)
	}
}

func TestNewRefuses(t *testing.T) {
	year := inventedYear(1)
	calm := Record{Rows: append([]Row(nil), year.Rows...)}
	for i := range calm.Rows {
		calm.Rows[i].Wind = math.NaN()
	}
	tests := map[string]struct {
		rec  Record
		opt  Options
		want string
	}{
		"nothing":      {Record{}, Options{}, "60 %"},
		"half a year":  {Record{Rows: year.Rows[:4380]}, Options{}, "60 %"},
		"no wind":      {calm, Options{}, "wind"},
		"members":      {year, Options{Members: -1}, "members"},
		"spread":       {year, Options{Spread: math.NaN()}, "spread"},
		"scale":        {year, Options{Scale: 9}, "scale"},
		"run too rare": {year, Options{RunEvery: 48}, "every"},
	}
	for name, tt := range tests {
		if _, err := New(tt.rec, tt.opt); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want one that says %q", name, err, tt.want)
		}
	}
}

func TestSameRunSameContent(t *testing.T) {
	rec := inventedYear(1)
	for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
		a, b := newSource(t, rec, Options{Seed: 5}), newSource(t, rec, Options{Seed: 5})
		first := fetch(t, a, ep, evening)
		for k := 1; k <= 6; k++ { // b comes to it by another way, and after later runs
			fetch(t, b, ep, evening.Add(time.Duration(7-k)*24*time.Hour))
		}
		if got := fetch(t, b, ep, evening.Add(40*time.Minute)); got.Digest != first.Digest {
			t.Errorf("%s: another source of the same seed gives other content", ep)
		}
		later := fetch(t, a, ep, evening.Add(2*time.Hour))
		if !later.ModelRun.Equal(first.ModelRun) || forecast.SharedDiffers(first.Hours, later.Hours) {
			t.Errorf("%s: hours shared by two fetches of one run differ", ep)
		}
		next := fetch(t, a, ep, evening.Add(3*time.Hour))
		if !forecast.SharedDiffers(first.Hours, next.Hours) {
			t.Errorf("%s: a new run brings nothing new", ep)
		}
	}
}

func TestSeedsAndPlacesErrApart(t *testing.T) {
	rec := inventedYear(1)
	seen := map[string]Options{}
	for _, opt := range []Options{{Seed: 1}, {Seed: 2}, {Seed: 1, ID: "north"}, {Seed: 1, Scale: 1.3}, {Seed: 1, Spread: 0.5}} {
		d := fetch(t, newSource(t, rec, opt), forecast.Ensemble, evening).Digest
		if other, ok := seen[d]; ok {
			t.Errorf("%+v and %+v give the same content", opt, other)
		}
		seen[d] = opt
	}
}

func TestCellsShareErrorsNotColumns(t *testing.T) {
	s := newSource(t, inventedYear(1), Options{})
	runs, err := s.Fetch(context.Background(), forecast.Ask{Endpoint: forecast.Ensemble, Cells: twoCells, Now: evening})
	if err != nil {
		t.Fatal(err)
	}
	if runs[0].Digest != runs[1].Digest || runs[1].Cell != twoCells[1] {
		t.Error("two cells of one station have different weather")
	}
	runs[0].Hours.Cols[forecast.Air][0] = 99
	if runs[1].Hours.Cols[forecast.Air][0] == 99 {
		t.Error("two cells share a column")
	}
}

// One wet hour, stamped 12:00, fell between 11 and 12.
func TestRainFallsInItsSlot(t *testing.T) {
	rec := inventedYear(1)
	noon := time.Date(2027, 6, 10, 12, 0, 0, 0, time.UTC)
	for i := range rec.Rows {
		r := &rec.Rows[i]
		if d := r.At.Sub(noon); d > -40*time.Hour && d < 40*time.Hour {
			r.Rain, r.Air, r.Gust, r.Pressure = 0, 10, 5, 1000
		}
		if r.At.Equal(noon) {
			r.Rain, r.Air, r.Gust, r.Pressure = 2.4, 16, 20, 1008
		}
	}
	s := newSource(t, rec, Options{})
	det := fetch(t, s, forecast.Deterministic, noon.Add(30*time.Hour)).Hours
	truth := s.Truth(noon.Add(-24*time.Hour), 48)
	for _, h := range []forecast.Hours{det, truth} {
		at := h.Slot(noon.Add(-time.Hour))
		for k, want := range map[int][4]float32{-2: {0, 10, 5, 1000}, -1: {0, 10, 5, 1000}, 0: {2.4, 13, 20, 1004}, 1: {0, 13, 20, 1004}, 2: {0, 10, 5, 1000}} {
			got := [4]float32{h.At(forecast.Rain, 0, at+k), h.At(forecast.Air, 0, at+k), h.At(forecast.Gust, 0, at+k), h.At(forecast.Pressure, 0, at+k)}
			if got != want {
				t.Errorf("slot of 11:00 %+d h: rain, air, gust, pressure %v, want %v", k, got, want)
			}
		}
	}
}

func TestAnyYearIsTheRecords(t *testing.T) {
	s := newSource(t, inventedYear(1), Options{})
	at := func(y int, m time.Month, d int) forecast.Hours {
		return s.Truth(time.Date(y, m, d, 6, 0, 0, 0, time.UTC), 12)
	}
	same := func(a, b forecast.Hours) bool {
		for i := range a.N {
			if a.At(forecast.Air, 0, i) != b.At(forecast.Air, 0, i) || a.At(forecast.Rain, 0, i) != b.At(forecast.Rain, 0, i) {
				return false
			}
		}
		return true
	}
	if !same(at(2027, 8, 3), at(2031, 8, 3)) || !same(at(2027, 12, 30), at(2028, 12, 30)) {
		t.Error("two years have different weather on the same day")
	}
	if !same(at(2028, 2, 29), at(2028, 2, 28)) || same(at(2028, 3, 1), at(2028, 2, 28)) {
		t.Error("29 February is not the 28th again")
	}
	a := fetch(t, s, forecast.Ensemble, evening)
	b := fetch(t, s, forecast.Ensemble, evening.AddDate(1, 0, 0))
	b.Hours.Start = a.Hours.Start
	if !forecast.SharedDiffers(a.Hours, b.Hours) {
		t.Error("two years have the same errors")
	}
}

func TestGapsStayUnknown(t *testing.T) {
	rec := inventedYear(1)
	rec.Lat, rec.Lon = 0, 0
	gap := time.Date(2027, 4, 13, 6, 0, 0, 0, time.UTC)
	for i := range rec.Rows {
		r := &rec.Rows[i]
		r.Gust, r.Solar, r.Pressure = math.NaN(), math.NaN(), math.NaN()
		if r.At.Equal(gap) {
			r.Air, r.Rain, r.Wind = math.NaN(), math.NaN(), math.NaN()
		}
	}
	s := newSource(t, rec, Options{})
	h := fetch(t, s, forecast.Deterministic, evening).Hours
	i := h.Slot(gap)
	if forecast.Known(h.At(forecast.Air, 0, i)) || forecast.Known(h.At(forecast.Air, 0, i-1)) || forecast.Known(h.At(forecast.Wind, 0, i)) {
		t.Error("a slot with a missing reading has a value")
	}
	if forecast.Known(h.At(forecast.Rain, 0, i-1)) || !forecast.Known(h.At(forecast.Rain, 0, i)) {
		t.Error("the rain of the hour before a missing row must be unknown, and only that")
	}
	if h.Cols[forecast.Solar] != nil || h.Cols[forecast.Pressure] != nil {
		t.Error("radiation without a place, or pressure without a reading, was made up")
	}
	if wind, gust := h.At(forecast.Wind, 0, 0), h.At(forecast.Gust, 0, 0); !(gust > wind) {
		t.Errorf("gust %g is not estimated from wind %g", gust, wind)
	}
}

// A wet member is cloudy, dim and damp, whatever the truth is.
func TestMembersAreOfOnePiece(t *testing.T) {
	s := newSource(t, inventedYear(1), Options{Seed: 3})
	var n, cloud, dep, bright [2]float64
	for day := range 60 {
		h := fetch(t, s, forecast.Ensemble, time.Date(2027, 5, 1+2*day, 21, 0, 0, 0, time.UTC)).Hours
		for m := range h.Members {
			for i := range h.N {
				if h.Start.Add(time.Duration(i)*time.Hour).Hour() != 16 { // noon there
					continue
				}
				wet := 0
				if h.At(forecast.Rain, m, i) >= wetLeast {
					wet = 1
				}
				n[wet]++
				cloud[wet] += float64(h.At(forecast.Cloud, m, i))
				dep[wet] += float64(h.At(forecast.Air, m, i) - h.At(forecast.Dew, m, i))
				bright[wet] += float64(h.At(forecast.Solar, m, i))
			}
		}
	}
	for w := range n {
		cloud[w], dep[w], bright[w] = cloud[w]/n[w], dep[w]/n[w], bright[w]/n[w]
	}
	t.Logf("noon, dry and wet: cloud %.0f, depression %.1f, radiation %.0f", cloud, dep, bright)
	if cloud[1] < 80 || cloud[0] > cloud[1]-10 || dep[1] > 0.5*dep[0] || bright[1] > 0.6*bright[0] {
		t.Errorf("noon, dry and wet: cloud %.0f %%, depression %.1f K, radiation %.0f W/m²", cloud, dep, bright)
	}
}

// Ahead, radiation is made from raininess; on the whole it must be the record's.
func TestRadiationAheadIsTheRecords(t *testing.T) {
	s := newSource(t, inventedYear(1), Options{Seed: 3})
	var made, truth float64
	for day := 0; day < 360; day += 5 {
		h := fetch(t, s, forecast.Ensemble, time.Date(2027, 1, 1+day, 0, 0, 0, 0, time.UTC)).Hours
		o := s.Truth(h.Start, h.N)
		for i := 1; i < h.N; i++ {
			truth += float64(o.At(forecast.Solar, 0, i))
			for m := range h.Members {
				made += float64(h.At(forecast.Solar, m, i)) / float64(h.Members)
			}
		}
	}
	if r := made / truth; r < 0.95 || r > 1.05 {
		t.Errorf("members have %.3f of the record's radiation", r)
	}
}

func TestFetchFromManySides(t *testing.T) {
	s := newSource(t, inventedYear(1), Options{})
	want := fetch(t, s, forecast.Ensemble, evening).Digest
	var group sync.WaitGroup
	for k := range 8 {
		group.Go(func() {
			now := evening.AddDate(0, 0, k%3)
			runs, err := s.Fetch(context.Background(), forecast.Ask{Endpoint: forecast.Ensemble, Cells: twoCells, Now: now})
			if err != nil {
				t.Error(err)
			} else if k%3 == 0 && runs[0].Digest != want {
				t.Error("a fetch among others gives other content")
			}
		})
	}
	group.Wait()
}

func TestSunAgainstKnownHeights(t *testing.T) {
	// At solar noon of an equinox the sun stands at 90° minus latitude, at the
	// solstices 23.44° higher or lower: plain geometry. On 4 November solar
	// noon is 16.4 minutes early, on 11 February 14.2 late (from memory).
	noon := func(m time.Month, d int) (height float64, minute int) {
		for k := range 60 {
			at := time.Date(2027, m, d, 11, 30+k, 0, 0, time.UTC)
			if h := math.Asin(sunSine(at, 45, 0)) / rad; h > height {
				height, minute = h, k-30
			}
		}
		return height, minute
	}
	for _, tt := range []struct {
		month  time.Month
		day    int
		height float64
	}{{3, 20, 45}, {6, 21, 68.44}, {9, 23, 45}, {12, 22, 21.56}} {
		if got, _ := noon(tt.month, tt.day); math.Abs(got-tt.height) > 0.3 {
			t.Errorf("%d %s: the sun stands at %.2f° at noon, want %.2f", tt.day, tt.month, got, tt.height)
		}
	}
	for _, tt := range []struct {
		month  time.Month
		day    int
		minute int
	}{{11, 4, -16}, {2, 11, 14}} {
		if _, got := noon(tt.month, tt.day); got < tt.minute-1 || got > tt.minute+1 {
			t.Errorf("%d %s: solar noon is %d minutes after twelve, want %d", tt.day, tt.month, got, tt.minute)
		}
	}
}
