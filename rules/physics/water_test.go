package physics_test

import (
	"math"
	"strings"
	"testing"

	"laycast/rules/physics"

	"pgregory.net/rapid"
)

// FAO-56 ch. 4 Example 19 (M+R): N'Diaye, 1 October, 8 m.
func TestReferenceETExample19(t *testing.T) {
	for _, c := range []struct {
		what                                string
		in                                  physics.EvapInput
		slope, gamma, e0, ea, rh, et, tight float64
	}{
		{"02:00", physics.EvapInput{AirC: 28, Wind2Ms: 1.9, NetRadMJ: -0.100, GroundMJ: -0.050}, .220, .0673, 3.780, 3.402, 90, 0.00, -1},
		{"14:00", physics.EvapInput{AirC: 38, Wind2Ms: 3.3, NetRadMJ: 1.749, GroundMJ: 0.175}, .358, .0673, 6.625, 3.445, 52, 0.63, .627},
	} {
		c.in.PressureHPa = 1012 // 8 m
		near(t, c.what+" slope", physics.SlopeSVP(c.in.AirC), c.slope, 6e-4)
		near(t, c.what+" psychrometric constant", physics.Psychrometric(c.in.PressureHPa), c.gamma, 6e-5)
		near(t, c.what+" e0", physics.SatPressureTetens(c.in.AirC), c.e0, 6e-4)
		c.in.VapourKPa = physics.SatPressureTetens(c.in.AirC) * c.rh / 100
		near(t, c.what+" ea", c.in.VapourKPa, c.ea, 6e-4)
		et := physics.ReferenceET(c.in, physics.CnHourly, physics.CdFAO)
		near(t, c.what+" ETo", et, c.et, 0.005)
		if c.tight > 0 {
			near(t, c.what+" ETo recomputed", et, c.tight, 0.001)
		}
	}
}

// The same example from the file of published values.
func TestExample19File(t *testing.T) {
	at := map[string]float64{"night": 28, "day": 38}
	rh := map[string]float64{"night": .90, "day": .52}
	checked := 0
	for _, r := range readChecks(t, "evaporation.csv") {
		id, ok := strings.CutPrefix(r["id"], "fao19_")
		if !ok {
			continue
		}
		when, what, _ := strings.Cut(id, "_")
		want := r.num(t, "expected")
		switch what {
		case "Delta":
			near(t, id, physics.SlopeSVP(at[when]), want, 6e-4)
		case "e0":
			near(t, id, physics.SatPressureTetens(at[when]), want, 6e-4)
		case "ea":
			near(t, id, physics.SatPressureTetens(at[when])*rh[when], want, 6e-4)
		default: // the sun's part of the example is not ours; ETo is tested above
			continue
		}
		checked++
	}
	atLeast(t, checked, 6)
}

// ASCE-EWRI 2005 Appendix C p. C-7 (S+R): 30 hours in a row. Two hours of it
// stand here so that the series is checked without the file.
func TestASCETwoHours(t *testing.T) {
	const gamma = 0.0566
	in := physics.EvapInput{AirC: 30.9, VapourKPa: 1.09, Wind2Ms: 3.74, NetRadMJ: 1.44, GroundMJ: 0.144, PressureHPa: gamma / 0.665e-4}
	near(t, "1 July 16:00", physics.ReferenceET(in, physics.CnHourly, physics.CdASCEDay), 0.61, 0.005)
	in = physics.EvapInput{AirC: 18.4, VapourKPa: 1.32, Wind2Ms: 0.28, NetRadMJ: -0.208, GroundMJ: -0.104, PressureHPa: gamma / 0.665e-4}
	near(t, "2 July 00:00", physics.ReferenceET(in, physics.CnHourly, physics.CdASCENight), -0.02, 0.005)
}

func TestASCEFile(t *testing.T) {
	const gamma = 0.0566
	rows := readChecks(t, "asce_hourly.csv")
	atLeast(t, len(rows), 30)
	for _, r := range rows {
		at := r["hour_start_local"]
		net, air := r.num(t, "rn_mj_m2_h"), r.num(t, "t_c")
		in := physics.EvapInput{
			AirC: air, VapourKPa: r.num(t, "ea_kpa"), Wind2Ms: r.num(t, "u2_m_s"),
			NetRadMJ: net, GroundMJ: 0.1 * net, PressureHPa: gamma / 0.665e-4,
		}
		cd := physics.CdASCEDay
		if net < 0 {
			in.GroundMJ, cd = 0.5*net, physics.CdASCENight
		}
		got := physics.ReferenceET(in, physics.CnHourly, cd)
		near(t, at+" ETo", got, r.num(t, "etos_mm_h_published"), 0.01)
		near(t, at+" ETo recomputed", got, r.num(t, "etos_mm_h_recomputed"), 0.0005)
		near(t, at+" slope", physics.SlopeSVP(air), r.num(t, "delta_kpa_c"), 6e-4)
		if !strings.Contains(r["use"], "es NO") {
			near(t, at+" es", physics.SatPressureTetens(air), r.num(t, "es_kpa"), 3e-3)
		}
	}
}

// Without crop resistance a wet roof dries faster than grass transpires, and
// what is counted on is 0.6 of that.
func TestEvaporationHasNoCrop(t *testing.T) {
	in := physics.EvapInput{AirC: 18, VapourKPa: 1.2, Wind2Ms: 3, NetRadMJ: 0.6, PressureHPa: 1010}
	bare, grass := physics.Evaporation(in), physics.ReferenceET(in, physics.CnHourly, physics.CdFAO)
	// the two differ only in the denominator
	slope, gamma := physics.SlopeSVP(18), physics.Psychrometric(1010)
	near(t, "ratio", bare/grass, (slope+gamma*(1+0.34*3))/(slope+gamma), 1e-9)
	near(t, "counted on", physics.Drying(in), 0.6*bare, 1e-12)
	in.NetRadMJ, in.Wind2Ms = -0.2, 0
	if physics.Evaporation(in) >= 0 {
		t.Errorf("a radiating surface in still air evaporates %v mm/h, want dew (below 0)", physics.Evaporation(in))
	}
	near(t, "drying while dew falls", physics.Drying(in), 0, 0)
}

func clearNight() physics.Weather {
	return physics.Weather{AirC: 10, DewC: 8, WindMs: 0.5, PressureHPa: 1015}
}

func sunnyDay() physics.Weather {
	return physics.Weather{AirC: 18, DewC: 8, WindMs: 4, CloudPct: 20, SolarWm2: 600, PressureHPa: 1015}
}

// Dew falls on a deck at night though it has not rained, and the sun takes it
// off. Published sizes of dew are some tenths of a millimetre a night (from
// memory, no source here).
func TestDewFallsAndDries(t *testing.T) {
	d := physics.Deck{TempC: math.NaN()}
	for range 8 {
		d = physics.Step(board(), d, clearNight())
	}
	if d.WaterMM < 0.02 || d.WaterMM > 0.6 {
		t.Fatalf("a clear night leaves %v mm of dew, want some tenths of a millimetre", d.WaterMM)
	}
	for range 3 {
		d = physics.Step(board(), d, sunnyDay())
	}
	near(t, "film after three hours of sun", d.WaterMM, 0, 0)
}

func TestRainStaysUntilItsHourIsOver(t *testing.T) {
	w := sunnyDay()
	w.RainMM = 0.05
	d := physics.Step(board(), physics.Deck{}, w)
	near(t, "film after a shower in the sun", d.WaterMM, 0.05, 1e-12)
	w.RainMM = 30
	d = physics.Step(board(), d, w)
	near(t, "film after a downpour", d.WaterMM, 1, 0) // 1 mm stays on a flat board (common practice)
	hour := physics.WaterHour{RainMM: 30, SurfaceC: 10, AirC: 10, DewC: 5, PressureHPa: 1010, CapMM: 3}
	near(t, "film with a cap of 3 mm", physics.WaterStep(0, hour), 3, 0)
}

// A slab that kept the night's cold sweats when mild damp air comes in.
func TestColdSlabSweats(t *testing.T) {
	slab := board()
	slab.HeatCapacity = physics.HeatSlab
	mild := physics.Weather{AirC: 14, DewC: 12, WindMs: 3, CloudPct: 100, PressureHPa: 1005}
	got := physics.Step(slab, physics.Deck{TempC: 4}, mild)
	if !(got.WaterMM > 0 && got.TempC < mild.DewC) {
		t.Errorf("a slab from 4 °C in mild air is at %v °C with %v mm, want sweating", got.TempC, got.WaterMM)
	}
	dry := physics.Step(board(), physics.Deck{TempC: 4}, mild)
	near(t, "film on a board in the same air", dry.WaterMM, 0, 0)
}

// While wet the deck is cooler than when dry; in a damp still night a film does
// not shrink.
func TestWetSurface(t *testing.T) {
	w := sunnyDay()
	dry := physics.SurfaceTemp(board(), w.AirC, w.DewC, w.WindMs, w.CloudPct, w.SolarWm2)
	wet := physics.WetSurfaceTemp(board(), w.AirC, w.DewC, w.WindMs, w.CloudPct, w.SolarWm2, w.PressureHPa)
	if !(wet < dry-2 && wet > w.DewC) {
		t.Errorf("wet deck %v °C, dry deck %v °C, dew point %v °C: want wet well under dry and over the dew point", wet, dry, w.DewC)
	}
	night := physics.Weather{AirC: 8, DewC: 7.9, CloudPct: 100, PressureHPa: 1010}
	d := physics.Deck{TempC: math.NaN(), WaterMM: 0.4}
	for range 10 {
		d = physics.Step(board(), d, night)
	}
	if d.WaterMM < 0.4 {
		t.Errorf("a film of 0.4 mm shrank to %v mm in a damp still night", d.WaterMM)
	}
}

// The drying of a board in the sun is Penman's with the net radiation of the
// wet board, and a cold slab's is held to what its own temperature gives off.
func TestDryingTakesTheLesser(t *testing.T) {
	w := sunnyDay()
	wet := physics.WetSurfaceTemp(board(), w.AirC, w.DewC, w.WindMs, w.CloudPct, w.SolarWm2, w.PressureHPa)
	net := physics.NetRadiation(board(), wet, w.AirC, w.DewC, w.CloudPct, w.SolarWm2)
	penman := 0.6 * physics.Evaporation(physics.EvapInput{
		AirC: w.AirC, VapourKPa: physics.SatPressureTetens(w.DewC), Wind2Ms: physics.WindAt2m(w.WindMs),
		NetRadMJ: net * 3600 / 1e6, PressureHPa: w.PressureHPa,
	})
	got := physics.Step(board(), physics.Deck{TempC: math.NaN(), WaterMM: 1}, w)
	near(t, "board in the sun", 1-got.WaterMM, penman, 1e-9)

	// 9 °C against a dew point of 8 °C: h (es-ea) / (gamma lambda), times 0.6.
	hour := physics.WaterHour{SurfaceC: 9, AirC: w.AirC, DewC: w.DewC, WindMs: w.WindMs, NetRadWm2: net, PressureHPa: w.PressureHPa}
	h := 5.7 + 3.8*0.7*w.WindMs
	want := 0.6 * h * (1.1477 - 1.0727) / (0.0675 * 2.45e6) * 3600
	near(t, "cold slab in the sun", 1-physics.WaterStep(1, hour), want, 0.02*want)
	hour.SurfaceC = 7.999
	near(t, "surface at the dew point", physics.WaterStep(0.5, hour), 0.5, 1e-3)
}

// A wet deck's temperature solves the full balance: net radiation equals
// convection and the heat that the vapour carries off (2.45 MJ/kg).
func TestWetSurfaceSolvesItsBalance(t *testing.T) {
	for _, w := range []physics.Weather{sunnyDay(), {AirC: 12, DewC: 6, WindMs: 6, CloudPct: 90, SolarWm2: 150, PressureHPa: 1000}} {
		h := physics.Convection(w.WindMs, 1)
		lo, hi := w.DewC, w.AirC+40
		for range 60 {
			mid := (lo + hi) / 2
			vapour := h * (physics.SatPressureTetens(mid) - physics.SatPressureTetens(w.DewC)) / physics.Psychrometric(w.PressureHPa)
			if physics.NetRadiation(board(), mid, w.AirC, w.DewC, w.CloudPct, w.SolarWm2) > h*(mid-w.AirC)+vapour {
				lo = mid
			} else {
				hi = mid
			}
		}
		got := physics.WetSurfaceTemp(board(), w.AirC, w.DewC, w.WindMs, w.CloudPct, w.SolarWm2, w.PressureHPa)
		near(t, "wet deck", got, lo, 0.4) // linearised
	}
}

// Dew warms what it falls on. At the temperature so raised the surface takes up
// just the dew that raised it, to the accuracy of a straight line.
func TestCondensationHeatsTheDeck(t *testing.T) {
	for _, c := range []struct{ surface, air, dew, wind float64 }{{3.2, 10, 5, 0.1}, {12, 18, 15, 1}, {-2, 4, 1, 0.5}} {
		dew := physics.Condensation(c.surface, c.air, c.dew, c.wind, 1, 1013)
		h := physics.Convection(c.wind, 1)
		hr := 4 * 0.9 * physics.BlackBody(c.air) / (c.air + 273.15)
		raised := c.surface + dew/3600*2.45e6/(h+hr)
		gap := physics.SatPressureTetens(c.dew) - physics.SatPressureTetens(raised)
		again := h * gap / (physics.Psychrometric(1013) * 2.45e6) * 3600
		near(t, "dew", dew, again, 0.06*again)
		if !(raised < c.dew) {
			t.Errorf("dew warmed the deck to %v °C, over the dew point %v °C", raised, c.dew)
		}
	}
}

func TestWaterProperties(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s, w := drawSurface(r), drawWeather(r)
		film := rapid.Float64Range(0, 1).Draw(r, "film")
		before := physics.Deck{TempC: w.AirC + rapid.Float64Range(-10, 20).Draw(r, "was"), WaterMM: film}
		after := physics.Step(s, before, w)
		if !(after.WaterMM >= 0 && after.WaterMM <= physics.FilmCap) {
			r.Fatalf("film is %v mm", after.WaterMM)
		}
		if w.RainMM > 0 && after.WaterMM == 0 {
			r.Fatalf("an hour with %v mm of rain ended dry", w.RainMM)
		}
		if after.TempC < w.DewC && after.WaterMM == 0 {
			r.Fatalf("a deck at %v °C under the dew point %v °C is dry", after.TempC, w.DewC)
		}
		wetter := physics.Step(s, physics.Deck{TempC: before.TempC, WaterMM: min(film+0.1, 1)}, w)
		if wetter.WaterMM < after.WaterMM {
			r.Fatalf("a wetter start ended drier: %v under %v mm", wetter.WaterMM, after.WaterMM)
		}
		w.DewC -= 2
		if drier := physics.Step(physics.Surface{Emissivity: s.Emissivity, Exposure: s.Exposure}, before, w); drier.WaterMM < 0 {
			r.Fatalf("film below 0: %v", drier.WaterMM)
		}
	})
}

// Every hole in the weather makes the film unknown, never dry.
func TestMissingWeatherIsNeverDry(t *testing.T) {
	for _, base := range []physics.Weather{clearNight(), sunnyDay()} {
		for i := range 7 {
			w := base
			field := []*float64{&w.AirC, &w.DewC, &w.WindMs, &w.CloudPct, &w.SolarWm2, &w.RainMM, &w.PressureHPa}[i]
			*field = math.NaN()
			if got := physics.Step(board(), physics.Deck{TempC: 10}, w); !math.IsNaN(got.WaterMM) {
				t.Errorf("with hole %d the film is %v mm, want unknown", i, got.WaterMM)
			}
		}
		if got := physics.Step(board(), physics.Deck{WaterMM: math.NaN()}, base); !math.IsNaN(got.WaterMM) {
			t.Errorf("an unknown film became %v mm", got.WaterMM)
		}
	}
}
