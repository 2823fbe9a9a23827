package replay

import (
	"cmp"
	"math"
	"slices"
)

// raininess orders hours from the driest to the wettest: by the rain itself,
// then by how near a wet hour is, then by how damp the air is.
type raininess struct {
	mm   float64
	away int // hours to the nearest wet hour
	dep  float64
}

// compare orders by raininess, the driest first.
func (a raininess) compare(b raininess) int {
	return cmp.Or(cmp.Compare(a.mm, b.mm), cmp.Compare(b.away, a.away), cmp.Compare(b.dep, a.dep))
}

// scoreRain scores every hour's raininess within its season. All hours of the
// day share a table: the day's course of showers is a part of the score.
func (c *climate) scoreRain() {
	away := c.hoursToWet()
	keys := make([]raininess, hoursOfYear)
	for i := range keys {
		keys[i] = raininess{away: away[i], dep: c.value[sDep][i]}
		if c.wet[i] {
			keys[i].mm = c.value[sRain][i]
		}
	}
	c.pools[sRain] = make([]table, blocks)
	c.score[sRain] = make([]float32, hoursOfYear)
	for b := range blocks {
		pool := make([]raininess, 0, (2*rainDays+1)*24)
		near(b, -1, rainDays, func(i int) { pool = append(pool, keys[i]) })
		slices.SortFunc(pool, raininess.compare)
		amounts := make(table, len(pool))
		for k := range pool {
			amounts[k] = float32(pool[k].mm)
		}
		c.pools[sRain][b] = amounts
		for i := b * blockDays * 24; i < (b+1)*blockDays*24; i++ {
			k, _ := slices.BinarySearchFunc(pool, keys[i], raininess.compare)
			c.score[sRain][i] = float32(normalScore((float64(k) + 0.5) / float64(len(pool))))
		}
	}
}

// hoursToWet gives each hour's distance to the nearest wet hour, either way,
// a season's length at most.
func (c *climate) hoursToWet() []int {
	const most = rainDays * 24
	away := make([]int, hoursOfYear)
	gap := most
	for k := -most; k < hoursOfYear; k++ { // from the last, round the year's end
		if gap++; c.wet[wrap(k)] {
			gap = 0
		}
		if k >= 0 {
			away[k] = min(gap, most)
		}
	}
	gap = most
	for k := hoursOfYear - 1 + most; k >= 0; k-- {
		if gap++; c.wet[wrap(k)] {
			gap = 0
		}
		if k < hoursOfYear {
			away[k] = min(away[k], gap)
		}
	}
	return away
}

// Without radiation in the record, cover is taken to rise with raininess like
// this: two thirds on average, nearly closed at the edge of rain, a third in
// the driest hours (assumption, no source).
func plainCover(score float64) float64 { return normalShare(0.5 + 1.0*score) }

// dimSteps is how many classes of raininess the record's radiation is put in.
const dimSteps = 12

// fitDim learns how much radiation the sky takes away at each raininess: from
// the record's own radiation where it has a year of it, else by plainCover.
func (c *climate) fitDim(rec Record) {
	c.dim = make([]float64, dimSteps)
	sum, count := make([]float64, dimSteps), make([]float64, dimSteps)
	for i, row := range c.raw {
		if math.IsNaN(row.Solar) || rec.Lat == 0 && rec.Lon == 0 {
			continue
		}
		clear := clearSky(sunSine(row.At, rec.Lat, rec.Lon))
		k := min(dimSteps-1, int(normalShare(float64(c.score[sRain][i]))*dimSteps))
		sum[k] += clear - row.Solar
		count[k] += clear
	}
	for k := range c.dim {
		c.dim[k] = dimmed(plainCover(normalScore((float64(k) + 0.5) / dimSteps)))
		// A class counts when its clear-sky sum is worth thirty full days.
		if count[k] > 30*5000 {
			c.dim[k] = math.Max(0, math.Min(cloudMost, sum[k]/count[k]))
		}
	}
}

// dimAt gives the share of radiation taken away at a score of raininess.
func (c *climate) dimAt(score float64) float64 {
	at := normalShare(score)*dimSteps - 0.5
	k := int(math.Floor(at))
	switch {
	case k < 0:
		return c.dim[0]
	case k >= dimSteps-1:
		return c.dim[dimSteps-1]
	}
	part := at - float64(k)
	return c.dim[k]*(1-part) + c.dim[k+1]*part
}
