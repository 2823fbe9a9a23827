package physics

import "math"

// Deck is the state of a deck at the end of an hour.
type Deck struct {
	TempC   float64 // surface, °C
	WaterMM float64 // film of water, mm
}

// Weather is one hour over a site. NaN in any field makes unknown what hangs on
// it: all but rain and pressure the temperature, any of them the film.
type Weather struct {
	AirC        float64 // °C
	DewC        float64 // °C
	WindMs      float64 // at 10 m, m/s
	CloudPct    float64 // %
	SolarWm2    float64 // on the horizontal, mean of the hour, W/m²
	RainMM      float64 // in the hour, mm
	PressureHPa float64 // hPa
}

// Step carries a deck through one hour of weather: steady surface temperature,
// lagged by the deck's heat capacity, then the film of water on it. A previous
// temperature that is not known (NaN) is taken as the steady one; a film that
// is not known stays unknown.
func Step(s Surface, before Deck, w Weather) Deck {
	t := SurfaceTemp(s, w.AirC, w.DewC, w.WindMs, w.CloudPct, w.SolarWm2)
	if s.HeatCapacity > 0 && !math.IsNaN(before.TempC) {
		t = Lagged(before.TempC, t, TimeConstant(s, w.AirC, w.WindMs), 1)
	}
	hour := WaterHour{
		RainMM: w.RainMM, SurfaceC: t, AirC: w.AirC, DewC: w.DewC, WindMs: w.WindMs,
		Exposure: s.Exposure, PressureHPa: w.PressureHPa,
	}
	wetC := WetSurfaceTemp(s, w.AirC, w.DewC, w.WindMs, w.CloudPct, w.SolarWm2, w.PressureHPa)
	hour.NetRadWm2 = NetRadiation(s, wetC, w.AirC, w.DewC, w.CloudPct, w.SolarWm2)
	return Deck{TempC: t, WaterMM: WaterStep(before.WaterMM, hour)}
}
