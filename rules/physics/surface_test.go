package physics_test

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"laycast/rules/physics"

	"pgregory.net/rapid"
)

func board() physics.Surface {
	return physics.Surface{
		Absorptance: physics.AbsorbBareBoard, Emissivity: physics.EmissivityDeck, HeatCapacity: physics.HeatBoard,
	}
}

// EnergyPlus Engineering Reference, worked example (Walton 1983; Clark & Allen
// 1978; S+R): 293 K, dew point 283 K, clear.
func TestSkyEnergyPlusExample(t *testing.T) {
	e := physics.SkyEmissivityClarkAllen(283 - 273.15)
	near(t, "sky emissivity", e, 0.815, 1e-3)
	near(t, "sky radiation", e*physics.BlackBody(293-273.15), 340.6, 0.5)
	// Brunt with the 2017 coefficients, 20 °C and dew point 10 °C (D).
	near(t, "Brunt sky emissivity", physics.SkyEmissivity(10), 0.8141, 1e-4)
}

// Incropera & DeWitt, problem 1.55 (S+R): 800 W/m² taken up, h 12, air 20 °C.
func TestBalanceIncroperaProblem(t *testing.T) {
	near(t, "convection only", physics.BalanceTemp(800, 0, 12, 20), 86.7, 0.05)
	near(t, "with emission", physics.BalanceTemp(800, 0.8, 12, 20), 47, 0.5)
	near(t, "with emission, recomputed", physics.BalanceTemp(800, 0.8, 12, 20), 46.97, 0.01)
}

// Clear calm night, air 10 °C, dew point 5 °C, h 6 (D): the deck lies under the
// dew point though the air is 5 K above it.
func TestClearNightFallsUnderDewPoint(t *testing.T) {
	gain := 0.9 * physics.SkyRadiation(10, 5, 0)
	near(t, "deck at h 6", physics.BalanceTemp(gain, 0.9, 6, 10), 3.21, 0.02)
	near(t, "deck at h 20", physics.BalanceTemp(gain, 0.9, 20, 10), 7.11, 0.02)
	if got := physics.SurfaceTemp(board(), 10, 5, 0, 0, 0); !(got < 5) {
		t.Errorf("deck on a calm clear night is %v °C, want under the dew point of 5 °C", got)
	}
	if got := physics.SurfaceTemp(board(), 10, 5, 0, 100, 0); !(got > 6) {
		t.Errorf("deck under full cloud is %v °C, want near the air of 10 °C", got)
	}
}

func TestSurfaceFile(t *testing.T) {
	night := regexp.MustCompile(`^night_(-?\d+)_(-?\d+)_(\d+)$`)
	sky := regexp.MustCompile(`^(brunt|clarkallen)_(-?\d+)_(-?\d+)$`)
	nights, skies := 0, 0
	for _, r := range readChecks(t, "surface_temp.csv") {
		id := r["id"]
		if m := night.FindStringSubmatch(id); m != nil {
			in := scan(t, m[1:])
			gain := 0.9 * physics.SkyRadiation(in[0], in[1], 0)
			near(t, id, physics.BalanceTemp(gain, 0.9, in[2], in[0]), r.num(t, "expected"), 0.02)
			nights++
		}
		if m := sky.FindStringSubmatch(id); m != nil {
			in := scan(t, m[2:])
			got := physics.SkyEmissivity(in[1])
			if m[1] == "clarkallen" {
				got = physics.SkyEmissivityClarkAllen(in[1])
			}
			near(t, id, got, r.num(t, "expected"), 1e-3)
			skies++
		}
		if strings.HasPrefix(id, "incropera_1.55") {
			eps := map[bool]float64{true: 0.8, false: 0}[strings.HasSuffix(id, "b")]
			tol, _ := strconv.ParseFloat(strings.TrimPrefix(r["tolerance"], "abs "), 64)
			near(t, id, physics.BalanceTemp(800, eps, 12, 20), r.num(t, "expected"), tol)
			nights++
		}
	}
	atLeast(t, nights, 10)
	atLeast(t, skies, 10)
}

// The cloud polynomial of Walton 1983 as EnergyPlus prints it, N in tenths (S).
func TestCloudFactor(t *testing.T) {
	for _, n := range []float64{0, 3, 7, 10} {
		near(t, "cloud factor", physics.CloudFactor(10*n), 1+.0224*n-.0035*n*n+.00028*n*n*n, 1e-12)
	}
	near(t, "cloud over 100 %", physics.CloudFactor(140), physics.CloudFactor(100), 0)
	// damp warm overcast: Brunt times cloud would pass 1
	near(t, "overcast sky", physics.SkyRadiation(25, 24, 100), physics.BlackBody(25), 1e-9)
}

func TestSurfaceTempSolvesItsBalance(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		w := drawWeather(r)
		s := drawSurface(r)
		got := physics.SurfaceTemp(s, w.AirC, w.DewC, w.WindMs, w.CloudPct, w.SolarWm2)
		net := physics.NetRadiation(s, got, w.AirC, w.DewC, w.CloudPct, w.SolarWm2)
		out := physics.Convection(w.WindMs, s.Exposure) * (got - w.AirC)
		if math.Abs(net-out) > 1e-3 {
			r.Fatalf("at %v °C the deck takes up %v and sheds %v W/m²", got, net, out)
		}
	})
}

func TestSurfaceProperties(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		w := drawWeather(r)
		s := drawSurface(r)
		at := func(wind, cloud, sun float64) float64 {
			return physics.SurfaceTemp(s, w.AirC, w.DewC, wind, cloud, sun)
		}
		base := at(w.WindMs, w.CloudPct, w.SolarWm2)
		if more := at(w.WindMs, w.CloudPct, w.SolarWm2+50); more < base-1e-6 {
			r.Fatalf("more sun cooled the deck from %v to %v", base, more)
		}
		// Without sun, or with, wind draws the deck towards the air.
		for _, sun := range []float64{0, w.SolarWm2} {
			calm := math.Abs(at(w.WindMs, w.CloudPct, sun) - w.AirC)
			if windy := math.Abs(at(w.WindMs+2, w.CloudPct, sun) - w.AirC); windy > calm+1e-6 {
				r.Fatalf("more wind drew the deck away from the air: %v to %v K", calm, windy)
			}
		}
		if dark := at(w.WindMs, w.CloudPct, 0); dark > w.AirC+1e-6 {
			r.Fatalf("deck at %v °C is warmer than the air at %v °C without sun", dark, w.AirC)
		}
	})
}

func TestLagged(t *testing.T) {
	// After one time constant 1-1/e of the way is done, by definition.
	near(t, "one time constant", physics.Lagged(10, 30, 2, 2), 30-20/math.E, 1e-9)
	near(t, "at once", physics.Lagged(10, 30, 0, 1), 30, 0)
	near(t, "no time", physics.Lagged(10, 30, 2, 0), 10, 1e-12)
	slab := board()
	slab.HeatCapacity = physics.HeatSlab
	// A board in about a quarter of an hour, a slab in hours (common practice).
	if tau := physics.TimeConstant(board(), 15, 2); tau < 0.2 || tau > 0.4 {
		t.Errorf("a board's time constant is %v h, want about 0.3", tau)
	}
	if tau := physics.TimeConstant(slab, 15, 2); tau < 2 || tau > 4 {
		t.Errorf("a slab's time constant is %v h, want 2 to 4", tau)
	}
}

func TestShadeAndExposure(t *testing.T) {
	open := board()
	shaded, still := open, open
	shaded.Shade, still.Exposure = 1, 0.2
	sun := func(s physics.Surface) float64 { return physics.SurfaceTemp(s, 20, 10, 4, 0, 700) }
	near(t, "full shade against no sun", sun(shaded), physics.SurfaceTemp(open, 20, 10, 4, 0, 0), 1e-9)
	if !(sun(still) > sun(open)+2) {
		t.Errorf("a sheltered deck in the sun is %v °C, an open one %v °C; want clearly hotter", sun(still), sun(open))
	}
	open.Exposure = 1
	near(t, "exposure 0 means 1", sun(board()), sun(open), 0)
}

func drawSurface(r *rapid.T) physics.Surface {
	return physics.Surface{
		Absorptance:  rapid.Float64Range(0.3, 0.95).Draw(r, "absorptance"),
		Emissivity:   rapid.Float64Range(0.6, 0.95).Draw(r, "emissivity"),
		Shade:        rapid.Float64Range(0, 1).Draw(r, "shade"),
		Exposure:     rapid.Float64Range(0.2, 1.3).Draw(r, "exposure"),
		HeatCapacity: rapid.SampledFrom([]float64{0, physics.HeatBoard, physics.HeatSlab}).Draw(r, "heat"),
	}
}

func drawWeather(r *rapid.T) physics.Weather {
	air := rapid.Float64Range(-15, 40).Draw(r, "air")
	return physics.Weather{
		AirC:        air,
		DewC:        air - rapid.Float64Range(0, 20).Draw(r, "spread"),
		WindMs:      rapid.Float64Range(0, 20).Draw(r, "wind"),
		CloudPct:    rapid.Float64Range(0, 100).Draw(r, "cloud"),
		SolarWm2:    rapid.Float64Range(0, 1100).Draw(r, "sun"),
		RainMM:      max(rapid.Float64Range(-3, 5).Draw(r, "rain"), 0),
		PressureHPa: rapid.Float64Range(850, 1040).Draw(r, "pressure"),
	}
}

// One site of an ensemble: 19 members by 217 hours.
func BenchmarkSurfaceTempSite(b *testing.B) {
	s := board()
	b.ReportAllocs()
	for b.Loop() {
		for i := range 19 * 217 {
			x := float64(i % 217)
			physics.SurfaceTemp(s, 5+x/20, 2+x/40, x/30, x/2.2, 3*x)
		}
	}
}

func BenchmarkStepSite(b *testing.B) {
	s := board()
	b.ReportAllocs()
	for b.Loop() {
		d := physics.Deck{TempC: math.NaN()}
		for i := range 19 * 217 {
			x := float64(i % 217)
			d = physics.Step(s, d, physics.Weather{
				AirC: 5 + x/20, DewC: 2 + x/40, WindMs: x / 30, CloudPct: x / 2.2, SolarWm2: 3 * x,
				RainMM: float64(i%11) / 50, PressureHPa: 1010,
			})
		}
	}
}
