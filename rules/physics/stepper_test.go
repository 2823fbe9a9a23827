package physics

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// TestStepperIsStep: the quick step is Step, over all weather
// and surfaces, with and without a known hour before; what is unknown stays so.
func TestStepperIsStep(t *testing.T) {
	dew, drying := 0, 0
	rapid.Check(t, func(rt *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(rt, name) }
		maybe := func(x float64) float64 {
			if rapid.IntRange(0, 60).Draw(rt, "gap") == 0 {
				return math.NaN()
			}
			return x
		}
		s := Surface{Absorptance: f("absorptance", 0, 1), Emissivity: EmissivityDeck, Shade: f("shade", 0, 1),
			Exposure: rapid.SampledFrom([]float64{0, 0.6, 1, 1.7}).Draw(rt, "exposure"), HeatCapacity: rapid.SampledFrom([]float64{0, HeatBoard, HeatSlab}).Draw(rt, "heat")}
		air := f("air", -25, 45)
		w := Weather{AirC: maybe(air), DewC: maybe(air - f("spread", 0, 25)), WindMs: maybe(f("wind", 0, 30)), CloudPct: maybe(f("cloud", 0, 100)),
			SolarWm2: maybe(f("sun", 0, 1100)), PressureHPa: StandardPressure(f("height", 0, 2500))}
		before := maybe(f("before", -20, 60))
		const deep = 0.9 // mm: an hour neither dries that out nor fills it to the cap
		want := Step(s, Deck{TempC: before, WaterMM: deep}, w)
		d := NewStepper(s, w.PressureHPa)
		got, exchange := d.Step(before, w.AirC, w.DewC, w.WindMs, w.CloudPct, w.SolarWm2)
		after := min(max(deep+exchange, 0), FilmCap)
		if !agree(got, want.TempC) || !agree(after, want.WaterMM) {
			rt.Fatalf("%.12g °C, %.12g mm; physics has %.12g, %.12g", got, after, want.TempC, want.WaterMM)
		}
		if exchange > 0 {
			dew++
		} else if exchange < 0 {
			drying++
		}
	})
	if dew == 0 || drying == 0 {
		t.Errorf("%d hours of dew, %d of drying", dew, drying)
	}
}

// agree reports whether two numbers are the same to 1e-9, or both unknown.
func agree(a, b float64) bool {
	return math.IsNaN(a) && math.IsNaN(b) || math.Abs(a-b) <= 1e-9
}
