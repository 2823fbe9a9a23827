package physics

import (
	"math"
	"time"
)

// Global radiation under a clear sky and what cloud leaves of it, by Kasten &
// Czeplak 1980, Solar Energy 24(2) 177-189: 910 sin h − 30 W/m² for the sun's
// height h, times 1 − 0.75 n^3.4 for a cover n from 0 to 1 (M: from memory; the
// cloud term is so cited by several public programs, the paper was not read).
// It was fitted at Hamburg; hours scatter by a third and more about it.
const (
	clearSlope = 910 // W/m²
	clearLoss  = 30  // W/m²
	cloudMost  = 0.75
	cloudPower = 3.4
)

// ClearSky estimates the global radiation on the horizontal under a clear sky in
// W/m², as the mean of the hour that begins at `from`, at lat (degrees north)
// and lon (degrees east).
func ClearSky(lat, lon float64, from time.Time) float64 {
	const parts = 4
	sum := 0.0
	for k := range parts {
		at := from.Add(time.Duration(2*k+1) * time.Hour / (2 * parts))
		sum += max(clearSlope*math.Sin(radians(SunElevation(lat, lon, at)))-clearLoss, 0)
	}
	return sum / parts
}

// UnderCloud gives what a cloud cover in percent leaves of a clear sky's global
// radiation, in its unit.
func UnderCloud(clear, cloudPct float64) float64 {
	return clear * (1 - cloudMost*math.Pow(clamp(cloudPct/100, 0, 1), cloudPower))
}
