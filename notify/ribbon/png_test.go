package ribbon

import (
	"image/color"
	"math"
	"testing"
)

// contrast gives the ratio of two colours' luminances (WCAG 2.1, 1.4.3 and its
// definition of relative luminance, from memory).
func contrast(a, b color.RGBA) float64 {
	lum := func(c color.RGBA) float64 {
		lin := func(v uint8) float64 {
			s := float64(v) / 255
			if s <= 0.03928 {
				return s / 12.92
			}
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return 0.2126*lin(c.R) + 0.7152*lin(c.G) + 0.0722*lin(c.B)
	}
	x, y := lum(a)+0.05, lum(b)+0.05
	return math.Max(x, y) / math.Min(x, y)
}

// The picture must be read by those who see no colours, and off paper: what
// differs in meaning differs in lightness or is hatched.
func TestInksDifferInLightness(t *testing.T) {
	for _, c := range []struct {
		a, b  ink
		least float64
	}{
		{text, paper, 7}, {soft, paper, 4.5}, {careful, paper, 7}, {careful, middle, 3}, {middle, paper, 1.5}, {middle, night, 1.3},
		{closedLine, closedGround, 4.5}, {text, middle, 4.5}, {night, paper, 1.1},
	} {
		if got := contrast(shades[c.a], shades[c.b]); got < c.least {
			t.Errorf("%s on %s has a contrast of %.2f, want %.1f", c.a.class(), c.b.class(), got, c.least)
		}
	}
}
