package rules

import (
	"math"
	"testing"

	"laycast/forecast"
)

// TestSpreadHoldsTheMembers: of twenty members of which member m has m/10 mm, two
// lie below the tenth, five below the quarter, and so on; an hour that most do
// not know is left out.
func TestSpreadHoldsTheMembers(t *testing.T) {
	s := fair(may4, 20)
	for m := range 20 {
		s.member(forecast.Rain, m, 12, 13, float32(m)/10)
		if m < 11 {
			s.member(forecast.Rain, m, 14, 15, float32(math.NaN()))
		}
	}
	g := s.ground(small())
	bands := g.Spread(LimitRain, clock(may4, 11), clock(may4, 16))
	if len(bands) != 4 {
		t.Fatalf("%d hours of 11:00 to 16:00, one of them not known: %+v", len(bands), bands)
	}
	b := bands[1]
	if !b.At.Equal(clock(may4, 12)) || b.Known != 20 || !near(b.Tenth, 0.2) || !near(b.Quarter, 0.5) || !near(b.Middle, 1) || !near(b.Upper, 1.5) || !near(b.Ninth, 1.8) {
		t.Errorf("%+v", b)
	}
	if b := bands[0]; b.Tenth != 0 || b.Ninth != 0 {
		t.Errorf("a dry hour: %+v", b)
	}
	table := g.HourTable(clock(may4, 11), clock(may4, 12))
	dew := g.Spread(LimitDewMargin, clock(may4, 11), clock(may4, 12))
	if len(dew) != 1 || !near(dew[0].Middle, table[0].DewMargin) {
		t.Errorf("dew margin %+v, the hour table has %v", dew, table[0].DewMargin)
	}
	if out := g.Spread(LimitRain, clock(may4, -200), clock(may4, -199)); len(out) != 0 {
		t.Errorf("before the forecast: %+v", out)
	}
	if v, ok := Polyester().LaminateLeast(LimitDewMargin); !ok || v != 3 {
		t.Errorf("least dew margin %v, %v", v, ok)
	}
	if _, ok := Polyester().LaminateLeast(LimitWind); ok {
		t.Error("wind has a least value")
	}
}
