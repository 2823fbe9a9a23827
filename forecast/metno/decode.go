package metno

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"laycast/forecast"
	"laycast/forecast/attempt"
)

// answer is a Locationforecast document. Pointers tell "not there" from zero.
type answer struct {
	Type     string `json:"type"`
	Geometry struct {
		Coordinates []float64 `json:"coordinates"` // lon, lat, height
	} `json:"geometry"`
	Properties struct {
		Meta struct {
			Units map[string]string `json:"units"`
		} `json:"meta"`
		Timeseries []step `json:"timeseries"`
	} `json:"properties"`
}

// step is the weather at a moment and in the hours from it on.
type step struct {
	Time time.Time `json:"time"`
	Data struct {
		Instant period  `json:"instant"`
		Next1   *period `json:"next_1_hours"`
		Next6   *period `json:"next_6_hours"`
	} `json:"data"`
}

// period is a set of measures.
type period struct {
	Details map[string]*float64 `json:"details"`
}

// measure is how the service writes one measure of the weather.
type measure struct {
	v          forecast.Var
	name, unit string
}

// instants stand at the moment of a step, sums in the period after it. Pressure
// is told at sea level only and is left out.
var (
	instants = [...]measure{
		{forecast.Air, "air_temperature", "celsius"},
		{forecast.Dew, "dew_point_temperature", "celsius"},
		{forecast.RH, "relative_humidity", "%"},
		{forecast.Wind, "wind_speed", "m/s"},
		{forecast.Cloud, "cloud_area_fraction", "%"},
	}
	gust   = measure{forecast.Gust, "wind_speed_of_gust", "m/s"}
	rain   = measure{forecast.Rain, "precipitation_amount", "mm"}
	chance = measure{forecast.RainChance, "probability_of_precipitation", "%"}
)

// The bounds of an answer: it has 9 to 10 days, in steps of at most 6 hours, and
// begins at about the hour of asking. A service that has hung may begin earlier;
// how old its content is is not judged here.
const (
	maxHours    = 400
	longestStep = 6
	earliest    = 24 * time.Hour // elapsed: the age of an answer
	latest      = 2 * time.Hour
)

// decode makes the run of a cell. It takes the answer whole or not at all; the
// error says what is wrong with it.
func decode(body []byte, cell forecast.Cell, now time.Time) (forecast.Run, error) {
	var a answer
	if err := json.Unmarshal(body, &a); err != nil {
		return forecast.Run{}, fmt.Errorf("the body is no whole JSON: %s", attempt.Plain(err.Error()))
	}
	if err := a.check(cell, now); err != nil {
		return forecast.Run{}, err
	}
	var notes forecast.Notes
	r, blocks := a.readings(cell)
	if blocks > 0 {
		notes.Once("rain told for blocks of hours: the hours it falls in are drawn; what is told at their ends is joined by a straight line")
	}
	h := forecast.Quantise(r.Hours(&notes))
	return forecast.Run{
		Source: Source, Endpoint: forecast.Deterministic, Cell: cell,
		Hours: h, Notes: notes.List(1), Digest: forecast.Digest(h),
	}, nil
}

// check says whether this is a forecast for about the cell and the time.
func (a answer) check(cell forecast.Cell, now time.Time) error {
	steps := a.Properties.Timeseries
	if a.Type != "Feature" || len(a.Geometry.Coordinates) < 2 || len(steps) < 2 {
		return errors.New("no place or no times in it")
	}
	if km := cell.KmTo(a.Geometry.Coordinates[1], a.Geometry.Coordinates[0]); !(km <= forecast.Farthest) {
		return fmt.Errorf("it is about a place %.0f km from the one asked for, at most %d km are taken", km, forecast.Farthest)
	}
	first, last := steps[0].Time, steps[len(steps)-1].Time
	for i, s := range steps {
		if !s.Time.Equal(s.Time.UTC().Truncate(time.Hour)) || s.Time.Unix() < 0 {
			return fmt.Errorf("step %d is not at a whole hour", i)
		}
		if i > 0 && !s.Time.After(steps[i-1].Time) {
			return fmt.Errorf("step %d does not come after step %d", i, i-1)
		}
	}
	if first.Before(now.Add(-earliest)) || first.After(now.Add(latest)) || last.Sub(first) > maxHours*time.Hour {
		return fmt.Errorf("its hours are those from %s to %s, asked for at %s", first.Format(time.RFC3339), last.Format(time.RFC3339), now.UTC().Format(time.RFC3339))
	}
	return a.units()
}

// units says whether the measures that occur are in the units that we read. A
// foreign unit means that the numbers are not what they seem.
func (a answer) units() error {
	for _, m := range append(instants[:], gust, rain, chance) {
		for _, s := range a.Properties.Timeseries {
			if !s.has(m.name) {
				continue
			}
			if u := a.Properties.Meta.Units[m.name]; u != m.unit {
				return fmt.Errorf("%s is in %q, not in %s", m.name, attempt.Plain(u), m.unit)
			}
			break
		}
	}
	return nil
}

// has says whether a measure occurs in a step.
func (s step) has(name string) bool {
	return known(s.Data.Instant.value(name)) || known(s.Data.Next1.value(name)) || known(s.Data.Next6.value(name))
}

// value gives a measure, NaN where it is not told.
func (p *period) value(name string) float64 {
	if p == nil || p.Details[name] == nil {
		return math.NaN()
	}
	return *p.Details[name]
}

func known(x float64) bool { return x == x }

// readings lays the steps out by the hour and gives the number of blocks whose
// rain was drawn. Between two steps of up to six hours instants follow a
// straight line; the gust is the greater of both ends.
func (a answer) readings(cell forecast.Cell) (r *forecast.Readings, blocks int) {
	steps := a.Properties.Timeseries
	hour := func(i int) int { return int(steps[i].Time.Sub(steps[0].Time) / time.Hour) }
	r = &forecast.Readings{Start: steps[0].Time.UTC(), N: hour(len(steps) - 1), Members: 1}
	for _, m := range instants {
		r.At[m.v] = [][]float64{forecast.Unread(r.N + 1)}
	}
	for _, v := range []forecast.Var{forecast.Gust, forecast.Rain, forecast.RainChance} {
		r.In[v] = [][]float64{forecast.Unread(r.N)}
	}
	for i, s := range steps {
		for _, m := range instants {
			r.At[m.v][0][hour(i)] = s.Data.Instant.value(m.name)
		}
		if i == len(steps)-1 {
			break // its periods lie beyond the last instants
		}
		from, to := hour(i), hour(i+1)
		if to-from <= longestStep {
			join(r, from, to, s, steps[i+1])
		}
		if s.rain(r, cell, from, to) {
			blocks++
		}
	}
	return r, blocks
}

// join fills the hours from one step to the next.
func join(r *forecast.Readings, from, to int, s, next step) {
	for _, m := range instants {
		a, b := s.Data.Instant.value(m.name), next.Data.Instant.value(m.name)
		for k := from + 1; k < to; k++ {
			r.At[m.v][0][k] = a + (b-a)*float64(k-from)/float64(to-from)
		}
	}
	for k := from; k < to; k++ {
		r.In[forecast.Gust][0][k] = max(s.Data.Instant.value(gust.name), next.Data.Instant.value(gust.name)) // NaN at either end stays NaN
	}
}

// rain sets the rain of the hours up to the next step, and reports whether it
// was drawn from a block. Periods look forward: next_1_hours of a step at T is
// the rain of [T, T+1h). A block's chance of rain holds for each of its hours,
// which errs towards rain.
func (s step) rain(r *forecast.Readings, cell forecast.Cell, from, to int) (drawn bool) {
	p, hours := s.Data.Next1, 1
	if !known(p.value(rain.name)) {
		p, hours = s.Data.Next6, 6
	}
	spread := forecast.Spread(p.value(rain.name), hours, forecast.BlockSeed(cell, s.Time, 0))
	for k := range min(hours, to-from) {
		r.In[forecast.Rain][0][from+k] = spread[k]
		r.In[forecast.RainChance][0][from+k] = p.value(chance.name)
	}
	return hours > 1 && p.value(rain.name) > 0
}
