package replay

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"time"
)

// A climate is the record laid on a year of 365 days and turned into normal
// scores: how far out of the ordinary each hour's value is, for its season and
// hour of the day, on the scale of a standard normal. The scores are what the
// error model works on; values come back by the same table, so that whatever
// is made of the scores has the record's own distribution.

// hoursOfYear is the length of the year that all others are laid upon.
const hoursOfYear = 365 * 24

// The measures that have a score. Dew is the depression, air minus dew point;
// air is the departure from its smooth course over year and day.
const (
	sAir = iota
	sDep
	sWind
	sPressure
	sRain
	nScores
)

// The neighbourhood of an hour, for its climate: days on either side, hours on
// either side, and how many days share one table.
const (
	poolDays  = 30 // rain and the depression in wet hours: rainDays
	poolHours = 1
	rainDays  = 45
	blockDays = 5
	blocks    = 365 / blockDays
)

// wetLeast is the least rain (mm in an hour) that counts as wet: what a gauge
// reports first.
const wetLeast = 0.1

// minWet is how many wet hours a season needs for a table of its own.
const minWet = 40

// table is a sorted sample.
type table []float32

type climate struct {
	raw     [hoursOfYear]Row // as recorded, NaN where missing
	value   [nScores][]float64
	course  []float64 // smooth course of the air temperature
	wet     []bool
	score   [nScores][]float32
	pools   [nScores][]table // by block*24+hour; rain by block
	wetDeps []table          // depression in wet hours, by block
	spread  [nScores]float64 // the climate's own standard deviation, in units
	dim     []float64        // share of radiation taken away, by raininess
}

// hourOfYear gives the place of t in the year of 365 days; 29 February is
// the 28th again.
func hourOfYear(t time.Time) int {
	_, month, day := t.Date()
	if month == time.February && day == 29 {
		day = 28
	}
	first := time.Date(2001, month, day, t.Hour(), 0, 0, 0, time.UTC)
	return (first.YearDay()-1)*24 + first.Hour()
}

// wrap brings an hour index into the year.
func wrap(i int) int { return ((i % hoursOfYear) + hoursOfYear) % hoursOfYear }

// newClimate lays the record on its year and scores it.
func newClimate(rec Record) (*climate, error) {
	c := &climate{}
	for i := range c.raw {
		nan := math.NaN()
		c.raw[i] = Row{Air: nan, Dew: nan, Rain: nan, Wind: nan, Gust: nan, Solar: nan, Pressure: nan}
	}
	for _, row := range rec.Rows {
		row.At = row.At.UTC()
		if _, m, d := row.At.Date(); m == time.February && d == 29 {
			continue
		}
		if i := hourOfYear(row.At); c.raw[i].At.IsZero() {
			c.raw[i] = row
		}
	}
	if err := c.fill(); err != nil {
		return nil, err
	}
	c.smoothAir()
	c.scoreRain()
	c.scoreRest()
	c.fitDim(rec)
	return c, nil
}

// enough is the share of hours a measure must have for a year to be replayed.
const enough = 0.6

// fill makes the gapless columns that the scores need: a gap holds the last
// value before it, a gap in the rain is dry. The recorded rows keep their gaps.
func (c *climate) fill() error {
	read := map[int]func(Row) float64{
		sAir:      func(r Row) float64 { return r.Air },
		sDep:      func(r Row) float64 { return math.Max(0, r.Air-r.Dew) },
		sWind:     func(r Row) float64 { return r.Wind },
		sPressure: func(r Row) float64 { return r.Pressure },
		sRain:     func(r Row) float64 { return r.Rain },
	}
	names := [nScores]string{"air temperature", "dew point", "wind", "pressure", "rain"}
	for s, get := range read {
		col := make([]float64, hoursOfYear)
		known := 0
		for i := range col {
			col[i] = get(c.raw[i])
			if !math.IsNaN(col[i]) {
				known++
			}
		}
		if float64(known) < enough*hoursOfYear {
			if s == sPressure { // no limit rests on it
				continue
			}
			return fmt.Errorf("replay needs %s for at least %.0f %% of a year; the record has %d of %d hours",
				names[s], enough*100, known, hoursOfYear)
		}
		fillGaps(col, s == sRain)
		c.value[s] = col
	}
	c.wet = make([]bool, hoursOfYear)
	for i, mm := range c.value[sRain] {
		c.wet[i] = mm >= wetLeast-1e-9
	}
	return nil
}

// fillGaps carries the last value over a gap, from the year's end to its start.
func fillGaps(col []float64, dry bool) {
	last := 0.0
	for i := len(col) - 1; i >= 0; i-- {
		if !math.IsNaN(col[i]) {
			last = col[i]
			break
		}
	}
	for i, x := range col {
		switch {
		case !math.IsNaN(x):
			last = x
		case dry:
			col[i] = 0
		default:
			col[i] = last
		}
	}
}

// smoothAir takes the smooth course over year and day out of the air
// temperature: the mean over neighbouring days, weighted by a triangle so that
// spring and autumn are not flattened.
func (c *climate) smoothAir() {
	air := c.value[sAir]
	c.course = make([]float64, hoursOfYear)
	rest := make([]float64, hoursOfYear)
	for i := range air {
		var sum, weight float64
		for d := -poolDays; d <= poolDays; d++ {
			w := float64(poolDays + 1 - max(d, -d))
			for h := -poolHours; h <= poolHours; h++ {
				sum += w * air[wrap(i+24*d+h)]
				weight += w
			}
		}
		c.course[i] = sum / weight
		rest[i] = air[i] - c.course[i]
	}
	c.value[sAir] = rest
}

// near gives the hours of the days around a block, at one hour of the day give
// or take poolHours; hour -1 is every hour.
func near(block, hour, days int, visit func(i int)) {
	middle := block*blockDays + blockDays/2
	for d := middle - days; d <= middle+days; d++ {
		if hour < 0 {
			for h := range 24 {
				visit(wrap(d*24 + h))
			}
			continue
		}
		for h := hour - poolHours; h <= hour+poolHours; h++ {
			visit(wrap(d*24 + h))
		}
	}
}

// scoreRest scores air, depression, wind and pressure. The depression is
// scored among hours as wet or as dry as itself: air in rain is damp, and a
// member's must be so in the member's own rain.
func (c *climate) scoreRest() {
	c.wetDeps = make([]table, blocks)
	for b := range c.wetDeps {
		near(b, -1, rainDays, func(i int) {
			if c.wet[i] {
				c.wetDeps[b] = append(c.wetDeps[b], float32(c.value[sDep][i]))
			}
		})
		slices.Sort(c.wetDeps[b])
	}
	for s := sAir; s <= sPressure; s++ {
		if c.value[s] == nil {
			continue
		}
		c.spread[s] = deviation(c.value[s])
		c.pools[s] = make([]table, blocks*24)
		for k := range c.pools[s] {
			pool := make(table, 0, (2*poolDays+1)*(2*poolHours+1))
			near(k/24, k%24, poolDays, func(i int) {
				if s != sDep || !c.wet[i] || len(c.wetDeps[k/24]) < minWet {
					pool = append(pool, float32(c.value[s][i]))
				}
			})
			slices.Sort(pool)
			c.pools[s][k] = pool
		}
		ties := stream(0, "ties", s)
		c.score[s] = make([]float32, hoursOfYear)
		for i := range c.score[s] {
			c.score[s][i] = c.poolOf(s, i, c.wet[i]).scoreOf(c.value[s][i], ties.Float64())
		}
	}
}

// poolOf gives the table that score s of hour i belongs to.
func (c *climate) poolOf(s, i int, wet bool) table {
	block := i / (24 * blockDays)
	switch {
	case s == sRain:
		return c.pools[s][block]
	case s == sDep && wet && len(c.wetDeps[block]) >= minWet:
		return c.wetDeps[block]
	}
	return c.pools[s][block*24+i%24]
}

// scoreOf gives the normal score of x in the table; tie (0..1) chooses among
// equals.
func (t table) scoreOf(x, tie float64) float32 {
	v := float32(x)
	low := sort.Search(len(t), func(k int) bool { return t[k] >= v })
	high := low + sort.Search(len(t)-low, func(k int) bool { return t[low+k] > v })
	n := float64(len(t))
	at := float64(low) + tie*float64(high-low)
	return float32(normalScore(math.Max(0.5, math.Min(n-0.5, at)) / n))
}

// valueOf gives the value that stands at a normal score in the table.
func (t table) valueOf(z float64) float64 {
	at := normalShare(z)*float64(len(t)) - 0.5
	k := int(math.Floor(at))
	switch {
	case k < 0:
		return float64(t[0])
	case k >= len(t)-1:
		return float64(t[len(t)-1])
	}
	part := at - float64(k)
	return float64(t[k])*(1-part) + float64(t[k+1])*part
}

// stepOf gives the sample member at a normal score, never a value between two:
// for rain, where halfway between none and some is not a gauge's reading.
func (t table) stepOf(z float64) float64 {
	k := int(normalShare(z) * float64(len(t)))
	return float64(t[min(max(k, 0), len(t)-1)])
}

// deviation gives the standard deviation.
func deviation(xs []float64) float64 {
	var sum, square float64
	for _, x := range xs {
		sum += x
		square += x * x
	}
	n := float64(len(xs))
	return math.Sqrt(math.Max(0, square/n-(sum/n)*(sum/n)))
}
