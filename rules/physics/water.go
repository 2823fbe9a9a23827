package physics

// FilmCap is the water in mm that stays on a flat board; more runs off. Common
// practice, no source (C).
const FilmCap = 1.0

// WaterHour is what one hour does to the water on a deck. NaN in a field that
// the hour needs makes the film unknown.
type WaterHour struct {
	RainMM      float64 // rain in the hour, mm
	SurfaceC    float64 // deck surface as if dry, °C
	AirC        float64 // °C
	DewC        float64 // °C
	WindMs      float64 // wind at 10 m, m/s
	Exposure    float64 // as Surface.Exposure; 0 means 1
	NetRadWm2   float64 // net radiation of the wet surface, W/m²
	PressureHPa float64 // hPa; StandardPressure will do
	CapMM       float64 // most water that stays; 0 means FilmCap
}

// WaterStep gives the film of water on the deck in mm after one hour that
// began with mm: dew in where the surface lies under the dew point, else drying
// out (Penman without crop resistance, times 0.6), then rain in, then what is
// above the cap runs off. Rain is taken to fall at the end of its hour, so an
// hour with rain never ends dry. A film that is not known (NaN) stays so: begin
// again from a full film, the careful guess.
//
// No measurement of the drying of a board deck was found to check this against;
// 1 mm of film is 1 kg/m².
func WaterStep(mm float64, w WaterHour) float64 {
	limit := w.CapMM
	if limit == 0 {
		limit = FilmCap
	}
	mm = max(mm+w.exchange(), 0)
	return min(mm+max(w.RainMM, 0), limit)
}

// exchange gives dew (above 0) or drying (below 0) in mm in the hour.
func (w WaterHour) exchange() float64 {
	if w.SurfaceC < w.DewC {
		return Condensation(w.SurfaceC, w.AirC, w.DewC, w.WindMs, w.Exposure, w.PressureHPa)
	}
	exposure := w.Exposure
	if exposure == 0 {
		exposure = 1
	}
	penman := Drying(EvapInput{
		AirC:        w.AirC,
		VapourKPa:   SatPressureTetens(w.DewC),
		Wind2Ms:     WindAt2m(w.WindMs * exposure),
		NetRadMJ:    w.NetRadWm2 * secondsPerHour / 1e6,
		PressureHPa: w.PressureHPa,
	})
	// A cold slab gives off no more than its own temperature allows, whatever
	// sun and air would do to a thin board.
	most := DryingFactor * transfer(w.SurfaceC, w.DewC, Convection(w.WindMs, w.Exposure), w.PressureHPa)
	return -min(penman, most)
}

// transfer gives the water in mm/h that leaves a wet surface at surfaceC °C for
// air of dew point dewC by convection with coefficient h (W/m²K): heat and
// water carried alike, through the psychrometric constant (textbook analogy;
// M). Negative is dew.
func transfer(surfaceC, dewC, h, pressureHPa float64) float64 {
	de := SatPressureTetens(surfaceC) - SatPressureTetens(dewC)
	return h * de / (Psychrometric(pressureHPa) * latentMJ * 1e6) * secondsPerHour
}

// Condensation gives the dew in mm in the hour on a deck whose dry balance is
// surfaceC °C, for air and dew point in °C, wind at 10 m in m/s, exposure (0
// means 1) and pressure in hPa; 0 where the surface is at or above the dew
// point. Dew warms what it falls on; that is allowed for to first order
// (linearised heat balance of a thin deck; D), which about halves it.
func Condensation(surfaceC, airC, dewC, windMs, exposure, pressureHPa float64) float64 {
	h := Convection(windMs, exposure)
	hr := Surface{Emissivity: EmissivityDeck}.radiative(airC)
	bare := -transfer(surfaceC, dewC, h, pressureHPa)
	feedback := 1 + SlopeSVP(surfaceC)/Psychrometric(pressureHPa)*h/(h+hr)
	return max(bare/feedback, 0)
}

// WetSurfaceTemp gives the temperature in °C of the deck while it is wet all
// over and drying, from the linearised heat balance (D): evaporation holds it
// below SurfaceTemp. Use it for the net radiation that WaterStep asks for.
// Arguments as SurfaceTemp, with the pressure in hPa.
func WetSurfaceTemp(s Surface, airC, dewC, windMs, cloudPct, solarWm2, pressureHPa float64) float64 {
	h, hr := Convection(windMs, s.Exposure), s.radiative(airC)
	gamma := Psychrometric(pressureHPa)
	deficit := SatPressureTetens(airC) - SatPressureTetens(dewC)
	net := NetRadiation(s, airC, airC, dewC, cloudPct, solarWm2)
	return airC + (net-h/gamma*deficit)/(h+hr+h*SlopeSVP(airC)/gamma)
}
