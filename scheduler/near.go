package scheduler

import (
	"math"

	"laycast/forecast"
)

// Near gives where some cells lie as one number, such that places with numbers close
// to each other are mostly close to each other (a Z curve, Morton 1966; from memory):
// the work of many firms is taken in its order, so that what one's weather cost is
// still there for its neighbours. 0 where there are no cells.
func Near(cells []forecast.Cell) int64 {
	if len(cells) == 0 {
		return 0
	}
	var lat, lon float64
	for _, c := range cells {
		lat, lon = lat+c.Lat, lon+c.Lon
	}
	n := float64(len(cells))
	north := uint64(math.Round((lat/n + 90) / forecast.CellDegrees))
	east := uint64(math.Round((math.Mod(lon/n+540, 360)) / forecast.CellDegrees))
	out := int64(0)
	for bit := range 13 { // 7,200 cells about the world
		out |= int64(north>>bit&1)<<(2*bit+1) | int64(east>>bit&1)<<(2*bit)
	}
	return out
}
