package forecast

import (
	"math"
	"testing"
)

// TestDewPoint compares with rows of psychrolib 1.1.1 (ASHRAE Fundamentals 2017
// ch. 1; CHECKS.md psychro_reference.csv, computed), which Magnus should meet
// within 0.05 K.
func TestDewPoint(t *testing.T) {
	for _, tc := range []struct{ t, rh, dew float64 }{{20, 60, 12.0075}, {20, 80, 16.4471}, {10, 70, 4.7868}, {20, 100, 20}} {
		if got := DewPoint(tc.t, tc.rh); math.Abs(got-tc.dew) > 0.05 {
			t.Errorf("dew point of %g °C at %g %% is %.2f, want %.2f", tc.t, tc.rh, got, tc.dew)
		}
	}
	if got := DewPoint(20, 0); math.IsInf(got, 0) || math.IsNaN(got) || got > -30 {
		t.Errorf("dew point of dry air is %v", got)
	}
}
