package rules

import (
	"testing"

	"laycast/job"
)

// Among starts that would all be called alike the best one counts, nearly as good
// the earliest; one that would be called go comes before a little better one that
// would not.
func TestWhichStartIsTheBest(t *testing.T) {
	b := job.Bounds{Go: 0.70, GoRainOpen: 0.08, NoGo: 0.50, NoGoRain: 0.20}
	for _, c := range []struct {
		name   string
		starts []Start
		want   int
	}{
		{"none at all", nil, -1},
		{"none would be called go: the best", []Start{{Sealed: 0.4}, {Sealed: 0.6}, {Sealed: 0.5}}, 1},
		{"nearly as good: the earliest", []Start{{Sealed: 0.89, Full: 0.04}, {Sealed: 0.9}, {Sealed: 0.91}}, 0},
		{"a later topcoat is worth a quarter", []Start{{Sealed: 0.9}, {Sealed: 0.9, Full: 0.4}}, 1},
		{"too much rain, though better in sum: another that would be called go",
			[]Start{{Sealed: 0.75, RainOpen: 0.08}, {Sealed: 0.79, Full: 0.6, RainOpen: 0.09}}, 0},
		{"the best of those that would",
			[]Start{{Sealed: 0.76, RainOpen: 0.08}, {Sealed: 0.80, Full: 0.6, RainOpen: 0.09}, {Sealed: 0.79, RainOpen: 0.05}}, 2},
		{"too small a chance, though drier: another that would be called go",
			[]Start{{Sealed: 0.69, RainOpen: 0}, {Sealed: 0.71, RainOpen: 0.07}}, 1},
		{"a chance that is more than a twentieth better is not given up",
			[]Start{{Sealed: 0.75, RainOpen: 0.08}, {Sealed: 0.81, RainOpen: 0.09}, {Sealed: 0.70}}, 1},
	} {
		if got := bestOf(c.starts, b); got != c.want {
			t.Errorf("%s: start %d, want %d", c.name, got, c.want)
		}
	}
}
