package rules

import (
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
)

// fromSix gives a dull day whose members begin at six in the morning, and the
// deterministic run with the hours before: dry, or with rain from 21:00 on.
func fromSix(rain float32) forecast.Issue {
	s := fair(may4, 20).always(forecast.Solar, 20).always(forecast.Cloud, 100).always(forecast.Dew, 12).always(forecast.RH, 78)
	past := forecast.NewHours(s.hours.Start, 60, 1)
	ens := forecast.NewHours(s.hours.Start.Add(54*time.Hour), s.hours.N-54, 20)
	for v, col := range s.hours.Cols {
		if col == nil {
			continue
		}
		past.Cols[v] = append([]float32(nil), col[:past.N]...)
		for m := range ens.Members {
			ens.Cols[v] = append(ens.Cols[v], col[m*s.hours.N+54:(m+1)*s.hours.N]...)
		}
	}
	for i := 45; i < 54; i++ {
		past.Cols[forecast.Rain][i] = rain
	}
	return forecast.Issue{Det: run(forecast.Deterministic, past), Ens: run(forecast.Ensemble, ens)}
}

// TestOldDeckCarriesPastRain: the night's rain lies on a deck that stays, not
// on boards that come in the morning. Of a deck whose past nobody knows it is
// taken that it is wet.
func TestOldDeckCarriesPastRain(t *testing.T) {
	unknown := fromSix(0)
	unknown.Det = nil
	for _, c := range []struct {
		work job.Work
		deck job.Deck
		new  bool
	}{
		{job.Replace, job.NewBoard, true}, {job.Overboard, job.NewBoard, true}, {job.Overboard, job.Felt, true},
		{job.Replace, job.OldBoard, false}, {job.Relaminate, job.GRP, false}, {job.Balcony, job.Concrete, false},
	} {
		cs := roof(8, c.work, c.deck)
		for past, is := range map[string]forecast.Issue{"dry": fromSix(0), "wet": fromSix(2), "unknown": unknown} {
			g := NewGround(is, cs.Job.Site, SurfaceOf(cs.Job.Job), cs.Profile)
			day := g.Judge(cs, may4, time.Time{}, job.DefaultFirm().Bounds)
			sealed := c.new || past == "dry"
			if day.Members != 20 || (day.Starts[0].Sealed == 1) != sealed {
				t.Errorf("%s on %s, past %s: %d members, %+v", c.work, c.deck, past, day.Members, day.Starts[0])
			}
			if !sealed && (len(day.Failing) == 0 || day.Failing[0].Limit != LimitDry) {
				t.Errorf("%s on %s, past %s: failing %+v, want the wet deck", c.work, c.deck, past, day.Failing)
			}
		}
	}
}
