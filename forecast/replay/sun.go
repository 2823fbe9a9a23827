package replay

import (
	"math"
	"time"
)

// j2000 is the epoch that almanac formulas count days from.
var j2000 = time.Date(2000, 1, 1, 12, 0, 0, 0, time.UTC)

// sunSine gives the sine of the sun's height at t by the almanac's short
// formula for the sun (good to about 0.01°; from memory, tested against plain
// geometry), without refraction. The product's own sun is in rules/physics,
// which this package may not import.
func sunSine(t time.Time, lat, lon float64) float64 {
	days := t.Sub(j2000).Hours() / 24           // elapsed: days of 24 hours since noon of 1 January 2000
	mean := (280.460 + 0.9856474*days) * rad    // mean longitude
	anomaly := (357.528 + 0.9856003*days) * rad // mean anomaly
	long := mean + (1.915*math.Sin(anomaly)+0.020*math.Sin(2*anomaly))*rad
	tilt := (23.439 - 0.0000004*days) * rad
	ascension := math.Atan2(math.Cos(tilt)*math.Sin(long), math.Cos(long))
	sinDec := math.Sin(tilt) * math.Sin(long)
	cosDec := math.Sqrt(1 - sinDec*sinDec)
	sidereal := (18.697374558 + 24.06570982441908*days) * 15 * rad
	hour := sidereal + lon*rad - ascension
	return math.Sin(lat*rad)*sinDec + math.Cos(lat*rad)*cosDec*math.Cos(hour)
}

const rad = math.Pi / 180

// clearSky gives the global radiation (W/m²) under a cloudless sky by
// Haurwitz's form, 1098 s exp(-0.057/s) for s the sine of the sun's height
// (coefficients from memory, no source read here).
func clearSky(sine float64) float64 {
	if sine < 0.01 {
		return 0
	}
	return 1098 * sine * math.Exp(-0.057/sine)
}

// Kasten and Czeplak's form of what cloud takes away: 0.75 n^3.4 for a cover
// n from 0 to 1 (from memory, no source read here).
const (
	cloudMost  = 0.75
	cloudPower = 3.4
)

// dimmed gives the share of radiation that a cloud cover (0..1) takes away.
func dimmed(cover float64) float64 { return cloudMost * math.Pow(cover, cloudPower) }

// cover gives the cloud cover (0..1) that takes a share of radiation away.
func cover(dim float64) float64 {
	return math.Pow(math.Max(0, math.Min(1, dim/cloudMost)), 1/cloudPower)
}
