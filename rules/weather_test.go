package rules

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules/physics"
)

// may4 is the day that most tests judge: a Tuesday, long after dawn at 07:30.
var may4 = job.Date{Year: 2027, Month: time.May, Day: 4}

// skyHours is how many hours a hand-made forecast has, from the midnight two
// days before its day.
const skyHours = 5 * 24

// handmade is a forecast that a test writes itself: the same hours in every
// member until a test says otherwise.
type handmade struct {
	day   job.Date
	hours forecast.Hours
}

// fair makes a dry, mild, breezy spell for n members around a day: every limit
// holds in every hour.
func fair(day job.Date, n int) *handmade {
	start := job.Instant(day.AddDays(-2), 0, time.UTC)
	h := forecast.NewHours(start, skyHours, n, forecast.Air, forecast.Dew, forecast.RH, forecast.Rain,
		forecast.Wind, forecast.Gust, forecast.Cloud, forecast.Solar)
	s := &handmade{day: day, hours: h}
	s.always(forecast.Air, 16).always(forecast.Dew, 6).always(forecast.RH, 52).always(forecast.Rain, 0)
	return s.always(forecast.Wind, 3).always(forecast.Gust, 6).always(forecast.Cloud, 50).always(forecast.Solar, 300)
}

// always sets a measure in every hour of every member.
func (s *handmade) always(v forecast.Var, x float32) *handmade {
	return s.hour(v, -48, s.hours.N-48, x)
}

// hour sets a measure in every member for the hours [from, to) of the day, UTC;
// hours before 0 lie on the days before.
func (s *handmade) hour(v forecast.Var, from, to int, x float32) *handmade {
	for m := range s.hours.Members {
		s.member(v, m, from, to, x)
	}
	return s
}

// member sets a measure in one member.
func (s *handmade) member(v forecast.Var, m, from, to int, x float32) *handmade {
	for i := from; i < to; i++ {
		s.hours.Cols[v][m*s.hours.N+48+i] = x
	}
	return s
}

// run makes a run of hours. The digest is not that of the hours: it seeds the
// paces of the crews, which must stay when a test changes an hour.
func run(e forecast.Endpoint, h forecast.Hours) *forecast.Run {
	return &forecast.Run{Source: "test", Endpoint: e, Hours: forecast.Quantise(h), Digest: "paces of the test"}
}

// ground builds the ground under the forecast for a case.
func (s *handmade) ground(c Case) *Ground {
	return NewGround(forecast.Issue{Ens: run(forecast.Ensemble, s.hours)}, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
}

// judge gives the verdict of the day.
func (s *handmade) judge(c Case) Day {
	return s.ground(c).Judge(c, s.day, time.Time{}, job.DefaultFirm().Bounds)
}

// roof makes the case of a square roof with trim all round, for a pair in the
// zone UTC.
func roof(areaM2 float64, work job.Work, deck job.Deck) Case {
	j := job.Job{
		ID: "J1", Site: job.Site{Lat: 52, Lon: 0, ElevationM: 50, Zone: "UTC"},
		Roof: job.Roof{AreaM2: areaM2, Work: work, Deck: deck, Edges: []job.Edge{{Kind: job.Drip, LengthM: 4 * math.Sqrt(areaM2)}}},
	}
	return Case{Job: job.Booking{Job: j, State: job.Booked}, Crew: 2, Profile: Polyester(), Hours: job.DefaultFirm().Work, Zone: time.UTC}
}

// small is the usual case of a test: it is done in a day in every member.
func small() Case { return roof(8, job.Replace, job.NewBoard) }

// clock gives the time of a day, in UTC.
func clock(d job.Date, hour float64) time.Time {
	return job.Instant(d, 0, time.UTC).Add(time.Duration(hour * float64(time.Hour)))
}

// walkOf lives the day in member m from a time on site.
func walkOf(t testing.TB, g *Ground, c Case, d job.Date, m int, start time.Time) result {
	t.Helper()
	p, ok := g.dayPlan(c, d)
	if !ok {
		t.Fatalf("no work on %s", d)
	}
	return g.walk(&p, m, g.hour(start))
}

// span gives the passage of a stage.
func (r result) span(s Stage) (passage, bool) {
	for _, p := range r.passages[:r.count] {
		if p.stage == s {
			return p, true
		}
	}
	return passage{}, false
}

// place is a site with its zone, for random cases.
type place struct {
	lat, lon float64
	zone     *time.Location
}

// places have whole, half and quarter hours of offset, with and without a
// clock change, both hemispheres and one near the polar circle.
func places(t testing.TB) []place {
	var out []place
	for _, p := range []struct {
		lat, lon float64
		zone     string
	}{
		{53.3, -6.3, "Europe/Dublin"}, {22.6, 88.4, "Asia/Kolkata"}, {47.6, -52.7, "America/St_Johns"},
		{-36.8, 174.8, "Pacific/Auckland"}, {27.7, 85.3, "Asia/Kathmandu"}, {64.1, -21.9, "Atlantic/Reykjavik"},
	} {
		z, err := time.LoadLocation(p.zone)
		if err != nil {
			t.Fatalf("load the zone %s: %v", p.zone, err)
		}
		out = append(out, place{p.lat, p.lon, z})
	}
	return out
}

// temper says how rough a random sky is.
type temper struct {
	air, swing, spread float64 // °C: mean, half the daily swing, air less dew point
	rain               float64 // share of hours with rain
	wind               float64 // m/s
	cloud              float64 // %
	gaps               float64 // share of hours unknown
}

// someTemper draws a temper that leaves a fair share of the days doubtful.
func someTemper(rng *rand.Rand) temper {
	return temper{
		air: 2 + 24*rng.Float64(), swing: 7 * rng.Float64(), spread: 1 + 10*rng.Float64(),
		rain: []float64{0, 0.02, 0.08, 0.25}[rng.IntN(4)], wind: 2 + 7*rng.Float64(), cloud: 100 * rng.Float64(),
		gaps: []float64{0, 0, 0, 0.004}[rng.IntN(4)],
	}
}

// rains are amounts around the limits.
var rains = []float64{0.02, 0.05, 0.09, 0.1, 0.11, 0.15, 0.2, 0.21, 0.3, 1, 4}

// randomHours makes the hours of members who share the temper and little else.
func randomHours(rng *rand.Rand, x temper, start time.Time, n, members int, lat, lon float64) forecast.Hours {
	h := forecast.NewHours(start, n, members, forecast.Air, forecast.Dew, forecast.RH, forecast.Rain,
		forecast.Wind, forecast.Gust, forecast.Cloud, forecast.Solar)
	put := func(v forecast.Var, k int, y float64) {
		if rng.Float64() >= x.gaps/8 {
			h.Cols[v][k] = float32(y)
		}
	}
	for m := range members {
		off, calm := rng.NormFloat64()*1.5, rng.NormFloat64()*1.5
		for i := range n {
			at := h.Start.Add(time.Duration(i) * time.Hour)
			sun := math.Sin(math.Max(physics.SunElevation(lat, lon, at.Add(30*time.Minute)), 0) * math.Pi / 180)
			cloud := math.Min(math.Max(x.cloud+20*rng.NormFloat64(), 0), 100)
			air := x.air + off + x.swing*(2*sun-1) + 0.4*rng.NormFloat64()
			dew := math.Min(x.air+off-x.swing/2-x.spread+0.4*rng.NormFloat64()+x.spread/2, air)
			wind := math.Max(x.wind+calm+1.2*rng.NormFloat64(), 0)
			rain, k := 0.0, m*n+i
			if rng.Float64() < x.rain {
				rain = rains[rng.IntN(len(rains))]
			}
			put(forecast.Air, k, air)
			put(forecast.Dew, k, dew)
			put(forecast.RH, k, physics.RelativeHumidity(air, dew))
			put(forecast.Rain, k, rain)
			put(forecast.Wind, k, wind)
			put(forecast.Gust, k, 1.4*wind+rng.Float64())
			put(forecast.Cloud, k, cloud)
			put(forecast.Solar, k, 1000*sun*(1-0.0075*cloud))
		}
	}
	return h
}

// scene is a random case with its weather.
type scene struct {
	c   Case
	d   job.Date
	hrs forecast.Hours // of the ensemble, from two days before d
}

// someScene draws a scene, determined by the seed.
func someScene(t testing.TB, seed uint64, members int) scene {
	rng := rand.New(rand.NewPCG(seed, 1))
	ps := places(t)
	p := ps[rng.IntN(len(ps))]
	works := []job.Work{job.Replace, job.Replace, job.Overboard, job.Relaminate, job.Balcony}
	decks := []job.Deck{job.NewBoard, job.NewBoard, job.OldBoard, job.Concrete}
	c := roof(3+25*rng.Float64(), works[rng.IntN(len(works))], decks[rng.IntN(len(decks))])
	c.Zone, c.Crew = p.zone, 2+rng.IntN(3)
	c.Job.Site.Lat, c.Job.Site.Lon = p.lat, p.lon
	c.Job.Roof.Outlets, c.Job.Roof.Shade, c.Job.Roof.Exposure = rng.IntN(3), 0.5*rng.Float64(), 0.5+rng.Float64()
	if rng.IntN(4) == 0 {
		c.Job.LaidM2 = c.Job.Roof.AreaM2
	}
	d := job.Date{Year: 2027, Month: 1, Day: 1}.AddDays(rng.IntN(365))
	if c.Job.LaidM2 > 0 {
		c.Job.SealedOn = d.AddDays(-1 - rng.IntN(4))
	}
	start := job.Instant(d.AddDays(-2), 0, p.zone).UTC().Truncate(time.Hour)
	return scene{c: c, d: d, hrs: forecast.Quantise(randomHours(rng, someTemper(rng), start, skyHours, members, p.lat, p.lon))}
}

// ground builds the ground of the scene.
func (s scene) ground() *Ground {
	return NewGround(forecast.Issue{Ens: run(forecast.Ensemble, s.hrs)}, s.c.Job.Site, SurfaceOf(s.c.Job.Job), s.c.Profile)
}

// with gives the scene with its hours copied and changed.
func (s scene) with(change func(forecast.Hours)) scene {
	h := forecast.Quantise(s.hrs)
	for v, col := range h.Cols { // a column that knew nothing is kept out by Quantise
		if col == nil && s.hrs.Cols[v] != nil {
			h.Cols[v] = append([]float32(nil), s.hrs.Cols[v]...)
		}
	}
	change(h)
	s.hrs = h
	return s
}

// noRain is the laminator's "none".
func noRain() Bound { return Polyester().Laminating[0] }
