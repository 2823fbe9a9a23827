package skill

import (
	"math"
	"time"

	"laycast/forecast"
)

// DressedMembers is how many members a dressed issue has at least: on 19 raw
// ones "at most 0.08" lets a true 0.15 through one evening in five.
const DressedMembers = 200

// Dress gives the issue with an ensemble of DressedMembers members or more
// whose spread is that of the errors kept in s: member k is raw member
// k mod n (n is the run's new Parents), drawn to the corrected centre, with
// noise that fills the gap between the raw spread and the error. Where the
// source has none (DetOnly) the members are made of the deterministic run, from
// the hour on in which it was fetched; an ensemble that is missing stays missing. Hours before that are not touched. The noise hangs on
// source, cell, member and hour, so that the same issue gives the same members
// and two issues of one day differ by what they say alone. An issue without
// hours to come comes back as it is; so does one that is dressed.
func Dress(is forecast.Issue, s *Stats) forecast.Issue {
	return DressUntil(is, s, time.Time{})
}

// DressUntil does so without the hours from end on, the first one aside: those before
// are what Dress makes of them, since it reads all that the source sent. Zero: all hours.
func DressUntil(is forecast.Issue, s *Stats, end time.Time) forecast.Issue {
	raw, ok := ahead(is)
	if !ok || is.Ens != nil && is.Ens.Parents > 0 {
		return is
	}
	run := forecast.Run{}
	if is.Ens != nil {
		run = *is.Ens
	} else {
		run = *is.Det
		run.Endpoint = forecast.Ensemble
	}
	run.Parents = raw.Members
	n := raw.N
	if !end.IsZero() {
		n = min(max(raw.Slot(end), 1), n)
	}
	run.Hours = dressHours(&raw, s, seedOf(&run), run.Cell.Lon, n)
	is.Ens = &run
	return is
}

// dresser is one issue on its way.
type dresser struct {
	raw     *forecast.Hours
	stats   *Stats
	lon     float64
	members int
	n       int // hours that are made, of raw's
	out     forecast.Hours
	scaled  [NMeasures][]float64 // the raw members on the scales; member m's hour i stands at m*n+i
	gaps    [NMeasures][]gap
	usual   [NMeasures][LeadDays]float64 // mean spread of the raw members by lead day
	damp    []gap                        // of the depression in rain
	wet     []float64                    // by hour, the chance of rain
	inRain  []float32                    // each member's depression were it to rain, K; member m's hour i stands at m*n+i
}

// gap says for one hour how a raw member becomes a dressed one, on the scale
// of the measure: centre + keep × (raw - mean) + noise × standard normal.
type gap struct{ mean, centre, keep, noise float64 }

func dressHours(raw *forecast.Hours, s *Stats, seed uint64, lon float64, n int) forecast.Hours {
	d := dresser{raw: raw, stats: s, lon: lon, members: max(DressedMembers, raw.Members), n: n}
	var vars []forecast.Var
	for _, v := range []forecast.Var{forecast.Air, forecast.Dew, forecast.RH, forecast.Rain, forecast.Wind, forecast.Gust, forecast.Cloud, forecast.Solar} {
		if raw.Cols[v] != nil {
			vars = append(vars, v)
		}
	}
	d.out = forecast.NewHours(raw.Start, n, d.members, vars...)
	d.fill()
	d.inRain = make([]float32, d.members*n)
	noise := newNoise(raw.Start, n, seed)
	rain := newRainDresser(&d)
	for m := range d.members {
		noise.draw(m)
		d.member(m, noise)
		rain.take(m, noise)
	}
	rain.settle()
	d.dampen()
	return d.out
}

// fill works out the gaps of every hour.
func (d *dresser) fill() {
	whole := d.raw.N // the lead days that are made, to their ends: their usual spread hangs on all of their hours
	if day := leadDay(d.n - 1); day < LeadDays-1 {
		whole = min((day+1)*dayHours, whole)
	}
	for v := range NMeasures {
		d.scaled[v] = make([]float64, d.n*d.raw.Members)
		for m := range d.raw.Members {
			for i := range d.n {
				d.scaled[v][m*d.n+i] = toScale(d.raw, v, m, i)
			}
		}
		d.gaps[v] = make([]gap, d.n)
		centres := make([][2]float64, whole)
		var sums, counts [LeadDays]float64
		for i := range centres {
			mean, spread := centreOf(d.raw, v, i)
			centres[i] = [2]float64{mean, spread}
			if spread == spread {
				sums[leadDay(i)] += spread
				counts[leadDay(i)]++
			}
		}
		for day := range sums {
			d.usual[v][day] = sums[day] / math.Max(1, counts[day])
		}
		for i, c := range centres[:d.n] {
			mean, spread := c[0], c[1]
			d.gaps[v][i] = d.gapOf(v, i, mean, spread, false)
			if v == Depression {
				d.damp = append(d.damp, d.gapOf(v, i, mean, spread, true))
			}
		}
	}
	for i, share := range wetShares(d.raw)[:d.n] {
		d.wet = append(d.wet, d.stats.chanceOfRain(float64(i), float64(share)))
	}
}

// correction is what the statistics say of a centre.
type correction struct{ shift, slope, error2, spread2, spreadDays float64 }

// Slopes outside these are noise of a short record. The air's is left at 0:
// its mean lags behind the season.
const (
	slopeLeast = -0.9
	slopeMost  = 0.1
)

// at gives the correction of a measure for a centre x, from one lead day.
func (m *Moments) at(v Measure, x float64) correction {
	c := correction{shift: m.Error, spread2: m.Spread, spreadDays: m.SpreadDays}
	if v != Air && m.XX > 0 {
		c.slope = math.Min(slopeMost, math.Max(slopeLeast, m.XD/m.XX))
	}
	if m.Mean != 0 {
		c.shift += c.slope * (x - m.Mean)
	}
	c.error2 = m.DD - 2*c.slope*m.XD + c.slope*c.slope*m.XX
	return c
}

// correct blends the corrections of the two lead days about a lead (hours):
// what is kept of a day stands for its middle. Before the first middle the
// error shrinks as it grows after it, to no less than 0.85 of it.
func (s *Stats) correct(v Measure, lead float64, part int, x float64, wet bool) correction {
	d, w := between(lead)
	here, next := s.moments(d, v, part, wet), s.moments(d+1, v, part, wet)
	a, b := here.at(v, x), next.at(v, x)
	w = towards(w, here.Weight, next.Weight)
	e := a.error2 + w*(b.error2-a.error2)
	if w < 0 {
		e = math.Min(a.error2, math.Max(e, leastEarly*a.error2))
		w = 0
	}
	return correction{a.shift + w*(b.shift-a.shift), a.slope, e, a.spread2 + w*(b.spread2-a.spread2), a.spreadDays}
}

// between gives the lead day (0 = the first) on whose middle a lead (hours) lies
// or after it, and how far it is to the middle of the next: less than 0 before
// the first.
func between(lead float64) (d int, w float64) {
	at := (lead - dayHours/2) / dayHours
	d = min(max(int(math.Floor(at)), 0), LeadDays-2)
	return d, math.Min(at-float64(d), 1)
}

// towards lessens a step to the next lead day where less is known of that: the
// days that a source's members do not reach are never learned from.
func towards(w, here, next float64) float64 {
	if w <= 0 || next >= here {
		return w
	}
	return w * next / here
}

// leastEarly bounds the error's variance of the first hours (0.85 squared).
const leastEarly = 0.72

// gapOf works out one hour. Half of the noise follows the spread of the day
// against the usual one, between half and double of it: a day that the members
// find open is more open for those too who are not members.
func (d *dresser) gapOf(v Measure, i int, mean, spread float64, wet bool) gap {
	t := d.raw.Start.Add(hoursOf(i))
	c := d.stats.correct(v, float64(i), partOf(t, d.lon), mean, wet)
	g := gap{mean: mean, centre: mean + c.shift, keep: 1}
	if d.raw.Members == 1 {
		g.noise = math.Sqrt(math.Max(0, c.error2))
		return g
	}
	// the usual spread: what was seen, and this issue's own as one day more
	usual := (c.spreadDays*c.spread2 + d.usual[v][leadDay(i)]) / (c.spreadDays + 1)
	missing := c.error2 - usual
	if missing < 0 { // the members are too far apart
		g.keep = math.Sqrt(c.error2 / usual)
		return g
	}
	if usual > 0 {
		missing *= 0.5 + 0.5*math.Min(2, math.Max(0.5, spread/usual))
	}
	g.noise = math.Sqrt(missing)
	return g
}

// member dresses air, dew point, wind and gust of member m.
func (d *dresser) member(m int, z *noise) {
	parent, at := m%d.raw.Members, m*d.n
	for i := range d.n {
		air := d.put(Air, &d.gaps[Air][i], parent, i, z)
		dep := d.put(Depression, &d.gaps[Depression][i], parent, i, z)
		d.inRain[at+i] = float32(depressionOf(d.put(Depression, &d.damp[i], parent, i, z)))
		wind := d.put(Wind, &d.gaps[Wind][i], parent, i, z)
		set := func(v forecast.Var, x float64) {
			if col := d.out.Cols[v]; col != nil {
				col[at+i] = float32(x)
			}
		}
		set(forecast.Air, air)
		set(forecast.Dew, air-depressionOf(dep))
		set(forecast.Wind, windOf(wind))
		set(forecast.Gust, gustWith(float64(d.raw.At(forecast.Gust, parent, i)), float64(d.raw.At(forecast.Wind, parent, i)), windOf(wind)))
		set(forecast.Cloud, float64(d.raw.At(forecast.Cloud, parent, i)))
		set(forecast.Solar, float64(d.raw.At(forecast.Solar, parent, i)))
	}
}

// dampen gives members their depression in rain in the hours in which it
// rains, and their relative humidity.
func (d *dresser) dampen() {
	air, dew, rh, rain := d.out.Cols[forecast.Air], d.out.Cols[forecast.Dew], d.out.Cols[forecast.RH], d.out.Cols[forecast.Rain]
	if air == nil || dew == nil {
		return
	}
	for i := range air {
		if rain != nil && rain[i] >= wetLeast {
			dew[i] = air[i] - d.inRain[i]
		}
		if rh != nil {
			rh[i] = float32(relativeHumidity(float64(air[i]), float64(dew[i])))
		}
	}
}

// put gives the dressed value on the measure's scale.
func (d *dresser) put(v Measure, g *gap, parent, i int, z *noise) float64 {
	return g.centre + g.keep*(d.scaled[v][parent*d.n+i]-g.mean) + g.noise*z.of[v][i]
}

// gustWith carries a gust along with its wind; in a calm it hardly moves.
func gustWith(gust, wind, dressed float64) float64 {
	return math.Max(dressed, gust*(dressed+1)/(wind+1))
}

// Magnus coefficients over water, 17.62 and 243.12 °C: WMO-No. 8, Annex 4.B.
const (
	magnusA = 17.62
	magnusB = 243.12
)

// relativeHumidity gives the relative humidity (%) of air with a dew point.
func relativeHumidity(air, dew float64) float64 {
	return math.Min(100, 100*math.Exp(magnusA*dew/(magnusB+dew)-magnusA*air/(magnusB+air)))
}
