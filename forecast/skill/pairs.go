package skill

import (
	"time"

	"laycast/forecast"
)

// Pair is one hour of a forecast and what came of it, such as previous-runs
// archives give. Values that are not known are NaN.
type Pair struct {
	At   time.Time
	Lead int // hours

	Air, Dew, Wind, Rain             float64 // forecast: °C, °C, m/s, mm
	WasAir, WasDew, WasWind, WasRain float64
}

// UpdatePairs learns from pairs in order of time, at once: for a cell whose
// own record has only begun. They are errors of single runs, which stand in
// for those of an ensemble's centre, so each day of them counts half. The
// spread of the members is not told by them and stays what it was. Days up to
// Through count as known already and are left out.
func (s *Stats) UpdatePairs(pairs []Pair, lon float64) {
	const half = 0.5
	day := time.Time{}
	known := s.Through
	for _, p := range pairs {
		if !p.At.After(known) || p.Lead < 0 {
			continue
		}
		d := leadDay(p.Lead)
		if begin := p.At.UTC().Truncate(dayHours * time.Hour); begin.After(day) {
			s.age()
			day, s.Days, s.Through = begin, s.Days+1, begin.Add(dayHours*time.Hour)
		}
		forecasts := [NMeasures]float64{p.Air, depressionScale(p.Air - p.Dew), windScale(p.Wind)}
		outcomes := [NMeasures]float64{p.WasAir, depressionScale(p.WasAir - p.WasDew), windScale(p.WasWind)}
		for v, c := range forecasts {
			if was := outcomes[v]; c == c && was == was {
				m := s.moments(d, Measure(v), partOf(p.At, lon), p.WasRain >= wetLeast)
				days := m.SpreadDays
				m.add(c, was, m.Spread, half*dayParts/dayHours)
				m.SpreadDays = days
			}
		}
	}
}

// PairsOf makes pairs of past hours as they were forecast so many days before:
// leads[n] is what was told n days (24·n h) before, leads[0] the last that was,
// which stands for what came. All have the same slots and one member. Hours of which
// no measure has both are left out; the rest are in order of time.
func PairsOf(leads []forecast.Hours) []Pair {
	if len(leads) < 2 {
		return nil
	}
	var out []Pair
	was := &leads[0]
	at := func(h *forecast.Hours, v forecast.Var, i int) float64 { return float64(h.At(v, 0, i)) }
	both := func(x, y float64) bool { return x == x && y == y }
	for i := range was.N {
		for n := 1; n < len(leads); n++ {
			h := &leads[n]
			p := Pair{
				At: was.Start.Add(time.Duration(i) * time.Hour), Lead: dayHours * n,
				Air: at(h, forecast.Air, i), Dew: at(h, forecast.Dew, i), Wind: at(h, forecast.Wind, i), Rain: at(h, forecast.Rain, i),
				WasAir: at(was, forecast.Air, i), WasDew: at(was, forecast.Dew, i), WasWind: at(was, forecast.Wind, i), WasRain: at(was, forecast.Rain, i),
			}
			if both(p.Air, p.WasAir) || both(p.Wind, p.WasWind) {
				out = append(out, p)
			}
		}
	}
	return out
}
