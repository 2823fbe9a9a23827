package physics

import (
	"math"
	"testing"
	"time"
)

// TestClearSky: plain geometry, and bounds that hold for any clear-sky form. At
// the equator at an equinox the noon sun stands overhead, where the form gives
// 910 − 30 W/m².
func TestClearSky(t *testing.T) {
	equinox := time.Date(2027, 3, 20, 0, 0, 0, 0, time.UTC)
	noon := 0.0
	for h := range 24 {
		at := equinox.Add(time.Duration(h) * time.Hour)
		got := ClearSky(0, 0, at)
		noon = max(noon, got)
		if top := 1361 * math.Max(0, math.Sin(radians(SunElevation(0, 0, at.Add(30*time.Minute))))); got > top {
			t.Errorf("%02d h: %.0f W/m² at the ground, %.0f above the air", h, got, top)
		}
		if (h < 5 || h > 18) && got != 0 {
			t.Errorf("%02d h: %.0f W/m² at night", h, got)
		}
	}
	if math.Abs(noon-880) > 15 { // an hour's mean is 1 % below the peak
		t.Errorf("noon has %.0f W/m², want about 880", noon)
	}
	if ClearSky(80, 20, time.Date(2027, 12, 21, 12, 0, 0, 0, time.UTC)) != 0 {
		t.Error("the sun shines in the polar night")
	}
}

func TestUnderCloud(t *testing.T) {
	for _, tc := range []struct{ cloud, share float64 }{{0, 1}, {100, 0.25}, {50, 1 - 0.75*math.Pow(0.5, 3.4)}, {-5, 1}, {130, 0.25}} {
		if got := UnderCloud(800, tc.cloud); math.Abs(got-800*tc.share) > 1e-9 {
			t.Errorf("%g %% of cloud leave %g of 800 W/m², want %g", tc.cloud, got, 800*tc.share)
		}
	}
	if got := UnderCloud(800, math.NaN()); got == got {
		t.Errorf("a cloud cover that is not known leaves %g", got)
	}
}
