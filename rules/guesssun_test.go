package rules

import (
	"math"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/rules/physics"
)

// TestNoRadiationTold: a source that tells none gets the sun's height and the
// cloud instead; without cloud nothing is known, and nothing is guessed for a
// gap in a column that is there.
func TestNoRadiationTold(t *testing.T) {
	without := func(vars ...forecast.Var) *handmade {
		s := fair(may4, 20)
		for _, v := range vars {
			s.hours.Cols[v] = nil
		}
		return s
	}
	day := without(forecast.Solar).judge(small())
	if !day.Known() || day.Members != 20 || day.Starts[0].Sealed != 1 {
		t.Errorf("no radiation: %d members, %+v", day.Members, day.Starts)
	}
	if day := without(forecast.Solar, forecast.Cloud).judge(small()); day.Known() {
		t.Errorf("neither radiation nor cloud: %+v", day)
	}
	if day := fair(may4, 20).always(forecast.Solar, forecast.Unknown()).hour(forecast.Solar, 0, 1, 0).judge(small()); day.Known() {
		t.Errorf("a column that knows one hour: %+v", day)
	}

	// The deck is that of a run which tells the same radiation.
	told := fair(may4, 1)
	site := small().Job.Site
	for i := range told.hours.N {
		from := told.hours.Start.Add(time.Duration(i) * time.Hour)
		told.hours.Cols[forecast.Solar][i] = float32(physics.UnderCloud(physics.ClearSky(site.Lat, site.Lon, from), 50))
	}
	blank := fair(may4, 1)
	blank.hours.Cols[forecast.Solar] = nil
	from := clock(may4, 0)
	a, b := told.ground(small()).HourTable(from, from.Add(20*time.Hour)), blank.ground(small()).HourTable(from, from.Add(20*time.Hour))
	warm := 0.0
	for i := range a {
		if math.Abs(a[i].Surface-b[i].Surface) > 0.01 {
			t.Errorf("hour %d: deck at %.2f °C by the sun told, %.2f °C by the sun guessed", i, a[i].Surface, b[i].Surface)
		}
		warm = max(warm, b[i].Surface-b[i].Air)
	}
	if warm < 5 {
		t.Errorf("a May day's sun warms the deck by %.1f K at most", warm)
	}

	// The past of one run and the hours ahead of another, each by its own columns.
	det := fair(may4, 1).always(forecast.Solar, 100)
	ens := without(forecast.Solar)
	ens.hours = later(ens.hours, 48)
	g := NewGround(forecast.Issue{Det: run(forecast.Deterministic, det.hours), Ens: run(forecast.Ensemble, ens.hours)}, site, SurfaceOf(small().Job.Job), small().Profile)
	if len(g.surface) == 0 || math.IsNaN(float64(g.surface[0])) || math.IsNaN(float64(g.surface[60])) {
		t.Error("the deck is not known")
	}
}

// later cuts the first hours off.
func later(h forecast.Hours, hours int) forecast.Hours {
	out := forecast.Hours{Start: h.Start.Add(time.Duration(hours) * time.Hour), N: h.N - hours, Members: h.Members}
	for v, col := range h.Cols {
		for m := range h.Members {
			if col != nil {
				out.Cols[v] = append(out.Cols[v], col[m*h.N+hours:(m+1)*h.N]...)
			}
		}
	}
	return out
}
