package rules

import (
	"math"
	"testing"

	"laycast/forecast"
)

// TestHourTableTellsTheBoard: at 10 °C and 65 % wood comes to 12.3 % (USDA Wood
// Handbook table 4-2, as CHECKS section 4 has it; S+R).
func TestHourTableTellsTheBoard(t *testing.T) {
	sky := fair(may4, 20).hour(forecast.Air, 0, 24, 10).hour(forecast.RH, 0, 24, 65)
	rows := sky.ground(small()).HourTable(clock(may4, 8), clock(may4, 17))
	if len(rows) != 9 {
		t.Fatalf("%d hours", len(rows))
	}
	for _, h := range rows {
		if math.Abs(h.Board-12.3) > 0.06 {
			t.Errorf("%s: %.2f %%, want 12.3", h.At, h.Board)
		}
	}
}
