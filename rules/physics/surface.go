package physics

import "math"

// Surface says how a deck takes part in the exchange of heat with sun, sky and
// air.
type Surface struct {
	Absorptance  float64 // share of the sun's heat taken up, 0 to 1
	Emissivity   float64 // for long-wave radiation, 0 to 1
	Shade        float64 // share of the sun kept off, 0 to 1; the sky is taken as open all the same
	Exposure     float64 // wind on the roof as a multiple of the open-country wind; 0 means 1
	HeatCapacity float64 // J/m²K; 0 means it follows at once
}

// Values for Surface. Absorptances and capacities are common practice, no
// source (C).
const (
	AbsorbBareBoard   = 0.6
	AbsorbDarkTopcoat = 0.9
	AbsorbPaleTopcoat = 0.5

	EmissivityDeck = 0.9

	// HeatBoard is 18 mm of board: 650 kg/m³ at 1700 J/kgK.
	HeatBoard = 20e3
	// HeatSlab is the outer 100 mm of concrete: 2300 kg/m³ at 900 J/kgK.
	HeatSlab = 200e3
)

// Coefficients of Convection: 5.7 + 3.8 v, v the wind along the surface, taken
// as 0.7 of the wind at 10 m (M: from memory, no source here). The lower the
// coefficient, the hotter a sunny deck and the colder a clear night's.
const (
	convectStill = 5.7 // W/m²K
	convectWind  = 3.8 // W/m²K per m/s
	windOnDeck   = 0.7
)

// Convection gives the heat transfer coefficient between deck and air in W/m²K
// for the wind at 10 m in m/s (below 0 counts as 0) and the site's exposure (0
// means 1).
func Convection(windMs, exposure float64) float64 {
	if exposure == 0 {
		exposure = 1
	}
	return convectStill + convectWind*max(windOnDeck*windMs*exposure, 0)
}

// SkyEmissivity gives the emissivity of a clear sky from the air's dew point
// in °C: Brunt's form with the coefficients of Li, Jiang & Coimbra 2017 (S,
// fitted at seven US sites, scatter 13 W/m²).
func SkyEmissivity(dewC float64) float64 {
	return 0.618 + 0.056*math.Sqrt(VapourPressure(dewC))
}

// SkyEmissivityClarkAllen gives the emissivity of a clear sky from the dew
// point in °C by Clark & Allen 1978, as EnergyPlus prints it (S+R). It is here
// for that published example; SkyEmissivity scatters less.
func SkyEmissivityClarkAllen(dewC float64) float64 {
	return 0.787 + 0.764*math.Log((dewC+kelvin0)/273)
}

// CloudFactor gives the factor by which cloud raises the sky's emissivity:
// Walton 1983, as EnergyPlus prints it (S), with cloudPct in %, held within 0
// to 100.
func CloudFactor(cloudPct float64) float64 {
	n := clamp(cloudPct, 0, 100) / 10
	return 1 + n*(0.0224+n*(-0.0035+n*0.00028))
}

// SkyRadiation gives the long-wave radiation from the sky on the horizontal in
// W/m². The emissivity with cloud is held to 1: no sky gives more than a black
// body at the temperature of the air.
func SkyRadiation(airC, dewC, cloudPct float64) float64 {
	return min(SkyEmissivity(dewC)*CloudFactor(cloudPct), 1) * BlackBody(airC)
}

// BlackBody gives the radiation of a black body at tC °C in W/m².
func BlackBody(tC float64) float64 {
	k := tC + kelvin0
	return sigma * k * k * k * k
}

// SurfaceTemp gives the steady temperature in °C of a dry deck that is
// insulated from below: absorbed sun and sky equal emission and convection. Air
// and dew point in °C, wind at 10 m in m/s, cloud in %, sun on the horizontal
// in W/m² (below 0 counts as 0). Dew and drying add or take heat that is left
// out: a wet deck is cooler by day and a dewed one a little warmer by night.
// Meant for -40 to 50 °C. On a clear calm night the result lies below the air
// and often below the dew point.
func SurfaceTemp(s Surface, airC, dewC, windMs, cloudPct, solarWm2 float64) float64 {
	gain := s.absorbedSun(solarWm2) + s.Emissivity*SkyRadiation(airC, dewC, cloudPct)
	return BalanceTemp(gain, s.Emissivity, Convection(windMs, s.Exposure), airC)
}

// NetRadiation gives the net radiation of a deck at surfaceC °C in W/m²: sun
// and sky taken up, less its own emission. Other arguments as SurfaceTemp.
func NetRadiation(s Surface, surfaceC, airC, dewC, cloudPct, solarWm2 float64) float64 {
	return s.absorbedSun(solarWm2) + s.Emissivity*(SkyRadiation(airC, dewC, cloudPct)-BlackBody(surfaceC))
}

func (s Surface) absorbedSun(solarWm2 float64) float64 {
	return s.Absorptance * (1 - clamp(s.Shade, 0, 1)) * max(solarWm2, 0)
}

// BalanceTemp gives the temperature in °C at which a surface that takes up
// gainWm2 (W/m², sun and sky together) sheds as much by emission and by
// convection with coefficient h (W/m²K, above 0) to air at airC °C.
func BalanceTemp(gainWm2, emissivity, h, airC float64) float64 {
	air := airC + kelvin0
	target := gainWm2 + h*air
	es := emissivity * sigma
	t := air
	// The left side is convex and rising, so Newton's steps come down on the
	// root from above after the first: three or four reach 1e-6 K.
	for range 12 {
		t3 := t * t * t
		step := (es*t3*t + h*t - target) / (4*es*t3 + h)
		t -= step
		if math.Abs(step) < 1e-5 {
			break
		}
	}
	return t - kelvin0
}

// radiative gives the linearised coefficient of long-wave exchange in W/m²K.
func (s Surface) radiative(airC float64) float64 {
	k := airC + kelvin0
	return 4 * s.Emissivity * sigma * k * k * k
}

// TimeConstant gives the hours in which the deck covers 63 % of the way to its
// steady temperature: HeatCapacity over convection and emission together. At
// light wind about 0.3 h for a board and 3 h for a slab.
func TimeConstant(s Surface, airC, windMs float64) float64 {
	return s.HeatCapacity / (Convection(windMs, s.Exposure) + s.radiative(airC)) / secondsPerHour
}

// Lagged gives the temperature in °C of a body that was at prevC and has been
// drawn towards steadyC for dtHours, with time constant tauHours. A time
// constant of 0 or less means it follows at once.
func Lagged(prevC, steadyC, tauHours, dtHours float64) float64 {
	if tauHours <= 0 {
		return steadyC
	}
	return steadyC + (prevC-steadyC)*math.Exp(-max(dtHours, 0)/tauHours)
}
