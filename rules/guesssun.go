package rules

import (
	"time"

	"laycast/forecast"
	"laycast/rules/physics"
)

// guessSun fills in the sun for runs of a source that tells no radiation at all,
// from the sun's height and the cloud cover. An hour that is missing in a column
// that is there stays unknown: something went wrong with it.
// The columns begin with hour `from` of the ground.
func (g *Ground) guessSun(solar, cloud column, past, ahead *forecast.Run, from int) {
	a := ahead.Hours.Slot(g.start) + from
	for i := range solar {
		r := ahead
		if a+i < 0 && past != nil {
			r = past
		}
		if r.Hours.Cols[forecast.Solar] == nil {
			solar[i] = physics.UnderCloud(g.clearSky(from+i), cloud[i])
		}
	}
}

// clearSky gives the radiation of hour i under a clear sky.
func (g *Ground) clearSky(i int) float64 {
	if g.clear == nil {
		g.clear = make([]float64, g.n)
		for k := range g.clear {
			g.clear[k] = physics.ClearSky(g.lat, g.lon, g.start.Add(time.Duration(k)*time.Hour))
		}
	}
	return g.clear[i]
}
