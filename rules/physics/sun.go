package physics

import (
	"math"
	"time"
)

// Event is a crossing of the sun.
type Event int

// The events of a day. Sunrise and sunset are at zenith 90.833° (refraction
// 34', half the disc 16'), civil dawn and dusk at 96°: the centre of the sun 6°
// under the horizon (definition of the US Naval Observatory; S).
const (
	CivilDawn Event = iota
	Sunrise
	Sunset
	CivilDusk
)

const (
	zenithRise  = 90.833
	zenithCivil = 96.0
	civilBelow  = 90 - zenithCivil // elevation, degrees
)

// SunEvent gives the UTC time at which event e happens on a civil date at lat
// (degrees north) and lon (degrees east), by the NOAA formulas after Meeus:
// within seconds of the NREL solar position values from 35° S to 40° N and a
// minute of almanac values at 51° N (S+R); several minutes off near the poles,
// where the sun only grazes the horizon. The event belongs to the solar noon of
// that date in loc (nil means UTC), so a late dusk in the far north may fall
// after midnight. ok is false when the sun does not cross that day, or when the
// place is not on earth; Daylight then tells day from night.
func SunEvent(e Event, lat, lon float64, year int, month time.Month, day int, loc *time.Location) (at time.Time, ok bool) {
	if !(math.Abs(lat) <= 90 && math.Abs(lon) <= 360) {
		return time.Time{}, false
	}
	if loc == nil {
		loc = time.UTC
	}
	t := solarNoon(lon, time.Date(year, month, day, 12, 0, 0, 0, loc).UTC())
	zenith, side := zenithRise, 1.0
	if e == CivilDawn || e == CivilDusk {
		zenith = zenithCivil
	}
	if e == CivilDawn || e == Sunrise {
		side = -1
	}
	// Declination and equation of time move during the day: take them anew at
	// each better guess. Four rounds settle to well under a second.
	noon := t
	for range 4 {
		p := sunAt(t)
		half, crosses := hourAngle(lat, p.declination, zenith)
		if !crosses {
			return time.Time{}, false
		}
		t = noon.Add(degreesToTime(side*half - (p.hourAngleAt(noon, lon))))
	}
	return t.Round(time.Second), true
}

// CivilDay gives civil dawn and dusk of a date in UTC; ok is false when one of
// them does not happen. Arguments as SunEvent.
func CivilDay(lat, lon float64, year int, month time.Month, day int, loc *time.Location) (dawn, dusk time.Time, ok bool) {
	dawn, up := SunEvent(CivilDawn, lat, lon, year, month, day, loc)
	dusk, down := SunEvent(CivilDusk, lat, lon, year, month, day, loc)
	return dawn, dusk, up && down
}

// SunElevation gives the height of the sun's centre over the horizon in degrees
// at t, lat (degrees north) and lon (degrees east), without refraction, to
// about 0.02° between 1950 and 2050 (M).
func SunElevation(lat, lon float64, t time.Time) float64 {
	p := sunAt(t)
	h, phi, dec := radians(p.hourAngleAt(t, lon)), radians(lat), radians(p.declination)
	s := math.Sin(phi)*math.Sin(dec) + math.Cos(phi)*math.Cos(dec)*math.Cos(h)
	return degrees(math.Asin(clamp(s, -1, 1)))
}

// Daylight reports whether t lies in civil daylight: the sun's centre no more
// than 6° under the horizon. A place that is not known is dark.
func Daylight(lat, lon float64, t time.Time) bool { return SunElevation(lat, lon, t) >= civilBelow }

// solarNoon gives the transit of the sun nearest to the instant about.
func solarNoon(lon float64, about time.Time) time.Time {
	t := about
	for range 2 {
		t = t.Add(-degreesToTime(sunAt(t).hourAngleAt(t, lon)))
	}
	return t
}

// hourAngle gives the hour angle in degrees at which the sun stands at zenith
// degrees from overhead; crosses is false when it never does.
func hourAngle(lat, declination, zenith float64) (deg float64, crosses bool) {
	phi, dec := radians(lat), radians(declination)
	c := (math.Cos(radians(zenith)) - math.Sin(phi)*math.Sin(dec)) / (math.Cos(phi) * math.Cos(dec))
	if !(math.Abs(c) <= 1) {
		return 0, false
	}
	return degrees(math.Acos(c)), true
}

// sunPosition is where the sun stands at an instant.
type sunPosition struct {
	apparentLongitude float64 // degrees, 0 to 360
	declination       float64 // degrees
	equationOfTime    float64 // minutes, sundial less clock
}

// hourAngleAt gives the local hour angle in degrees, -180 to 180, at t.
func (p sunPosition) hourAngleAt(t time.Time, lon float64) float64 {
	u := t.UTC()
	minutes := float64(u.Hour()*60+u.Minute()) + float64(u.Second())/60 + float64(u.Nanosecond())/6e10
	deg := math.Mod((minutes+p.equationOfTime)/4+lon, 360) // from midnight
	if deg < 0 {
		deg += 360
	}
	return deg - 180
}

// sunAt gives the sun's position at t. The difference between clock time and
// dynamical time, about a minute, is left out: it moves the sun by 0.001°.
func sunAt(t time.Time) sunPosition {
	const unixAt2000 = 946728000 // 2000-01-01 12:00 UTC, the epoch J2000.0
	seconds := float64(t.Unix()-unixAt2000) + float64(t.Nanosecond())/1e9
	return sunAtCentury(seconds / 86400 / 36525)
}

// sunAtCentury gives the sun's position c Julian centuries after J2000.0:
// Meeus, Astronomical Algorithms ch. 25 (low accuracy) and 28 (Smart's equation
// of time), as the NOAA solar calculator has them.
func sunAtCentury(c float64) sunPosition {
	meanLon := math.Mod(280.46646+c*(36000.76983+c*0.0003032), 360)
	anomaly := 357.52911 + c*(35999.05029-c*0.0001537)
	ecc := 0.016708634 - c*(0.000042037+c*0.0000001267)
	m := radians(anomaly)
	centre := math.Sin(m)*(1.914602-c*(0.004817+c*0.000014)) +
		math.Sin(2*m)*(0.019993-c*0.000101) + math.Sin(3*m)*0.000289
	node := radians(125.04 - c*1934.136)
	apparent := meanLon + centre - 0.00569 - 0.00478*math.Sin(node)
	obliquity := radians(23 + (26+(21.448-c*(46.815+c*(0.00059-c*0.001813)))/60)/60 + 0.00256*math.Cos(node))

	y := math.Pow(math.Tan(obliquity/2), 2)
	l := radians(meanLon)
	eq := y*math.Sin(2*l) - 2*ecc*math.Sin(m) + 4*ecc*y*math.Sin(m)*math.Cos(2*l) -
		0.5*y*y*math.Sin(4*l) - 1.25*ecc*ecc*math.Sin(2*m)

	return sunPosition{
		apparentLongitude: math.Mod(math.Mod(apparent, 360)+360, 360),
		declination:       degrees(math.Asin(math.Sin(obliquity) * math.Sin(radians(apparent)))),
		equationOfTime:    4 * degrees(eq),
	}
}

func radians(deg float64) float64 { return deg * math.Pi / 180 }
func degrees(rad float64) float64 { return rad * 180 / math.Pi }

// degreesToTime turns an angle of the earth's turning into time: 4 min/degree.
func degreesToTime(deg float64) time.Duration {
	return time.Duration(deg * 4 * float64(time.Minute))
}
