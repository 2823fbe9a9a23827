package forecast

import "math"

// Farthest is how far the middle of a source's grid cell may lie from the place
// asked for, in km: an answer about somewhere else is no answer. (FORECAST_API
// §1.5: "a few kilometres"; half the diagonal of a 0.25° cell is at most 20 km.)
const Farthest = 30

// KmTo gives the great-circle distance to a place in km (haversine, mean earth
// radius 6371 km).
func (c Cell) KmTo(lat, lon float64) float64 {
	rad := func(deg float64) float64 { return deg * math.Pi / 180 }
	s, t := math.Sin(rad(lat-c.Lat)/2), math.Sin(rad(lon-c.Lon)/2)
	return 2 * 6371 * math.Asin(math.Sqrt(min(1, s*s+math.Cos(rad(c.Lat))*math.Cos(rad(lat))*t*t)))
}
