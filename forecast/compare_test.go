package forecast

import (
	"strings"
	"testing"
	"time"
)

// TestCompareRain is the cross-check of FORECAST_API §7 row 7.
func TestCompareRain(t *testing.T) {
	at := time.Date(2027, 4, 20, 6, 0, 0, 0, time.UTC)
	hours := func(off int, members ...[]float32) Hours {
		h := NewHours(at.Add(time.Duration(off)*time.Hour), len(members[0]), len(members), Rain)
		for m, col := range members {
			copy(h.Cols[Rain][m*h.N:], col)
		}
		return h
	}
	x := Unknown()
	for _, tc := range []struct {
		name  string
		a, b  Hours
		hours int
		gap   [2]float64
		flip  bool
		words string
	}{
		{"both dry", hours(0, []float32{0, 0, 0, 0}), hours(0, []float32{0, 0, 0, 0.1}), 4, [2]float64{0, 0.1}, false, ""},
		{"both wet", hours(0, []float32{0, 2, 2, 0}), hours(0, []float32{0, 4, 4, 1}), 4, [2]float64{4, 9}, false, ""},
		{"one ten times the other", hours(0, []float32{0.3, 0.3, 0, 0}), hours(0, []float32{3, 3, 0, 0}), 4, [2]float64{0.6, 6}, false, "look twice"},
		{"dry against wet", hours(0, []float32{0, 0, 0, 0}), hours(0, []float32{0, 0, 1, 0.5}), 4, [2]float64{0, 1.5}, true, "the hourly forecast has 0.0 mm in 4 hours, met-norway has 1.5 mm"},
		{"a trace in the mean of members", hours(0, []float32{0, 0, 0, 0}), hours(0, []float32{0, 0, 0, 0}, []float32{0, 0.8, 0, 0}), 4, [2]float64{0, 0.4}, false, ""},
		{"members that do not know", hours(0, []float32{0, 0, 0, 0}), hours(0, []float32{x, x, x, x}, []float32{0, 2, 0, x}), 3, [2]float64{0, 2}, true, "in 3 hours"},
		{"only hours that both know", hours(0, []float32{0, x, 0, 0}), hours(1, []float32{9, 0, 0, 9}), 2, [2]float64{0, 0}, false, ""},
		{"other windows", hours(0, []float32{0, 0, 0, 0}), hours(-2, []float32{7, 7, 0, 1.2}), 2, [2]float64{0, 1.2}, true, "look twice"},
		{"nothing in common", hours(0, []float32{0, 0}), hours(10, []float32{9, 9}), 0, [2]float64{0, 0}, false, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			g := CompareRain(tc.a, tc.b, at, at.Add(48*time.Hour))
			near := func(x, y float64) bool { return x-y < 1e-6 && y-x < 1e-6 }
			if g.Hours != tc.hours || !near(g.A, tc.gap[0]) || !near(g.B, tc.gap[1]) || g.Flip != tc.flip || g.Caution() != (tc.words != "") {
				t.Errorf("%+v, want %d h, %v, flip %v", g, tc.hours, tc.gap, tc.flip)
			}
			words := g.Words("the hourly forecast", "met-norway")
			if (words == "") != (tc.words == "") || !strings.Contains(words, tc.words) {
				t.Errorf("words %q, want %q", words, tc.words)
			}
		})
	}
	late := CompareRain(hours(0, []float32{0, 0, 0, 0}), hours(0, []float32{0, 0, 9, 9}), at, at.Add(2*time.Hour))
	if late.Hours != 2 || late.Caution() {
		t.Errorf("hours behind the span count: %+v", late)
	}
}
