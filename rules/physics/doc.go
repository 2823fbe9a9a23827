// Package physics turns air and sky into the state of a roof deck: dew point,
// surface temperature, surface water, board moisture, cure and daylight. It is
// pure: functions of numbers, with no clock and no state.
//
// A value that is not known is NaN. NaN in gives NaN out, and every predicate
// answers a NaN with the careful answer, so missing weather never looks good.
//
// Sources are named at each formula with a grade: S the figure was seen in a
// source (nearly always a secondary copy); S+R seen, and recomputed to the same
// digits; M from memory, not confirmed; D derived from the stated equation; C
// common practice, no source.
package physics

const (
	kelvin0 = 273.15 // K at 0 °C, exact by definition

	// sigma is the Stefan-Boltzmann constant, W/m²K⁴ (CODATA; M).
	sigma = 5.670374e-8

	// epsWater is the ratio of the molar masses of water and dry air
	// (ASHRAE Fundamentals 2017 ch. 1; S).
	epsWater = 0.621945

	// latentMJ is the latent heat of vaporisation taken as fixed by FAO-56,
	// MJ/kg (at about 20 °C; S). 1 kg/m² of water is a film of 1 mm.
	latentMJ = 2.45

	// secondsPerHour changes W/m² into J/m²h.
	secondsPerHour = 3600.0
)

// clamp holds x between lo and hi; NaN stays NaN.
func clamp(x, lo, hi float64) float64 { return min(max(x, lo), hi) }
