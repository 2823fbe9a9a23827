package rules

import (
	"math"
	"sort"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules/physics"
)

// column is one measure of one member over the hours of a sky.
type column []float64

// measures are the columns that limits and physics look at.
type measures struct {
	air, dew, rh, rain, wind, gust   column
	cloud, solar                     column
	surface, margin, exchange, water column
	rate                             column
}

// Ground is a deck under an issue of the forecast: for every member and hour
// what the weather makes of the deck, and which limits it breaks. It is built
// once for a site, a surface and a profile, and then judged from as often as
// one likes. A Ground is not changed after it is made.
type Ground struct {
	start   time.Time
	n       int
	members []measures
	middle  measures // the deterministic run: the hour table
	basis   Basis
	profile Profile
	slow    []float64 // for each member the multiple of nominal time
	fails   [stageSets][][]mask
	hot     column // median deck temperature over members
	lat     float64
	lon     float64
}

// SurfaceOf gives the surface that the work meets: new boards, a slab, or the
// roof that is there.
func SurfaceOf(j job.Job) physics.Surface {
	s := physics.Surface{
		Absorptance: physics.AbsorbBareBoard, Emissivity: physics.EmissivityDeck,
		Shade: j.Roof.Shade, Exposure: j.Roof.Exposure, HeatCapacity: physics.HeatBoard,
	}
	if j.Roof.Deck == job.Concrete {
		s.HeatCapacity = physics.HeatSlab
	}
	return s
}

// NewGround works out the ground from an issue. Without an ensemble the
// deterministic run is the only member, which is too few for a chance. A nil
// deterministic run leaves the hours before the ensemble unknown.
func NewGround(is forecast.Issue, site job.Site, s physics.Surface, p Profile) *Ground {
	g := &Ground{profile: p, basis: FromMembers, lat: site.Lat, lon: site.Lon}
	runs := []*forecast.Run{is.Det, is.Ens}
	end := time.Time{}
	for _, r := range runs {
		if r == nil || r.Hours.N <= 0 || r.Hours.Members <= 0 {
			continue
		}
		if g.start.IsZero() || r.Hours.Start.Before(g.start) {
			g.start = r.Hours.Start
		}
		if r.Hours.End().After(end) {
			end = r.Hours.End()
		}
	}
	if g.start.IsZero() {
		g.basis = FromNothing
		return g
	}
	g.n = int(end.Sub(g.start).Hours())
	pressure := physics.StandardPressure(site.ElevationM)
	past, ahead := is.Det, is.Ens
	if ahead == nil {
		ahead = is.Det
	}
	for m := range ahead.Hours.Members {
		g.members = append(g.members, g.measure(past, ahead, m, s, pressure))
	}
	if is.Det != nil {
		g.middle = g.measure(is.Det, is.Det, 0, s, pressure)
	} else if len(g.members) > 0 {
		g.middle = g.members[0]
	}
	g.slow = slowness(ahead.Digest, len(g.members), p)
	g.hot = medianOf(g.members, g.n, func(m measures) column { return m.surface })
	g.mark()
	return g
}

// measure lines up one member: the past from the deterministic run, the rest
// from the member, then the deck hour by hour.
func (g *Ground) measure(past, ahead *forecast.Run, m int, s physics.Surface, pressure float64) measures {
	take := func(v forecast.Var) column {
		c := make(column, g.n)
		a := ahead.Hours.Slot(g.start)
		p := 0
		if past != nil {
			p = past.Hours.Slot(g.start)
		}
		for i := range c {
			x := ahead.Hours.At(v, m, a+i)
			if a+i < 0 && past != nil {
				x = past.Hours.At(v, 0, p+i)
			}
			c[i] = float64(x)
		}
		return c
	}
	x := measures{
		air: take(forecast.Air), dew: take(forecast.Dew), rh: take(forecast.RH), rain: take(forecast.Rain),
		wind: take(forecast.Wind), gust: take(forecast.Gust), cloud: take(forecast.Cloud), solar: take(forecast.Solar),
	}
	x.surface, x.margin = make(column, g.n), make(column, g.n)
	x.exchange, x.water, x.rate = make(column, g.n), make(column, g.n), make(column, g.n)
	before := physics.Deck{TempC: math.NaN(), WaterMM: physics.FilmCap} // nothing is known of it: take it as wet
	for i := range g.n {
		w := physics.Weather{AirC: x.air[i], DewC: x.dew[i], WindMs: x.wind[i], CloudPct: x.cloud[i], SolarWm2: x.solar[i], PressureHPa: pressure}
		const deep = 0.9 // mm: a film that an hour neither dries out nor fills shows what the hour takes or gives
		now := physics.Step(s, physics.Deck{TempC: before.TempC, WaterMM: deep}, w)
		x.surface[i], x.exchange[i] = now.TempC, now.WaterMM-deep
		x.margin[i] = now.TempC - x.dew[i]
		x.rate[i] = physics.RateFactor(now.TempC, g.profile.CureE)
		before = physics.Deck{TempC: now.TempC, WaterMM: film(before.WaterMM, x.exchange[i], x.rain[i])}
		x.water[i] = before.WaterMM
	}
	return x
}

// film carries the water on a deck through one hour, as physics.WaterStep does:
// drying or dew first, then the rain. After a gap in the data the deck is
// taken as wet.
func film(mm, exchange, rain float64) float64 {
	mm = math.Min(math.Max(mm+exchange, 0)+math.Max(rain, 0), physics.FilmCap)
	if math.IsNaN(mm) {
		return physics.FilmCap
	}
	return mm
}

// medianOf gives for each hour the median over members of one column, NaN
// where none is known.
func medianOf(ms []measures, n int, col func(measures) column) column {
	out := make(column, n)
	buf := make([]float64, 0, len(ms))
	for i := range out {
		buf = buf[:0]
		for _, m := range ms {
			if x := col(m)[i]; x == x {
				buf = append(buf, x)
			}
		}
		out[i] = math.NaN()
		if len(buf) > 0 {
			sort.Float64s(buf)
			out[i] = buf[len(buf)/2]
		}
	}
	return out
}

// hour gives the place of t among the hours of the ground, in hours since its
// start.
func (g *Ground) hour(t time.Time) float64 { return t.Sub(g.start).Hours() }

// at gives the moment at place h.
func (g *Ground) at(h float64) time.Time {
	return g.start.Add(time.Duration(math.Round(h*3600)) * time.Second)
}

// known reports whether member m has every needed measure in all slots that
// [from, to) touches.
func (g *Ground) known(m int, from, to float64) bool {
	a, b := int(math.Floor(from)), int(math.Ceil(to))
	if a < 0 || b > g.n {
		return false
	}
	for i := a; i < b; i++ {
		if g.fails[setLaminate][m][i]&bitUnknown != 0 {
			return false
		}
	}
	return true
}

// HourTable gives the hours of [from, to) with all derived values, from the
// deterministic run.
func (g *Ground) HourTable(from, to time.Time) []Hour {
	var out []Hour
	for i := range g.n {
		at := g.start.Add(time.Duration(i) * time.Hour)
		if at.Before(from) || !at.Before(to) {
			continue
		}
		m := g.middle
		out = append(out, Hour{
			At: at, Air: m.air[i], Dew: m.dew[i], Surface: m.surface[i], DewMargin: m.margin[i], RH: m.rh[i], Rain: m.rain[i],
			Wind: m.wind[i], Gust: m.gust[i], Water: m.water[i], CureRate: m.rate[i],
			Daylight: physics.Daylight(g.lat, g.lon, at.Add(30*time.Minute)),
		})
	}
	return out
}
