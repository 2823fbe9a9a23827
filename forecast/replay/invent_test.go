package replay

import (
	"math"
	"reflect"
	"testing"
)

func TestInventIsDetermined(t *testing.T) {
	if !reflect.DeepEqual(inventedYear(3), inventedYear(3)) {
		t.Error("the same seed gave two years")
	}
	if reflect.DeepEqual(inventedYear(3).Rows[:48], inventedYear(4).Rows[:48]) {
		t.Error("two seeds gave the same days")
	}
	if n := len(Invent(1, 44.6, -63.6, 2028).Rows); n != 366*24 {
		t.Errorf("a leap year has %d hours, want %d", n, 366*24)
	}
}

// The bounds are those asked of the demo's weather (assumption, no source).
func TestInventedClimate(t *testing.T) {
	var mm, wet, summerWet float64
	const seeds = 20
	for seed := range uint64(seeds) {
		c := climateOf(inventedYear(seed + 1))
		mm += c.mm / seeds
		wet += c.wetShare / seeds
		summerWet += c.summerWetDays / seeds
		within(t, seed, "annual rain, mm", c.mm, 850, 1700)
		within(t, seed, "share of wet hours", c.wetShare, 0.08, 0.16)
		within(t, seed, "share of summer days with rain", c.summerWetDays, 0.2, 0.65)
		within(t, seed, "winter air, °C", c.air[0], -7, 0)
		within(t, seed, "spring air, °C", c.air[1], 2.5, 8)
		within(t, seed, "summer air, °C", c.air[2], 15, 20)
		within(t, seed, "autumn air, °C", c.air[3], 6, 12)
		within(t, seed, "mean wind, m/s", c.wind, 4, 6)
		within(t, seed, "share of hours above 10 m/s", c.windy, 0.01, 0.1)
		within(t, seed, "wind in rain over wind in the dry", c.wetWind/c.dryWind, 1.1, 2)
		within(t, seed, "depression in rain over that in the dry", c.wetDep/c.dryDep, 0.05, 0.6)
		within(t, seed, "longest dry spell, h", c.longestDry, 150, 800)
		within(t, seed, "longest wet spell, h", c.longestWet, 10, 80)
	}
	within(t, 0, "annual rain of all, mm", mm, 900, 1600)
	within(t, 0, "share of wet hours of all", wet, 0.10, 0.15)
	within(t, 0, "share of summer days with rain of all", summerWet, 0.30, 0.45)
}

func within(t *testing.T, seed uint64, what string, got, low, high float64) {
	t.Helper()
	if !(got >= low && got <= high) {
		t.Errorf("seed %d: %s is %.3f, want %g to %g", seed, what, got, low, high)
	}
}

func TestInventedHoursArePlausible(t *testing.T) {
	for _, row := range inventedYear(2).Rows {
		switch {
		case row.Dew > row.Air, row.Gust < row.Wind, row.Wind < 0, row.Rain < 0, row.Rain > 40:
			t.Fatalf("implausible hour: %+v", row)
		case row.Solar < 0 || row.Solar > 1100, row.Air < -30 || row.Air > 36, row.Pressure < 950 || row.Pressure > 1060:
			t.Fatalf("implausible hour: %+v", row)
		case row.At.UTC().Hour() == 5 && row.Solar > 0: // past midnight there
			t.Fatalf("sun at night: %+v", row)
		}
	}
}

func TestInventedLowHasUnitVariance(t *testing.T) {
	w := newInvented(1, 44.6, -63.6)
	low := make([]float64, 400000)
	for i := range low {
		w.step()
		low[i] = w.low
	}
	if d := deviation(low); math.Abs(d-1) > 0.05 {
		t.Errorf("standard deviation is %.3f, want 1", d)
	}
}

// yearly is what a test asks of a year.
type yearly struct {
	mm, wetShare, summerWetDays, wind, windy float64
	wetWind, dryWind, wetDep, dryDep         float64
	longestDry, longestWet                   float64
	air                                      [4]float64 // by season, winter first
}

// climateOf sums a year up; hours that miss a value count for nothing.
func climateOf(rec Record) yearly {
	var y yearly
	var n, wet, dry float64
	var perSeason [4]float64
	var run, pause float64
	perDay := map[int]float64{}
	for _, row := range rec.Rows {
		if math.IsNaN(row.Air + row.Dew + row.Rain + row.Wind) {
			continue
		}
		n++
		season := int(row.At.Month()) % 12 / 3
		perSeason[season]++
		y.air[season] += row.Air
		y.mm += row.Rain
		y.wind += row.Wind
		if row.Wind > 10 {
			y.windy++
		}
		if season == 2 {
			perDay[row.At.YearDay()] += row.Rain
		}
		if row.Rain >= wetLeast {
			wet++
			run, pause = run+1, 0
			y.wetWind += row.Wind
			y.wetDep += row.Air - row.Dew
		} else {
			dry++
			run, pause = 0, pause+1
			y.dryWind += row.Wind
			y.dryDep += row.Air - row.Dew
		}
		y.longestWet, y.longestDry = max(y.longestWet, run), max(y.longestDry, pause)
	}
	for _, mm := range perDay {
		if mm >= 0.2 {
			y.summerWetDays += 1 / float64(len(perDay))
		}
	}
	for s := range y.air {
		y.air[s] /= perSeason[s]
	}
	y.wetShare = wet / n
	y.wind, y.windy = y.wind/n, y.windy/n
	y.wetWind, y.wetDep, y.dryWind, y.dryDep = y.wetWind/wet, y.wetDep/wet, y.dryWind/dry, y.dryDep/dry
	return y
}
