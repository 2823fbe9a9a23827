package physics

import (
	"math"
	"testing"
)

// Meeus, Astronomical Algorithms, Example 25.a and 28.b, 1992-10-13 0h
// dynamical time, as quoted in the tests of an open-source port (S): apparent
// longitude 199°54'32", declination -7°47'06", equation of time 13 min 42.7 s.
func TestSunAgainstMeeus(t *testing.T) {
	p := sunAtCentury((2448908.5 - 2451545.0) / 36525)
	check := func(what string, got, want, tol float64) {
		t.Helper()
		if !(math.Abs(got-want) <= tol) {
			t.Errorf("%s = %.6f, want %.6f ± %.6f", what, got, want, tol)
		}
	}
	check("apparent longitude", p.apparentLongitude, 199+54.0/60+32.0/3600, 0.5/3600)
	check("declination", p.declination, -(7 + 47.0/60 + 6.0/3600), 1.0/3600)
	// Smart's short formula gives 13 min 42.7 s as well in the book; 0.5 s here.
	check("equation of time, s", p.equationOfTime*60, 13*60+42.7, 0.5)
}
