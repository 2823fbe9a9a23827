package physics

import "math"

// SatPressureTetens gives the saturation vapour pressure in kPa at tC °C as
// FAO-56 eq. 11 has it (S+R). It belongs with SlopeSVP and Evaporation, which
// are checked against FAO-56 as a whole; elsewhere use SatPressure.
func SatPressureTetens(tC float64) float64 {
	return 0.6108 * math.Exp(17.27*tC/(tC+237.3))
}

// SlopeSVP gives the slope of the saturation curve in kPa/K at tC °C: FAO-56
// eq. 13 (S+R). Good from about -30 to 60 °C.
func SlopeSVP(tC float64) float64 {
	d := tC + 237.3
	return 4098 * SatPressureTetens(tC) / (d * d)
}

// Psychrometric gives the psychrometric constant in kPa/K at pressureHPa:
// FAO-56 eq. 8, 0.000665 a kPa of pressure (S).
func Psychrometric(pressureHPa float64) float64 { return 0.665e-4 * pressureHPa }

// WindAt2m changes the wind at 10 m to that at 2 m over short grass: FAO-56
// eq. 47 (S+R, Example 14). Any unit.
func WindAt2m(wind10 float64) float64 {
	return wind10 * 4.87 / math.Log(67.8*10-5.42)
}

// EvapInput is one hour of air over a wet surface. NaN in any field gives NaN.
type EvapInput struct {
	AirC        float64 // °C
	VapourKPa   float64 // vapour pressure of the air, kPa
	Wind2Ms     float64 // wind at 2 m over the surface, m/s; below 0 counts as 0
	NetRadMJ    float64 // net radiation of the wet surface, MJ/m² in the hour
	GroundMJ    float64 // of that, heat going into the body below, MJ/m² in the hour
	PressureHPa float64 // hPa
}

// Coefficients of ReferenceET for hourly steps: FAO-56 has Cn 37 and Cd 0.34;
// ASCE-EWRI 2005 (short reference) has Cn 37, Cd 0.24 by day and 0.96 by night
// (S+R). A wet roof has no crop, so no resistance: Cd 0.
const (
	CnHourly    = 37.0
	CdFAO       = 0.34
	CdASCEDay   = 0.24
	CdASCENight = 0.96
	cdWetRoof   = 0.0
)

// ReferenceET gives the Penman-Monteith reference evapotranspiration in mm in
// the hour for coefficients cn and cd: FAO-56 eq. 53, or ASCE-EWRI 2005 eq. 1.
// It is negative when dew forms. It is here so that Evaporation, the same
// formula without the crop, stands on published examples.
func ReferenceET(in EvapInput, cn, cd float64) float64 {
	slope, gamma := SlopeSVP(in.AirC), Psychrometric(in.PressureHPa)
	u := max(in.Wind2Ms, 0)
	deficit := SatPressureTetens(in.AirC) - in.VapourKPa
	num := 0.408*slope*(in.NetRadMJ-in.GroundMJ) + gamma*cn/(in.AirC+273)*u*deficit
	return num / (slope + gamma*(1+cd*u))
}

// Evaporation gives the Penman combination without crop resistance in mm in
// the hour, from a surface that is wet all over. Negative is dew. Real
// evaporation scatters by about 40 % around such formulas (Hover 2020, of the
// concrete nomograph, S), so what is shown to people goes through Drying.
func Evaporation(in EvapInput) float64 { return ReferenceET(in, CnHourly, cdWetRoof) }

// DryingFactor is the share of the computed evaporation that is counted on:
// the lower end of the published scatter of ±40 % (Hover 2020, S, measured for
// concrete; taken over here, C).
const DryingFactor = 0.6

// Drying gives the drying counted on in mm in the hour: Evaporation times
// DryingFactor, never below 0 (dew is Condensation's part).
func Drying(in EvapInput) float64 { return max(DryingFactor*Evaporation(in), 0) }
