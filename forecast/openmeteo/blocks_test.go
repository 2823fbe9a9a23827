package openmeteo

import (
	"math"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
)

// TestBlocksAreDrawn: beyond the hours that a model tells by the hour, equal
// hours are a block divided evenly, drawn anew for each member and the same at
// each fetch; before, they are rain of three hours.
func TestBlocksAreDrawn(t *testing.T) {
	drizzle := func(at time.Time, rows int) reply {
		r := calm(at, rows)
		var mm []any
		for i := range rows { // rows of 07:00, 08:00, 09:00 and of every third such block
			hour := at.Add(time.Duration(i-1)*time.Hour).Unix() / 3600
			mm = append(mm, []float64{0.4, 0, 0}[hour/3%3])
		}
		r.set("precipitation", mm...)
		for _, m := range source {
			r.set(m.name+"_member01", r.hourly()[m.name].([]any)...)
		}
		return r
	}
	blocks := func(model string, at time.Time) (forecast.Run, map[time.Time][2][3]float32) {
		runs, err := decode(drizzle(at, 73).json(t), ask{endpoint: forecast.Ensemble, model: model, cells: []forecast.Cell{cell}, from: at, now: at})
		if err != nil {
			t.Fatal(err)
		}
		run := runs[0]
		out := map[time.Time][2][3]float32{}
		for i := 0; i+3 <= run.Hours.N; i++ {
			from := run.Hours.Start.Add(time.Duration(i) * time.Hour)
			if from.Hour()%3 != 0 {
				continue
			}
			var b [2][3]float32
			for m := range b {
				for k := range b[m] {
					b[m][k] = run.Hours.At(forecast.Rain, m, i+k)
				}
				if sum := b[m][0] + b[m][1] + b[m][2]; math.Abs(float64(sum)-1.2) > 1e-5 && sum != 0 {
					t.Errorf("%s: the block at %s has %v mm", model, from, sum)
				}
			}
			if b[0][0]+b[0][1]+b[0][2] > 0 {
				out[from] = b
			}
		}
		return run, out
	}
	even := [3]float32{0.4, 0.4, 0.4}
	run, found := blocks("", six)
	if len(found) < 7 || !strings.Contains(strings.Join(run.Notes, ";"), "drawn") {
		t.Fatalf("%d blocks, notes %q", len(found), run.Notes)
	}
	apart := false
	for from, b := range found {
		if near := from.Before(six.Add(48 * time.Hour)); near != (b[0] == even) || near != (b[1] == even) {
			t.Errorf("the block at %s is %v", from, b)
		}
		apart = apart || b[0] != b[1]
	}
	if !apart {
		t.Error("all members have the same hours")
	}
	next, _ := blocks("", six.Add(3*time.Hour))
	for i := range next.Hours.N {
		at := next.Hours.Start.Add(time.Duration(i) * time.Hour)
		k := run.Hours.Slot(at)
		if k >= run.Hours.N || at.Before(six.Add(51*time.Hour)) {
			continue
		}
		if a, b := run.Hours.At(forecast.Rain, 1, k), next.Hours.At(forecast.Rain, 1, i); a != b {
			t.Errorf("rain at %s was %v and is %v three hours later", at, a, b)
		}
	}
	// A model of three-hour steps has blocks from the start on.
	if _, found := blocks("ecmwf_ifs025_ensemble", six); len(found) == 0 || found[six.Add(9*time.Hour)][0] == even && found[six.Add(18*time.Hour)][0] == even {
		t.Errorf("a model of three hours: %v", found)
	}
}
