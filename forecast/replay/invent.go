package replay

import (
	"math"
	"math/rand/v2"
	"time"
)

// Invent makes a year of hourly weather that never was: a cool, damp sea coast
// like those near 44.6 N 63.6 W (degrees; lat and lon place the sun and the
// solar noon). It is nobody's data and no climate of any place: its seasons,
// regimes and amounts are chosen by hand (common sense, no source) to give wet
// windy spells and settled dry ones for the demo and for tests. The same
// arguments give the same year. Every measure of every hour is known.
func Invent(seed uint64, lat, lon float64, year int) Record {
	w := newInvented(seed, lat, lon)
	start := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)
	end := start.AddDate(1, 0, 0)
	for range 240 { // let the regimes run in
		w.step()
	}
	rec := Record{Lat: lat, Lon: lon}
	for t := start; t.Before(end); t = t.Add(time.Hour) {
		w.step()
		rec.Rows = append(rec.Rows, w.row(t))
	}
	return rec
}

// An invented year is driven by a few slow unit-variance processes.
type invented struct {
	lat, lon float64
	rng      *rand.Rand
	trough   *drift  // drives low: passing lows, days apart
	band     *drift  // bands of rain within a low, hours
	shower   *drift  // single showers, an hour or so
	airMass  *drift  // warm or cold for the season, days
	breeze   *drift  // wind of its own, half a day
	drying   *drift  // dry or damp for the regime, a day
	low      float64 // smoothed trough: 1 is a low passing, -1 settled
}

// Hours over which the processes forget (e-folding).
const (
	troughHours  = 15
	bandHours    = 5
	showerHours  = 1.3
	airMassHours = 45
	breezeHours  = 9
	dryingHours  = 22
)

func newInvented(seed uint64, lat, lon float64) *invented {
	p := func(name string, hours float64) *drift {
		return newDrift(stream(seed, "invent "+name), math.Exp(-1/hours))
	}
	return &invented{
		lat: lat, lon: lon, rng: stream(seed, "invent amounts"),
		trough: p("trough", troughHours), band: p("band", bandHours), shower: p("shower", showerHours),
		airMass: p("air", airMassHours), breeze: p("breeze", breezeHours), drying: p("drying", dryingHours),
	}
}

// step moves every process on by an hour. The trough is smoothed once more, so
// that lows come and go without a saw's teeth.
func (w *invented) step() {
	keep := math.Exp(-1.0 / troughHours)
	w.low = keep*w.low + (1-keep)*math.Sqrt2*w.trough.next() // variance 1: see TestInventedLowHasUnitVariance
	for _, d := range []*drift{w.band, w.shower, w.airMass, w.breeze, w.drying} {
		d.next()
	}
}

// row reads the weather off the processes at t.
func (w *invented) row(t time.Time) Row {
	summer := seasonAt(t)
	rain, cloud := w.wet(summer)
	sun := sunSine(t, w.lat, w.lon)
	day := w.dayCourse(t, sun)
	air := 7 + 11.5*summer + (3.3-1.2*summer)*w.airMass.now + 1.3*w.low +
		(3.4+1.1*summer)*(1-0.6*cloud)*day
	if rain > 0 {
		air -= 0.6
	}
	dep := (2.6 + 0.5*summer + (1.6+2.0*summer)*(1-0.6*cloud)*day) * math.Exp(0.45*w.drying.now-0.25*w.low)
	dep = math.Max(0.1, dep)
	if rain > 0 {
		dep = math.Min(0.2+0.3*dep, 2.5)
	}
	wind := math.Exp(1.42-0.16*summer+0.28*w.low+0.38*w.breeze.now) + 0.7*(1+summer)*math.Max(0, sun)
	gust := wind*(1.45+0.12*w.rng.NormFloat64()) + 0.4
	pressure := 1014.5 + summer - (8.5-3.2*summer)*w.low
	return Row{
		At: t, Air: tenth(air), Dew: tenth(math.Min(air, air-dep)), Rain: rain, Wind: tenth(wind),
		Gust: tenth(math.Max(wind, gust)), Solar: math.Round(clearSky(sun) * (1 - dimmed(cloud))), Pressure: tenth(pressure),
	}
}

// wet gives the rain of the hour (mm, in tenths) and the cloud cover (0..1).
// Summer rain is rarer and heavier.
func (w *invented) wet(summer float64) (rain, cloud float64) {
	slow := 0.66*w.low + 0.55*w.band.now
	cloud = normalShare(0.35 + 1.1*slow)
	wetness := slow + 0.50*w.shower.now
	over := wetness - (1.10 + 0.40*summer)
	burst := math.Exp(0.6 * w.rng.NormFloat64()) // drawn in every hour, so that hours do not shift
	if over <= 0 {
		return 0, cloud
	}
	rain = tenth((2.0 + 0.9*summer) * math.Pow(over, 1.1) * burst)
	return rain, math.Max(cloud, 0.85)
}

// seasonAt runs from -1 in late January to 1 in late July.
func seasonAt(t time.Time) float64 {
	return math.Cos(2 * math.Pi * (float64(t.YearDay()) - 207) / 365.25)
}

// dayCourse runs over the day from about -1 before sunrise to 1 in the
// afternoon, two and a half hours after the sun's highest.
func (w *invented) dayCourse(t time.Time, sun float64) float64 {
	solar := float64(t.Hour()) + w.lon/15
	return 0.85*math.Cos(2*math.Pi*(solar-14.5)/24) + 0.3*math.Max(0, sun) - 0.05
}

// tenth rounds as a station reports.
func tenth(x float64) float64 { return math.Round(x*10) / 10 }
