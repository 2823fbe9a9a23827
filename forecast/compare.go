package forecast

import (
	"fmt"
	"math"
	"time"
)

// RainGap is how two forecasts of one place differ about the rain of a span.
// Sums are over the hours that both know, in mm; an ensemble counts as the mean
// of its members.
type RainGap struct {
	Hours int // that both know
	A, B  float64
	// Flip: one of them is dry, the other wet.
	Flip bool
}

// The bounds of a gap. Sums further apart than 5 mm contradict each other
// (FORECAST_API §7 row 7). Dry is at most 0.2 mm, the bound of the published
// rain-probability checks (CHECKS.md); wet is 1 mm and more: common practice, no
// source. What lies between is neither, so that a mean over members with a trace
// of rain contradicts nobody.
const (
	gapMM = 5
	dryMM = 0.2
	wetMM = 1
)

// CompareRain compares the rain of two forecasts over [from, to), usually the
// next 48 hours: rain that one of them has missed cannot be told from its own
// figures (FORECAST_API §7 row 7).
func CompareRain(a, b Hours, from, to time.Time) RainGap {
	var g RainGap
	for at := from.UTC().Truncate(time.Hour); at.Before(to); at = at.Add(time.Hour) {
		x, y := meanRain(a, a.Slot(at)), meanRain(b, b.Slot(at))
		if !known(x) || !known(y) {
			continue
		}
		g.Hours++
		g.A += x
		g.B += y
	}
	g.Flip = min(g.A, g.B) <= dryMM && max(g.A, g.B) >= wetMM
	return g
}

// meanRain gives the mean rain of the members that know slot i.
func meanRain(h Hours, i int) float64 {
	sum, n := 0.0, 0
	for m := range h.Members {
		if x := h.At(Rain, m, i); Known(x) {
			sum += float64(x)
			n++
		}
	}
	return sum / float64(n) // NaN where n is 0
}

// Caution reports whether the gap is worth a second look.
func (g RainGap) Caution() bool { return g.Flip || math.Abs(g.A-g.B) > gapMM }

// Words tells a gap that is worth a second look, "" where it is none; a and b
// name the forecasts, such as "the hourly forecast" and "met-norway".
func (g RainGap) Words(a, b string) string {
	if !g.Caution() {
		return ""
	}
	return fmt.Sprintf("two forecasts disagree on rain: %s has %.1f mm in %d hours, %s has %.1f mm; look twice", a, g.A, g.Hours, b, g.B)
}
