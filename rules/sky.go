package rules

import (
	"math"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules/physics"
)

// column is one measure over the hours of a ground.
type column []float64

// measures are the columns that limits and physics look at, of one member.
type measures struct {
	air, dew, rh, rain, wind, gust   column
	cloud, solar                     column
	surface, margin, exchange, water column
	rate, coldest                    column // coldest of air and deck
}

func newMeasures(n int) measures {
	all := make(column, 14*n)
	take := func() column {
		c := all[:n:n]
		all = all[n:]
		return c
	}
	return measures{take(), take(), take(), take(), take(), take(), take(), take(), take(), take(), take(), take(), take(), take()}
}

// Bytes gives about how much memory the ground takes beside the runs of its
// issue.
func (g *Ground) Bytes() int {
	const words = 3 * 8 // the wet, wetting and cold rows of a member for 64 hours
	rows := len(g.limits.bounds) + len(g.limits.limits) + stageSets
	return g.count*g.n*(4+8+8) + g.count*(g.n/64+1)*(words+8*rows) + 14*8*g.n
}

// Ground is a deck under an issue of the forecast: for every member and hour
// what the weather makes of the deck, and which limits it breaks. It is built
// once for a site, a surface and a profile, and then judged from as often as
// one likes. A Ground is not changed after it is made. It keeps the runs of its
// issue, and beside them about 29 bytes for each member and hour.
type Ground struct {
	start           time.Time
	n               int // hours
	count           int // members
	past, ahead     *forecast.Run
	pastAt, aheadAt int      // slot of the run at the ground's first hour
	middle          measures // the deterministic run: the hour table
	basis           Basis
	profile         Profile
	slow            []float64 // for each member the multiple of nominal time
	surface         []float32 // °C; member m's hour i stands at m*n+i, as in the next two
	rate, exchange  []float64
	limits          limitBits
	wet, wetting    bitRows // water stands at the hour's beginning; the hour wets a dry deck
	cold            bitRows // the deck is not known to be at 0 °C or above
	hot             []bool  // the median deck over members is too hot to open a roof
	rainy           []bool  // too many members have rain for it to be called unlikely
	lat, lon        float64
	clear           []float64 // W/m² under a clear sky; nil until somebody needs it
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
	if !g.span(is) {
		g.basis = FromNothing
		return g
	}
	deck := physics.NewStepper(s, physics.StandardPressure(site.ElevationM))
	g.surface = make([]float32, g.count*g.n)
	g.rate, g.exchange = make([]float64, g.count*g.n), make([]float64, g.count*g.n)
	g.limits = newLimitBits(&g.profile, g.count, g.n)
	g.wet, g.wetting, g.cold = newBitRows(g.count, g.n), newBitRows(g.count, g.n), newBitRows(g.count, g.n)
	counts := make([]int, 3*g.n)
	hotter, known, rained := counts[:g.n], counts[g.n:2*g.n], counts[2*g.n:] // members by hour
	x := newMeasures(g.n)
	var dawn outset
	for m := range g.count {
		dawn = g.measure(&x, g.past, g.ahead, m, &deck, dawn)
		g.keep(&x, m)
		g.limits.count(rained, setLaminate, m, bitRain)
		for i, t := range x.surface {
			if t > p.HeatBefore {
				hotter[i]++
			}
			if t == t {
				known[i]++
			}
		}
	}
	g.hot, g.rainy = make([]bool, g.n), make([]bool, g.n)
	for i := range g.hot { // the member in the middle of those known is among the hot
		g.hot[i] = known[i] > 0 && hotter[i] >= known[i]-known[i]/2
		g.rainy[i] = float64(rained[i]) >= rainLikely*float64(g.count)
	}
	if is.Det != nil {
		g.measure(&x, is.Det, is.Det, 0, &deck, outset{})
		g.middle = x
	} else if g.count > 0 {
		g.measure(&x, g.past, g.ahead, 0, &deck, outset{})
		g.middle = x
	}
	g.slow = slowness(g.ahead.Digest, g.count, p)
	return g
}

// span lines up the hours of the runs; false when there are none.
func (g *Ground) span(is forecast.Issue) bool {
	end := time.Time{}
	for _, r := range []*forecast.Run{is.Det, is.Ens} {
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
		return false
	}
	g.n = int(end.Sub(g.start).Hours())
	g.past, g.ahead = is.Det, is.Ens
	if g.ahead == nil {
		g.ahead = is.Det
	}
	g.count, g.aheadAt = g.ahead.Hours.Members, g.ahead.Hours.Slot(g.start)
	if g.ahead.Parents > 0 {
		g.basis = FromDressed
	}
	if g.past != nil {
		g.pastAt = g.past.Hours.Slot(g.start)
	}
	return true
}

// raw gives a measure of the weather: of the past from the deterministic run,
// of the rest from the member.
func (g *Ground) raw(v forecast.Var, m, i int) float64 {
	if g.aheadAt+i < 0 && g.past != nil {
		return float64(g.past.Hours.At(v, 0, g.pastAt+i))
	}
	return float64(g.ahead.Hours.At(v, m, g.aheadAt+i))
}

// take lines up one measure of one member from hour `from` on.
func (g *Ground) take(c column, v forecast.Var, past, ahead *forecast.Run, m, from int) {
	a := ahead.Hours.Slot(g.start)
	p := 0
	if past != nil {
		p = past.Hours.Slot(g.start)
	}
	for i := from; i < len(c); i++ {
		if a+i < 0 && past != nil {
			c[i] = float64(past.Hours.At(v, 0, p+i))
		} else {
			c[i] = float64(ahead.Hours.At(v, m, a+i))
		}
	}
}

// outset is a deck at the end of the hours that all members share.
type outset struct {
	hours       int // so many; 0: none are worked out
	temp, water float64
}

// measure fills in the columns of one member: the weather, then the deck hour
// by hour. What came before the members began is the same for all, and stands
// in x already where `shared` says so; it gives the deck at their beginning.
func (g *Ground) measure(x *measures, past, ahead *forecast.Run, m int, deck *physics.Stepper, shared outset) outset {
	k := shared.hours
	g.take(x.air, forecast.Air, past, ahead, m, k)
	g.take(x.dew, forecast.Dew, past, ahead, m, k)
	g.take(x.rh, forecast.RH, past, ahead, m, k)
	g.take(x.rain, forecast.Rain, past, ahead, m, k)
	g.take(x.wind, forecast.Wind, past, ahead, m, k)
	g.take(x.gust, forecast.Gust, past, ahead, m, k)
	g.take(x.cloud, forecast.Cloud, past, ahead, m, k)
	g.take(x.solar, forecast.Solar, past, ahead, m, k)
	g.guessSun(x.solar[k:], x.cloud[k:], past, ahead, k)
	before, water := math.NaN(), physics.FilmCap // nothing is known of the deck: take it as wet
	if k > 0 {
		before, water = shared.temp, shared.water
	}
	begin := min(max(0, -ahead.Hours.Slot(g.start)), g.n)
	for i := k; i < g.n; i++ {
		if i == begin && i > 0 {
			shared = outset{i, before, water}
		}
		before, x.exchange[i] = deck.Step(before, x.air[i], x.dew[i], x.wind[i], x.cloud[i], x.solar[i])
		water = film(water, x.exchange[i], x.rain[i])
		x.surface[i], x.water[i] = before, water
		x.margin[i], x.coldest[i] = before-x.dew[i], min(before, x.air[i])
		x.rate[i] = physics.RateFactor(before, g.profile.CureE)
	}
	return shared
}

// keep stores what the walks of member m ask for.
func (g *Ground) keep(x *measures, m int) {
	at := m * g.n
	copy(g.rate[at:], x.rate)
	copy(g.exchange[at:], x.exchange)
	wet, wetting, cold := g.wet.row(m), g.wetting.row(m), g.cold.row(m)
	before := physics.FilmCap
	for i := range g.n {
		g.surface[at+i] = float32(x.surface[i])
		if before > tolerance {
			wet.set(i)
		}
		if film(0, x.exchange[i], x.rain[i]) > 0 {
			wetting.set(i)
		}
		if !(x.surface[i] >= 0) {
			cold.set(i)
		}
		before = x.water[i]
	}
	g.limits.mark(x, m)
}

// film carries the water on a deck through one hour, as physics.WaterStep does:
// drying or dew first, then the rain. After a gap in the data the deck is
// taken as wet.
func film(mm, exchange, rain float64) float64 {
	mm = min(max(mm+exchange, 0)+max(rain, 0), physics.FilmCap)
	if mm != mm {
		return physics.FilmCap
	}
	return mm
}

// hour gives the place of t among the hours of the ground, in hours since its
// start.
func (g *Ground) hour(t time.Time) float64 { return t.Sub(g.start).Hours() }

// at gives the moment at place h.
func (g *Ground) at(h float64) time.Time {
	return g.start.Add(time.Duration(math.Round(h*3600)) * time.Second)
}

// value gives what a bound looks at in hour i of member m, to the seven digits
// that are kept. Frost looks at the colder of air and deck.
func (g *Ground) value(l Limit, m, i int) float64 {
	deck := float64(g.surface[m*g.n+i])
	switch l {
	case LimitRain:
		return g.raw(forecast.Rain, m, i)
	case LimitWind:
		return g.raw(forecast.Wind, m, i)
	case LimitGust:
		return g.raw(forecast.Gust, m, i)
	case LimitAir:
		return g.raw(forecast.Air, m, i)
	case LimitFrost:
		return math.Min(g.raw(forecast.Air, m, i), deck)
	case LimitDeck:
		return deck
	case LimitDewMargin:
		return deck - g.raw(forecast.Dew, m, i)
	case LimitRH:
		return g.raw(forecast.RH, m, i)
	}
	return math.NaN()
}

// known reports whether member m has every measure that the laminate needs in
// all slots that [from, to) touches.
func (g *Ground) known(m int, from, to float64) bool {
	a, b := int(math.Floor(from)), int(math.Ceil(to))
	return a >= 0 && b <= g.n && g.limits.firstUnknown(setLaminate, m, a) >= b
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
			Wind: m.wind[i], Gust: m.gust[i], Water: m.water[i], Board: physics.EMC(m.air[i], m.rh[i]), CureRate: m.rate[i],
			Daylight: physics.Daylight(g.lat, g.lon, at.Add(30*time.Minute)),
		})
	}
	return out
}
