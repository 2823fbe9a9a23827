package forecast

import (
	"math"
	"strings"
)

// bounds are the values beyond which a reading is an error of the source
// (FORECAST_API §7 row 7); of dew point, wind and pressure that says nothing:
// common practice, no source.
var bounds = [NVars]struct{ lo, hi float64 }{
	Air: {-40, 50}, Dew: {-60, 40}, RH: {0, 105}, Rain: {0, 150}, Wind: {0, 75}, Gust: {0, 75},
	Cloud: {0, 100}, Solar: {0, 1400}, Pressure: {500, 1100}, RainChance: {0, 100},
}

// bound makes values beyond a measure's bounds unknown, and the whole column of
// the member where more than a quarter of what it knows is beyond them: then
// the rest is not to be trusted either (gusts × 100 leave the calm hours in
// bounds). Over-full humidity is lowered to 100 %.
func (r *Readings) bound(v Var, m int, n *Notes) {
	col, out, all := r.column(v, m), 0, 0
	for i, x := range col {
		if !known(x) {
			continue
		}
		all++
		if x < bounds[v].lo || x > bounds[v].hi {
			col[i] = nan
			out++
			n.Add(v.String() + " out of range, dropped")
			continue
		}
		if v == RH && x > 100 {
			col[i] = 100
			if x > 101 { // rounding makes 101 of 100
				n.Add("rh above 100 %, lowered to it")
			}
		}
	}
	if 4*out > all {
		r.drop(v, m)
		n.Once(v.String() + " out of range too often, whole column dropped")
	}
}

// gusts lifts gusts below the wind at the end of their slot to it: the greatest
// gust of the hour cannot be less. A fifth less is let pass as rounding and
// averaging (FORECAST_API §7 row 7); mendSlot lifts that too, without a word.
func (r *Readings) gusts(m int, n *Notes) {
	gust, wind := r.column(Gust, m), r.column(Wind, m)
	if len(wind) > r.N {
		wind = wind[1:]
	}
	if len(gust) > r.N {
		gust = gust[1:]
	}
	for i := range min(len(gust), len(wind)) {
		if gust[i] < 0.8*wind[i] {
			gust[i] = wind[i]
			n.Add("gust below the wind, lifted to it")
		}
	}
}

// humidity fills dew point from air and humidity where it is missing or stands
// above the air temperature by more than 0.5 K, and humidity from dew point
// where that is missing.
func (r *Readings) humidity(m int, n *Notes) {
	air := r.column(Air, m)
	dew, rh := sameLength(r.column(Dew, m), len(air)), sameLength(r.column(RH, m), len(air))
	for i := range air {
		if dew[i] > air[i]+0.5 {
			dew[i] = nan
			n.Add("dew point above air temperature, dropped")
		}
		if !known(dew[i]) && known(rh[i]) && known(air[i]) {
			dew[i] = DewPoint(air[i], rh[i])
			n.Add("dew point derived from air temperature and humidity")
		}
		if !known(rh[i]) && known(dew[i]) && known(air[i]) {
			rh[i] = min(100, 100*math.Exp(magnus(dew[i])-magnus(air[i])))
			n.Add("humidity derived from dew point")
		}
	}
	if air != nil {
		r.put(Dew, m, dew)
		r.put(RH, m, rh)
	}
}

// sameLength gives col, or n unknown readings where there is no such column.
func sameLength(col []float64, n int) []float64 {
	if len(col) != n {
		return Unread(n)
	}
	return col
}

// The Magnus form over water, Alduchov & Eskridge 1996, J. Appl. Meteor. 35(4)
// 601-609 (CHECKS.md, grade S): e = 6.1094 hPa × exp(17.625 t / (243.04 + t)).
const (
	magnusA = 17.625
	magnusB = 243.04 // °C
)

// magnus gives the exponent of the saturation pressure at t °C.
func magnus(t float64) float64 { return magnusA * t / (magnusB + t) }

// DewPoint gives the dew point (°C) of air at t °C and rh %; below 1 % humidity
// it takes 1 %, where the logarithm still holds.
func DewPoint(t, rh float64) float64 {
	g := math.Log(max(rh, 1)/100) + magnus(t)
	return magnusB * g / (magnusA - g)
}

// needed are the measures without which an hour says nothing about laying.
var needed = [...]Var{Air, Dew, Rain, Wind}

// gustFactor estimates gusts from the mean wind: common practice, no source.
const gustFactor = 1.5

// mendSlot mends the slot at index k of the columns. An hour without one of the
// needed measures becomes wholly unknown: sources have been seen to send zeros
// past the end of a run.
func mendSlot(h Hours, k int, night bool, n *Notes) {
	var missing []string
	for _, v := range needed {
		if !Known(h.Cols[v][k]) {
			missing = append(missing, v.String())
		}
	}
	if missing != nil {
		for _, col := range h.Cols {
			col[k] = unknown
		}
		n.Add("hour left unknown for want of " + strings.Join(missing, ", "))
		return
	}
	gust, wind, sun := &h.Cols[Gust][k], h.Cols[Wind][k], &h.Cols[Solar][k]
	switch {
	case !Known(*gust):
		*gust = gustFactor * wind
		n.Add("gust estimated as 1.5 times the wind (common practice, no source)")
	case *gust < wind:
		*gust = wind
	}
	if night && *sun > 0 {
		*sun = 0
		n.Add("radiation at night, set to zero")
	}
}
