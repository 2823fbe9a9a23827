package physics

import "math"

const (
	// CureE is the default activation energy in kJ/mol. Published for
	// unsaturated polyester with ketone peroxide and cobalt: 40 to 60
	// (J. Appl. Polym. Sci. 102, 1870-1876, 2006, abstract; S).
	CureE = 50.0

	// CureReference is the temperature in °C that equivalent age refers to.
	CureReference = 20.0

	// CureReach is how far in K from the temperature of a measured gel time
	// the Arrhenius law is trusted (C: two published activation energies
	// differ by a factor of 1.6 at 15 K).
	CureReach = 10.0

	gasR = 8.314 // J/mol K
)

// RateFactor gives the rate of cure at tC °C relative to 20 °C, by Arrhenius
// with activation energy eKJ in kJ/mol. It rises with temperature for eKJ above
// 0 and is 0 at absolute zero and below. The heat of the reaction itself is
// left out: right or slow for the time to cure, no guide to heat or fire.
func RateFactor(tC, eKJ float64) float64 {
	t := tC + kelvin0
	if t <= 0 {
		return 0
	}
	return math.Exp(-eKJ * 1000 / gasR * (1/t - 1/(CureReference+kelvin0)))
}

// AgeHours gives the equivalent age in hours at 20 °C after the temperatures
// tempsC (°C, one for each step of dtHours) have passed, with activation energy
// eKJ in kJ/mol.
func AgeHours(tempsC []float64, dtHours, eKJ float64) float64 {
	age := 0.0
	for _, t := range tempsC {
		age += RateFactor(t, eKJ) * dtHours
	}
	return age
}

// HoursTo gives the hours until the equivalent age reaches ageHours (at 20 °C),
// over the temperatures tempsC as in AgeHours, to a part of a step. ok is false
// when they end first or one of them is unknown.
func HoursTo(ageHours float64, tempsC []float64, dtHours, eKJ float64) (hours float64, ok bool) {
	if ageHours <= 0 {
		return 0, true
	}
	left := ageHours
	for i, t := range tempsC {
		gain := RateFactor(t, eKJ) * dtHours
		if math.IsNaN(gain) || math.IsNaN(left) {
			return 0, false
		}
		if gain >= left && gain > 0 {
			return (float64(i) + left/gain) * dtHours, true
		}
		left -= gain
	}
	return 0, false
}

// GelMinutes moves a gel time of anchorMin minutes, measured by the firm at
// anchorC °C, to tC °C for the same dose of catalyst. Ask Extrapolated whether
// the step is too far to be trusted.
func GelMinutes(anchorMin, anchorC, tC, eKJ float64) float64 {
	return anchorMin * RateFactor(anchorC, eKJ) / RateFactor(tC, eKJ)
}

// Extrapolated reports whether tC °C lies more than CureReach from the
// temperature anchorC °C of the measured gel time, so that a figure made from
// it must say so. An unknown temperature counts as too far.
func Extrapolated(tC, anchorC float64) bool {
	return !(math.Abs(tC-anchorC) <= CureReach)
}
