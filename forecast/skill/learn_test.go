package skill

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"laycast/forecast"
)

// said is an issue whose members say the same in every hour.
func said(start time.Time, members int, air, dew, wind, rain float32) forecast.Issue {
	h := forecast.NewHours(start, 240, members, forecast.Air, forecast.Dew, forecast.Wind, forecast.Rain)
	for i := range h.Cols[forecast.Air] {
		wiggle := float32(i/h.N%2)*2 - 1
		h.Cols[forecast.Air][i], h.Cols[forecast.Dew][i] = air+wiggle, dew+wiggle
		h.Cols[forecast.Wind][i], h.Cols[forecast.Rain][i] = wind, rain
	}
	return forecast.Issue{Ens: &forecast.Run{Source: "by hand", Endpoint: forecast.Ensemble, Hours: h}}
}

// live has a learner live through so many days, each 3 K warmer than was said
// and wet in every fourth hour though no member is.
func live(days int) *Learner {
	l := NewLearner(0)
	for k := range days {
		day := start.Truncate(dayHours*time.Hour).AddDate(0, 0, k)
		rows := said(day.AddDate(0, 0, -1), 1, 19, 10, 4, 0).Ens.Hours // one member: 1 K off its middle, 18 °C
		for i := range rows.N {
			if i%4 == 0 {
				rows.Cols[forecast.Rain][i] = 1
			}
		}
		l.Past(rows, day.AddDate(0, 0, -1))
		l.Evening(said(day.Add(18*time.Hour), 20, 15, 7, 4, 0))
	}
	return l
}

func TestRecordOutweighsThePrior(t *testing.T) {
	near := func(what string, got, want, within float64) {
		t.Helper()
		if !(math.Abs(got-want) <= within) {
			t.Errorf("%s: %.4f, want %.4f", what, got, want)
		}
	}
	prior := Prior()
	p := &prior.Lead[0][Air][1]
	near("the prior's error of the air", math.Sqrt(p.DD), 1.85, 1e-9)
	for _, c := range []struct {
		days                int
		error, errorAllowed float64
	}{{32, 3 * 0.56, 0.1}, {300, 3, 0.1}} {
		s := &live(c.days).Stats
		m := &s.Lead[0][Air][1]
		near("correction of the air, K", m.Error, c.error, c.errorAllowed)
		if c.days == 300 {
			near("what is left of the error, K", math.Sqrt(m.DD), 0, 0.45)
			near("spread of the members, K²", m.Spread, 20.0/19, 0.01)
			near("chance of rain where no member has any", s.chanceOfRain(20, 0), 0.25, 0.02)
			near("wet depression is kept apart", s.Damp[0][1].Weight/(s.Damp[0][1].Weight+s.Lead[0][Depression][1].Weight), 1.0/6, 0.01)
		}
	}
}

func TestADayIsLearnedFromOnce(t *testing.T) {
	l := live(5)
	was := l.Stats
	day := start.Truncate(dayHours*time.Hour).AddDate(0, 0, 3)
	if rows := said(day, 1, 30, 0, 9, 5).Ens.Hours; l.Past(rows, day) || l.Stats != was {
		t.Error("a day that was learned from changed the statistics again")
	}
	next := day.AddDate(0, 0, 1)
	holes := said(next, 1, 19, 10, 4, 0).Ens.Hours
	for i := range 5 {
		holes.Cols[forecast.Rain][3*i] = forecast.Unknown()
	}
	if l.Past(holes, next) || l.Stats != was {
		t.Error("a day with holes was learned from")
	}
	b, err := json.Marshal(l.Stats)
	if err != nil {
		t.Fatal(err)
	}
	var back Stats
	if err := json.Unmarshal(b, &back); err != nil || back != was {
		t.Errorf("the statistics do not come back from JSON: %v", err)
	}
	t.Logf("%d bytes of JSON", len(b))
}

func TestPairsOfAnArchiveTeachAtOnce(t *testing.T) {
	s := Prior()
	var ps []Pair
	for h := range 90 * dayHours {
		at := start.Truncate(dayHours * time.Hour).Add(hoursOf(h))
		ps = append(ps, Pair{At: at, Lead: 30, Air: 10, Dew: 5, Wind: 9, WasAir: 8, WasDew: 3, WasWind: 9, WasRain: math.NaN()})
	}
	s.UpdatePairs(ps, 0)
	m := &s.Lead[1][Air][2]
	if s.Days != 90 || math.Abs(m.Error+2) > 0.9 || m.Error > -1 || m.SpreadDays != 0 {
		t.Errorf("%d days, the air is corrected by %.2f K, spread of %.1f days", s.Days, m.Error, m.SpreadDays)
	}
	if other := s.Lead[0][Air][2]; other.Error != 0 {
		t.Errorf("another lead learned %.2f K", other.Error)
	}
	was := s
	if s.UpdatePairs(ps, 0); s != was {
		t.Error("pairs were learned from twice")
	}
}

// A member that is too far from the others is drawn in, one that is too near is
// pushed out: the spread of the dressed members is that of the errors.
func TestDressedSpreadIsThatOfTheErrors(t *testing.T) {
	for _, c := range []struct{ wiggle, error float64 }{{0.2, 2}, {4, 1}} {
		is := said(start, 20, 15, 7, 4, 0)
		for i := range is.Ens.Hours.Cols[forecast.Air] {
			x := &is.Ens.Hours.Cols[forecast.Air][i]
			*x = 15 + (*x-15)*float32(c.wiggle)
		}
		s := Prior()
		for d := range s.Lead {
			for p := range s.Lead[d][Air] {
				s.Lead[d][Air][p].DD, s.Lead[d][Air][p].Error = c.error*c.error, 1
			}
		}
		h := Dress(is, &s).Ens.Hours
		var sum, square float64
		for _, x := range h.Cols[forecast.Air] {
			sum += float64(x)
			square += float64(x) * float64(x)
		}
		n := float64(len(h.Cols[forecast.Air]))
		mean, sd := sum/n, math.Sqrt(square/n-sum*sum/n/n)
		if math.Abs(mean-16) > 0.1 || math.Abs(sd/c.error-1) > 0.06 {
			t.Errorf("members %.1f K apart, errors of %.1f K: dressed to mean %.2f, sd %.2f", c.wiggle, c.error, mean, sd)
		}
	}
}
