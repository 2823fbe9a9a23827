package physics_test

import (
	"math"
	"strings"
	"testing"

	"laycast/rules/physics"

	"pgregory.net/rapid"
)

// USDA Wood Handbook Table 4-2, some cells (S+R, tolerance 0.06).
func TestEMCTable(t *testing.T) {
	for _, c := range []struct{ air, rh, emc float64 }{
		{-1.11, 85, 18.5}, {21.11, 10, 2.5}, {10, 50, 9.5}, {10, 85, 18.4}, {21.11, 65, 12.0}, {32.22, 80, 15.4},
	} {
		near(t, "EMC", physics.EMC(c.air, c.rh), c.emc, 0.06)
	}
	near(t, "EMC of bone-dry air", physics.EMC(15, 0), 0, 0)
	near(t, "EMC over 100 %", physics.EMC(15, 120), physics.EMC(15, 100), 0)
}

func TestEMCFile(t *testing.T) {
	rows := readChecks(t, "wood_emc.csv")
	atLeast(t, len(rows), 192)
	for _, r := range rows {
		air := (r.num(t, "t_f") - 32) / 1.8 // the table is in °F
		got := physics.EMC(air, r.num(t, "rh_pct"))
		near(t, "EMC at "+r["t_f"]+" °F "+r["rh_pct"]+" %", got, r.num(t, "emc_pct_table"), 0.06)
		near(t, "EMC recomputed", got, r.num(t, "emc_pct_hailwood_horrobin"), 2e-3)
	}
}

// Derived rows (D): they guard the formula, they are no published numbers.
func TestRateFactorValues(t *testing.T) {
	for _, c := range []struct{ e, at, factor float64 }{
		{40, 5, .4127}, {50, 5, .3308}, {50, 10, .4846}, {50, 30, 1.9674}, {60, 15, .6524},
	} {
		near(t, "rate factor", physics.RateFactor(c.at, c.e), c.factor, 1e-4)
	}
	near(t, "at 20 °C", physics.RateFactor(20, 50), 1, 1e-12)
	near(t, "six hours each at 10, 20, 30 °C", physics.AgeHours([]float64{10, 20, 30}, 6, 50), 20.712, 1e-3)
	near(t, "10 to 20 °C at 47.83 kJ/mol", 1/physics.RateFactor(10, 47.83), 2, 1e-3)
	near(t, "absolute zero", physics.RateFactor(-300, 50), 0, 0)
}

func TestCureFile(t *testing.T) {
	checked := 0
	for _, r := range readChecks(t, "cure.csv") {
		parts := strings.Split(r["id"], "_")
		switch parts[0] {
		case "arr":
			in := scan(t, parts[1:])
			near(t, r["id"], physics.RateFactor(in[1], in[0]), r.num(t, "expected"), 1e-4)
		case "c1074": // Q = E/R of 5000 K
			at := scan(t, parts[2:])[0]
			near(t, r["id"], physics.RateFactor(at, 5000*8.314/1000), r.num(t, "expected"), 1e-4)
		case "hist":
			near(t, r["id"], physics.AgeHours([]float64{10, 20, 30}, 6, 50), r.num(t, "expected"), 1e-3)
		default:
			continue
		}
		checked++
	}
	atLeast(t, checked, 25)
}

func TestHoursTo(t *testing.T) {
	at, ok := physics.HoursTo(1, []float64{20, 20, 20}, 1, 50)
	near(t, "one hour at 20 °C", at, 1, 1e-12)
	at, ok2 := physics.HoursTo(1.5, []float64{20, 30}, 1, 50)
	near(t, "half an hour more at 30 °C", at, 1+0.5/1.96744, 1e-4)
	if _, cold := physics.HoursTo(2, []float64{0, 0, 0}, 1, 50); !ok || !ok2 || cold {
		t.Errorf("ok = %v, %v, and in the cold %v; want true, true, false", ok, ok2, cold)
	}
	if _, known := physics.HoursTo(2, []float64{25, math.NaN(), 25, 25}, 1, 50); known {
		t.Error("an unknown hour counted as cured")
	}
}

// A firm's own gel time moves with temperature, and says when it is stretched.
func TestGelMinutes(t *testing.T) {
	near(t, "at the anchor", physics.GelMinutes(25, 18, 18, 50), 25, 1e-12)
	near(t, "20 min at 20 °C moved to 10 °C", physics.GelMinutes(20, 20, 10, 50), 20/.4846, 0.01)
	for _, c := range []struct {
		at, anchor float64
		want       bool
	}{
		{10, 20, false}, {9.9, 20, true}, {30, 20, false}, {30.1, 20, true}, {math.NaN(), 20, true}, {20, math.NaN(), true},
	} {
		if got := physics.Extrapolated(c.at, c.anchor); got != c.want {
			t.Errorf("Extrapolated(%v, %v) = %v, want %v", c.at, c.anchor, got, c.want)
		}
	}
}

func TestCureAndWoodProperties(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		at := rapid.Float64Range(-20, 60).Draw(r, "at")
		e := rapid.Float64Range(30, 90).Draw(r, "e")
		if !(physics.RateFactor(at+0.5, e) > physics.RateFactor(at, e)) {
			r.Fatalf("cure is no faster at %v than at %v °C", at+0.5, at)
		}
		temps := rapid.SliceOfN(rapid.Float64Range(-5, 45), 1, 24).Draw(r, "temps")
		age := physics.AgeHours(temps, 1, e)
		hours, ok := physics.HoursTo(age*0.999, temps, 1, e)
		if !ok || hours > float64(len(temps)) {
			r.Fatalf("age %v is reached after %v h (%v) of %d", age, hours, ok, len(temps))
		}
		rh := rapid.Float64Range(0, 99).Draw(r, "rh")
		if physics.EMC(at, rh+1) < physics.EMC(at, rh) {
			r.Fatalf("wood in damper air is drier at %v °C %v %%", at, rh)
		}
	})
}
