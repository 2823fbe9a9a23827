package openmeteo

import (
	"errors"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/forecast/attempt"
)

// measure is how the source writes one measure of the weather.
type measure struct {
	v      forecast.Var
	name   string
	unit   string
	before bool // of the hour before the stamp; else an instant at the stamp
}

// source lists the measures that are decoded.
var source = [...]measure{
	{forecast.Air, "temperature_2m", "°C", false},
	{forecast.Dew, "dew_point_2m", "°C", false},
	{forecast.RH, "relative_humidity_2m", "%", false},
	{forecast.Rain, "precipitation", "mm", true},
	{forecast.Wind, "wind_speed_10m", "m/s", false},
	{forecast.Gust, "wind_gusts_10m", "m/s", true},
	{forecast.Cloud, "cloud_cover", "%", false},
	{forecast.Solar, "shortwave_radiation", "W/m²", true},
	{forecast.Pressure, "surface_pressure", "hPa", false},
	{forecast.RainChance, "precipitation_probability", "%", true},
}

// table is one place's rows: per measure and member a column of n values, NaN
// where not known, nil where there is no column.
type table struct {
	n       int
	members int
	cols    [forecast.NVars][][]float64
	day     []float64 // 1 by day, 0 by night, at the stamp; nil when not told
}

// column is a column of the answer.
type column struct {
	measure
	key    string
	member int
}

// suffix is what follows a measure's name: the member (the control has none),
// then the model's name (told only where several models answer).
var suffix = regexp.MustCompile(`^(?:_member(\d{2,3}))?(?:_(.+))?$`)

// maxMember bounds the member numbers: the largest ensemble has 51.
const maxMember = 255

// parseKey reads a column's name; ok is false for one that is none of ours.
func parseKey(key string) (c column, model string, ok bool) {
	for _, m := range source { // the longest name wins: precipitation_probability is no precipitation
		if strings.HasPrefix(key, m.name) && len(m.name) > len(c.name) {
			c.measure = m
		}
	}
	part := suffix.FindStringSubmatch(key[len(c.name):])
	if c.name == "" || part == nil {
		return column{}, "", false
	}
	c.key = key
	c.member, _ = strconv.Atoi(part[1]) // "" is the control, 0
	return c, part[2], true
}

// columns picks the columns of the model asked for: those that bear its name or
// none. Where all bear one other name, that is the same model renamed (the
// source maps some names to others).
func (p place) columns(model string) ([]column, error) {
	byModel := map[string][]column{}
	for _, key := range slices.Sorted(maps.Keys(p.Hourly)) {
		if c, m, ok := parseKey(key); ok {
			byModel[m] = append(byModel[m], c)
		}
	}
	picked := append(byModel[""], byModel[model]...) // named ones last: they win
	if model == "" {
		picked = byModel[""]
	}
	if len(picked) == 0 && model != "" && len(byModel) == 1 {
		for _, cols := range byModel {
			picked = cols
		}
	}
	if len(picked) == 0 {
		return nil, errors.New("no column of the weather asked for is in it")
	}
	return picked, nil
}

// table reads the columns of n rows.
func (p place) table(n int, a ask) (table, error) {
	picked, err := p.columns(a.model)
	if err != nil {
		return table{}, err
	}
	t := table{n: n, members: 1}
	for _, c := range picked {
		if c.member > 0 && a.endpoint != forecast.Ensemble {
			continue
		}
		if c.member > maxMember {
			return table{}, fmt.Errorf("member %d in %s: at most %d are taken", c.member, c.key, maxMember)
		}
		col, err := p.column(c, n)
		if err != nil {
			return table{}, err
		}
		for len(t.cols[c.v]) <= c.member {
			t.cols[c.v] = append(t.cols[c.v], nil)
		}
		t.cols[c.v][c.member] = col
		t.members = max(t.members, c.member+1)
	}
	if raw, ok := p.Hourly["is_day"]; ok {
		if day, err := numbers(raw); err == nil && len(day) == n {
			t.day = day
		}
	}
	return t, nil
}

// column reads one column of n rows, nil where the source says it has none: it
// gives such a column the unit "undefined". Any other foreign unit means that
// the numbers are not what they seem.
func (p place) column(c column, n int) ([]float64, error) {
	col, err := numbers(p.Hourly[c.key])
	if err != nil {
		return nil, fmt.Errorf("%s is no list of numbers", c.key)
	}
	if len(col) != n {
		return nil, fmt.Errorf("%s has %d rows, the times have %d", c.key, len(col), n)
	}
	switch unit := p.Units[c.key]; unit {
	case c.unit:
		return col, nil
	case "undefined":
		return nil, nil
	default:
		return nil, fmt.Errorf("%s is in %q, not in %s", c.key, attempt.Plain(fmt.Sprint(unit)), c.unit)
	}
}

// readings shifts what is stamped at its end into the slot before the stamp,
// once. n rows give n-1 slots; the first row's sums belong to no slot.
func (t *table) readings(start time.Time) *forecast.Readings {
	r := &forecast.Readings{Start: start, N: t.n - 1, Members: t.members}
	for _, s := range source {
		for _, col := range t.cols[s.v] {
			if s.before && col != nil {
				col = col[1:]
			}
			if s.before {
				r.In[s.v] = append(r.In[s.v], col)
			} else {
				r.At[s.v] = append(r.At[s.v], col)
			}
		}
	}
	if t.day != nil {
		r.Night = make([]bool, r.N)
		for i := range r.Night {
			r.Night[i] = t.day[i] == 0 && t.day[i+1] == 0
		}
	}
	return r
}
