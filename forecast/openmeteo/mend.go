package openmeteo

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"laycast/forecast"
)

var nan = math.NaN()

// known reports whether x is known.
func known(x float64) bool { return x == x }

// notes counts what was mended, in the order of first need.
type notes struct {
	texts  []string
	counts map[string]int
}

// add counts one hour of one member.
func (n *notes) add(text string) {
	if n.counts == nil {
		n.counts = map[string]int{}
	}
	if n.counts[text] == 0 {
		n.texts = append(n.texts, text)
	}
	n.counts[text]++
}

// once tells what is not counted in hours.
func (n *notes) once(text string) {
	if !slices.Contains(n.texts, text) {
		n.texts = append(n.texts, text)
	}
}

// list gives the notes, with counts where they are counted.
func (n *notes) list(members int) []string {
	unit := "h"
	if members > 1 {
		unit = "member hours"
	}
	var out []string
	for _, s := range n.texts {
		if n.counts[s] > 0 {
			s = fmt.Sprintf("%s (%d %s)", s, n.counts[s], unit)
		}
		out = append(out, s)
	}
	return out
}

// slots makes hours of rows: checks and mends the rows, shifts what is stamped
// at its end and averages instants over both ends, once, then mends the slots.
// n rows give n-1 slots.
func (t *table) slots(start time.Time, n *notes) forecast.Hours {
	for m := range t.members {
		for _, s := range source {
			t.bound(s, m, n)
		}
		t.humidity(m, n)
		t.gusts(m, n)
	}
	h := forecast.NewHours(start, t.n-1, t.members, forecast.Air, forecast.Dew, forecast.RH, forecast.Rain, forecast.Wind,
		forecast.Gust, forecast.Cloud, forecast.Solar, forecast.Pressure, forecast.RainChance)
	for _, s := range source {
		for m := range t.members {
			for i := range h.N {
				x := t.at(s.v, m, i+1)
				if !s.before {
					x = (t.at(s.v, m, i) + x) / 2 // NaN at either end stays NaN
				}
				h.Cols[s.v][m*h.N+i] = float32(x)
			}
		}
	}
	for m := range t.members {
		for i := range h.N {
			mendSlot(h, m*h.N+i, t.night(i), n)
		}
	}
	return h
}

// bound makes values beyond a measure's bounds unknown, and the whole column of
// the member where more than a quarter of what it knows is beyond them: then
// the rest is not to be trusted either (gusts × 100 leave the calm hours in
// bounds). Over-full humidity is lowered to 100 %.
func (t *table) bound(s measure, m int, n *notes) {
	if m >= len(t.cols[s.v]) || t.cols[s.v][m] == nil {
		return
	}
	col, out, all := t.cols[s.v][m], 0, 0
	for i, x := range col {
		if !known(x) {
			continue
		}
		all++
		if x < s.lo || x > s.hi {
			col[i] = nan
			out++
			n.add(s.v.String() + " out of range, dropped")
			continue
		}
		if s.v == forecast.RH && x > 100 {
			col[i] = 100
			if x > 101 { // rounding makes 101 of 100
				n.add("rh above 100 %, lowered to it")
			}
		}
	}
	if 4*out > all {
		t.cols[s.v][m] = nil
		n.once(s.v.String() + " out of range too often, whole column dropped")
	}
}

// gusts lifts gusts below the wind at the same stamp to it: the greatest gust of
// the hour cannot be less. A fifth less is let pass as rounding and averaging
// (FORECAST_API §7 row 7); mendSlot lifts that too, without a word.
func (t *table) gusts(m int, n *notes) {
	for i := range t.n {
		if wind := t.at(forecast.Wind, m, i); t.at(forecast.Gust, m, i) < 0.8*wind {
			t.cols[forecast.Gust][m][i] = wind
			n.add("gust below the wind, lifted to it")
		}
	}
}

// humidity fills dew point from air and humidity where it is missing or stands
// above the air temperature by more than 0.5 K, and humidity from dew point
// where that is missing.
func (t *table) humidity(m int, n *notes) {
	dew, rh := make([]float64, t.n), make([]float64, t.n)
	for i := range t.n {
		air := t.at(forecast.Air, m, i)
		dew[i], rh[i] = t.at(forecast.Dew, m, i), t.at(forecast.RH, m, i)
		if dew[i] > air+0.5 {
			dew[i] = nan
			n.add("dew point above air temperature, dropped")
		}
		if !known(dew[i]) && known(rh[i]) && known(air) {
			dew[i] = dewPoint(air, rh[i])
			n.add("dew point derived from air temperature and humidity")
		}
		if !known(rh[i]) && known(dew[i]) && known(air) {
			rh[i] = min(100, 100*math.Exp(magnus(dew[i])-magnus(air)))
			n.add("humidity derived from dew point")
		}
	}
	t.put(forecast.Dew, m, dew)
	t.put(forecast.RH, m, rh)
}

// put sets a member's column.
func (t *table) put(v forecast.Var, m int, col []float64) {
	for len(t.cols[v]) <= m {
		t.cols[v] = append(t.cols[v], nil)
	}
	t.cols[v][m] = col
}

// The Magnus form over water, Alduchov & Eskridge 1996, J. Appl. Meteor. 35(4)
// 601-609 (CHECKS.md, grade S): e = 6.1094 hPa × exp(17.625 t / (243.04 + t)).
const (
	magnusA = 17.625
	magnusB = 243.04 // °C
)

// magnus gives the exponent of the saturation pressure at t °C.
func magnus(t float64) float64 { return magnusA * t / (magnusB + t) }

// dewPoint gives the dew point (°C) of air at t °C and rh %; below 1 % humidity
// it takes 1 %, where the logarithm still holds.
func dewPoint(t, rh float64) float64 {
	g := math.Log(max(rh, 1)/100) + magnus(t)
	return magnusB * g / (magnusA - g)
}

// night reports whether slot i lies wholly between sunset and sunrise, where the
// source tells.
func (t *table) night(i int) bool {
	return t.day != nil && t.day[i] == 0 && t.day[i+1] == 0
}

// needed are the measures without which an hour says nothing about laying.
var needed = [...]forecast.Var{forecast.Air, forecast.Dew, forecast.Rain, forecast.Wind}

// gustFactor estimates gusts from the mean wind: common practice, no source.
const gustFactor = 1.5

// mendSlot mends the slot at index k of the columns. An hour without one of the
// needed measures becomes wholly unknown: sources have been seen to send zeros
// past the end of a run.
func mendSlot(h forecast.Hours, k int, night bool, n *notes) {
	var missing []string
	for _, v := range needed {
		if !forecast.Known(h.Cols[v][k]) {
			missing = append(missing, v.String())
		}
	}
	if missing != nil {
		for _, col := range h.Cols {
			col[k] = forecast.Unknown()
		}
		n.add("hour left unknown for want of " + strings.Join(missing, ", "))
		return
	}
	gust, wind, sun := &h.Cols[forecast.Gust][k], h.Cols[forecast.Wind][k], &h.Cols[forecast.Solar][k]
	switch {
	case !forecast.Known(*gust):
		*gust = gustFactor * wind
		n.add("gust estimated as 1.5 times the wind (common practice, no source)")
	case *gust < wind:
		*gust = wind
	}
	if night && *sun > 0 {
		*sun = 0
		n.add("radiation at night, set to zero")
	}
}
