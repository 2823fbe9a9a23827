package physics

import "math"

// Magnus coefficients over water of WMO-No. 8 (2023), stated valid from -45 to
// +60 °C (S+R: five published values of relative humidity reproduce).
const (
	magnusA = 6.112  // hPa
	magnusB = 17.62  // -
	magnusC = 243.12 // °C
)

// SatPressure gives the saturation vapour pressure over water in hPa at tC °C,
// in the Magnus form of WMO-No. 8. It is valid from -45 to 60 °C and lies up
// to 0.5 % under the ASHRAE tables within 0 to 50 °C; outside it is still
// evaluated, with growing error.
func SatPressure(tC float64) float64 {
	return magnusA * math.Exp(magnusB*tC/(magnusC+tC))
}

// VapourPressure gives the vapour pressure of the air in hPa from its dew
// point in °C. Range as SatPressure.
func VapourPressure(dewC float64) float64 { return SatPressure(dewC) }

// DewPoint gives the dew point in °C from air temperature (°C) and relative
// humidity over water (%): the Magnus form of WMO-No. 8, solved for the dew
// point. Humidity is held within 1 to 100 %, so the result never lies above
// the air. Against a table from the ASHRAE equations it is good to 0.04 K
// where both lie above 0 °C; below 0 °C it is the dew point over water, which
// lies up to about 2 K under the frost point. Valid from -45 to 60 °C.
func DewPoint(airC, rhPct float64) float64 {
	l := math.Log(clamp(rhPct, 1, 100)/100) + magnusB*airC/(magnusC+airC)
	return min(magnusC*l/(magnusB-l), airC)
}

// RelativeHumidity gives the relative humidity over water in % from air
// temperature and dew point in °C (WMO-No. 8). A dew point above the air, as
// rounding in a forecast can give, reads 100 %. Range as SatPressure.
func RelativeHumidity(airC, dewC float64) float64 {
	return min(100*SatPressure(dewC)/SatPressure(airC), 100)
}

// SatPressureASHRAE gives the saturation pressure in hPa by Hyland and Wexler,
// as in ASHRAE Fundamentals 2017 ch. 1 eq. 5 (over ice, up to the triple point
// at 0.01 °C, where the two meet) and eq. 6 (over water). Stated valid from -100 to 200 °C. Table 3 of that chapter is
// reproduced within 300 ppm from -20 to 100 °C (S+R). It is slower than
// SatPressure and meant for WetBulb and for checks.
func SatPressureASHRAE(tC float64) float64 {
	t := tC + kelvin0
	if tC <= 0.01 {
		return math.Exp(-5.6745359e3/t+6.3925247+t*(-9.677843e-3+
			t*(6.2215701e-7+t*(2.0747825e-9-t*9.484024e-13)))+4.1635019*math.Log(t)) / 100
	}
	return satWater(t)
}

// satWater is ASHRAE eq. 6 in hPa, t in K. Below 0 °C it gives supercooled
// water, which is what a weather service's relative humidity refers to.
func satWater(t float64) float64 {
	return math.Exp(-5.8002206e3/t+1.3914993+t*(-4.8640239e-2+
		t*(4.1764768e-5-t*1.4452093e-8))+6.5459673*math.Log(t)) / 100
}

// SatHumidityRatio gives the humidity ratio (kg of water in a kg of dry air)
// of saturated air at tC °C and pressureHPa, without the enhancement factor,
// so up to 0.5 % under ASHRAE Table 2. It is meaningless where the saturation
// pressure reaches the air's own.
func SatHumidityRatio(tC, pressureHPa float64) float64 {
	e := SatPressureASHRAE(tC)
	return epsWater * e / (pressureHPa - e)
}

// HumidityRatioFromWetBulb gives the humidity ratio (kg/kg) from dry and wet
// bulb in °C at pressureHPa: ASHRAE Fundamentals 2017 ch. 1 eq. 33 (wet bulb
// at or above 0 °C) and 35 (ice on the bulb). It may be negative where no air
// could hold that pair of readings.
func HumidityRatioFromWetBulb(airC, wetC, pressureHPa float64) float64 {
	ws := SatHumidityRatio(wetC, pressureHPa)
	if wetC >= 0 {
		return ((2501-2.326*wetC)*ws - 1.006*(airC-wetC)) / (2501 + 1.86*airC - 4.186*wetC)
	}
	return ((2830-0.24*wetC)*ws - 1.006*(airC-wetC)) / (2830 + 1.86*airC - 2.1*wetC)
}

// WetBulb gives the thermodynamic wet-bulb temperature in °C from air (°C),
// relative humidity over water (%, held within 1 to 100) and pressure (hPa),
// by solving ASHRAE eq. 33/35 rather than a fitted shortcut (Stull's is up to
// 1 K off). Meant for -40 to 60 °C at 500 to 1100 hPa. Below 0 °C the bulb is
// iced; where both an iced and a wet bulb would do, the wet one is given. Where the air holds more than ice allows, the answer is the air's own
// temperature.
func WetBulb(airC, rhPct, pressureHPa float64) float64 {
	if math.IsNaN(airC) || math.IsNaN(rhPct) || math.IsNaN(pressureHPa) {
		return math.NaN()
	}
	e := clamp(rhPct, 1, 100) / 100 * satWater(airC+kelvin0)
	w := epsWater * e / (pressureHPa - e)
	lo, hi := airC-60, airC // the depression never reaches 60 K in weather
	switch wet := w >= HumidityRatioFromWetBulb(airC, 0, pressureHPa); {
	case wet:
		lo = max(lo, 0)
	case airC > 0:
		hi = 0
	}
	for range 36 { // 60 K / 2^36 < 1e-8 K
		mid := (lo + hi) / 2
		if HumidityRatioFromWetBulb(airC, mid, pressureHPa) > w {
			hi = mid
		} else {
			lo = mid
		}
	}
	return (lo + hi) / 2
}

// StandardPressure gives the pressure in hPa of the standard atmosphere at
// elevM metres: ASHRAE Fundamentals 2017 ch. 1 eq. 3, for -5000 to 11000 m
// (S+R: Table 1 within 1 Pa). Above 44 km it gives NaN.
func StandardPressure(elevM float64) float64 {
	return 1013.25 * math.Pow(1-2.25577e-5*elevM, 5.2559)
}
