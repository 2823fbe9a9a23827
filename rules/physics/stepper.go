package physics

import "math"

// Stepper carries one surface through its hours as Step does, formula for
// formula, but works out once what several of the formulas share: a book of
// jobs steps a million hours. TestStepperIsStep holds the two together.
type Stepper struct {
	s        Surface
	sun      float64 // share of the sun's heat taken up
	exposure float64
	pressure float64 // hPa
	gamma    float64 // psychrometric constant, kPa/K
	wind2    float64 // wind at 2 m as a share of that at 10 m
	most     float64 // mm/h that leave for each W/m²K and kPa, times the drying factor
}

// NewStepper gives a stepper for a surface at a pressure in hPa.
func NewStepper(s Surface, pressureHPa float64) Stepper {
	d := Stepper{s: s, exposure: s.Exposure, pressure: pressureHPa, gamma: Psychrometric(pressureHPa), wind2: WindAt2m(1)}
	if d.exposure == 0 {
		d.exposure = 1
	}
	d.sun = s.Absorptance * (1 - min(max(s.Shade, 0), 1))
	d.most = DryingFactor * secondsPerHour / (d.gamma * latentMJ * 1e6)
	return d
}

// Step gives the deck's temperature in °C at the end of an hour and what the
// hour takes from (below 0) or gives to (dew) a film of water, in mm. beforeC
// is the temperature an hour ago, NaN where it is not known; the weather is as
// Weather has it.
func (d *Stepper) Step(beforeC, airC, dewC, windMs, cloudPct, solarWm2 float64) (tempC, exchange float64) {
	sun := d.sun * max(solarWm2, 0)
	black := BlackBody(airC)
	sky := min(SkyEmissivity(dewC)*CloudFactor(cloudPct), 1) * black
	h := Convection(windMs, d.exposure)
	hr := 4 * d.s.Emissivity * black / (airC + kelvin0)

	tempC = BalanceTemp(sun+d.s.Emissivity*sky, d.s.Emissivity, h, airC)
	if d.s.HeatCapacity > 0 && beforeC == beforeC {
		tempC += (beforeC - tempC) * math.Exp(-(h+hr)*secondsPerHour/d.s.HeatCapacity)
	}
	if tempC < dewC {
		return tempC, Condensation(tempC, airC, dewC, windMs, d.exposure, d.pressure)
	}
	eAir, eDew := SatPressureTetens(airC), SatPressureTetens(dewC)
	slope := 4098 * eAir / ((airC + 237.3) * (airC + 237.3))
	wetC := airC + (sun+d.s.Emissivity*(sky-black)-h/d.gamma*(eAir-eDew))/(h+hr+h*slope/d.gamma)
	net := sun + d.s.Emissivity*(sky-BlackBody(wetC)) // W/m², of the wet deck
	wind := max(windMs*d.exposure*d.wind2, 0)
	penman := (0.408*slope*net*secondsPerHour/1e6 + d.gamma*CnHourly/(airC+273)*wind*(eAir-eDew)) / (slope + d.gamma)
	most := d.most * h * (SatPressureTetens(tempC) - eDew)
	return tempC, -min(max(DryingFactor*penman, 0), most)
}
