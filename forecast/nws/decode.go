package nws

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/forecast/attempt"
)

// office is the identifier of a forecast office, such as "TOP".
var office = regexp.MustCompile(`^[A-Z0-9]{2,5}$`)

// decodePoint reads the grid point of a place.
func decodePoint(body []byte) (grid, error) {
	var p struct {
		Properties struct {
			GridID string `json:"gridId"`
			GridX  *int   `json:"gridX"`
			GridY  *int   `json:"gridY"`
		} `json:"properties"`
	}
	if err := json.Unmarshal(body, &p); err != nil {
		return grid{}, fmt.Errorf("the body is no whole JSON: %s", attempt.Plain(err.Error()))
	}
	at := p.Properties
	if !office.MatchString(at.GridID) || at.GridX == nil || at.GridY == nil || *at.GridX < 0 || *at.GridY < 0 {
		return grid{}, errors.New("no office and no point of its grid in it")
	}
	return grid{office: at.GridID, x: *at.GridX, y: *at.GridY}, nil
}

// document is a raw grid point. Pointers tell "not there" from zero.
type document struct {
	Geometry struct {
		Coordinates [][][]float64 `json:"coordinates"` // rings of lon, lat
	} `json:"geometry"`
	Properties *struct {
		UpdateTime time.Time `json:"updateTime"`
		Elevation  struct {
			Unit  string   `json:"unitCode"`
			Value *float64 `json:"value"`
		} `json:"elevation"`
		Temperature      layer `json:"temperature"`
		Dewpoint         layer `json:"dewpoint"`
		RelativeHumidity layer `json:"relativeHumidity"`
		WindSpeed        layer `json:"windSpeed"`
		WindGust         layer `json:"windGust"`
		SkyCover         layer `json:"skyCover"`
		Chance           layer `json:"probabilityOfPrecipitation"`
		Rain             layer `json:"quantitativePrecipitation"`
	} `json:"properties"`
}

// layer is one measure over its intervals.
type layer struct {
	Unit   string `json:"uom"`
	Values []struct {
		Valid string   `json:"validTime"`
		Value *float64 `json:"value"`
	} `json:"values"`
}

// measure is what a layer tells, and by which factor and offset its units become
// ours.
type measure struct {
	v     forecast.Var
	name  string
	of    layer
	units map[string][2]float64
}

var (
	degrees = map[string][2]float64{"degC": {1, 0}, "degF": {5.0 / 9, -160.0 / 9}}
	speeds  = map[string][2]float64{"km_h-1": {1 / 3.6, 0}, "m_s-1": {1, 0}, "kt": {1852.0 / 3600, 0}}
	percent = map[string][2]float64{"percent": {1, 0}}
	depths  = map[string][2]float64{"mm": {1, 0}}
)

// measures lists the layers that are decoded, temperature first.
func (d document) measures() []measure {
	p := d.Properties
	return []measure{
		{forecast.Air, "temperature", p.Temperature, degrees},
		{forecast.Dew, "dewpoint", p.Dewpoint, degrees},
		{forecast.RH, "relativeHumidity", p.RelativeHumidity, percent},
		{forecast.Wind, "windSpeed", p.WindSpeed, speeds},
		{forecast.Gust, "windGust", p.WindGust, speeds},
		{forecast.Cloud, "skyCover", p.SkyCover, percent},
		{forecast.RainChance, "probabilityOfPrecipitation", p.Chance, percent},
		{forecast.Rain, "quantitativePrecipitation", p.Rain, depths},
	}
}

// span is a value and the slots it is valid in.
type span struct {
	from  time.Time
	hours int
	value float64
}

// spans reads a layer. An interval that is not made of whole hours is left out:
// its slots stay unknown.
func (m measure) spans(n *forecast.Notes) ([]span, error) {
	if len(m.of.Values) == 0 {
		return nil, nil
	}
	unit := m.of.Unit[strings.LastIndex(m.of.Unit, ":")+1:] // "wmoUnit:degC", in older answers "unit:degC"
	scale, ok := m.units[unit]
	if !ok {
		return nil, fmt.Errorf("%s is in %q, which is not known here", m.name, attempt.Plain(m.of.Unit))
	}
	var out []span
	for _, x := range m.of.Values {
		from, length, err := parseInterval(x.Valid)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", m.name, err)
		}
		if !from.Equal(from.Truncate(time.Hour)) || length%time.Hour != 0 {
			n.Add(m.name + " told for parts of hours, left out")
			continue
		}
		s := span{from, int(length / time.Hour), math.NaN()}
		if x.Value != nil {
			s.value = *x.Value*scale[0] + scale[1]
		}
		out = append(out, s)
	}
	return out, nil
}

// The bounds of an answer: it may begin hours in the past, and reaches about
// eight days ahead. Hours further back are of no use.
const (
	maxPast  = 48
	maxAhead = 300
)

// decode makes the run of a cell. It takes the answer whole or not at all; the
// error says what is wrong with it.
func decode(body []byte, cell forecast.Cell, now time.Time) (forecast.Run, error) {
	var d document
	if err := json.Unmarshal(body, &d); err != nil {
		return forecast.Run{}, fmt.Errorf("the body is no whole JSON: %s", attempt.Plain(err.Error()))
	}
	if err := d.check(cell); err != nil {
		return forecast.Run{}, err
	}
	var notes forecast.Notes
	r, err := d.readings(cell, now, &notes)
	if err != nil {
		return forecast.Run{}, err
	}
	d.height(cell, &notes)
	h := forecast.Quantise(r.Hours(&notes))
	return forecast.Run{
		Source: Source, Endpoint: forecast.Deterministic, Cell: cell, ModelRun: d.Properties.UpdateTime.UTC(),
		Hours: h, Notes: notes.List(1), Digest: forecast.Digest(h),
	}, nil
}

// check says whether this is a grid point about the cell, with a time of update.
func (d document) check(cell forecast.Cell) error {
	rings := d.Geometry.Coordinates
	if d.Properties == nil || len(rings) == 0 || len(rings[0]) == 0 || len(rings[0][0]) < 2 {
		return errors.New("no place or no weather in it")
	}
	if d.Properties.UpdateTime.IsZero() {
		return errors.New("it does not say when it was updated")
	}
	if km := cell.KmTo(rings[0][0][1], rings[0][0][0]); !(km <= forecast.Farthest) {
		return fmt.Errorf("it is about a place %.0f km from the one asked for, at most %d km are taken", km, forecast.Farthest)
	}
	return nil
}

// readings expands the layers. A value holds in every hour of its interval: the
// service says so, and equal neighbours are merged (weather-gov/api issues 69,
// 21); precipitation is the interval's total, whose hours are drawn.
func (d document) readings(cell forecast.Cell, now time.Time, n *forecast.Notes) (*forecast.Readings, error) {
	all := map[forecast.Var][]span{}
	for _, m := range d.measures() {
		spans, err := m.spans(n)
		if err != nil {
			return nil, err
		}
		all[m.v] = spans
	}
	r, err := window(all[forecast.Air], now)
	if err != nil {
		return nil, err
	}
	for v, spans := range all {
		if spans == nil {
			continue
		}
		col := forecast.Unread(r.N)
		r.In[v] = [][]float64{col}
		for _, s := range spans {
			hours := slices.Repeat([]float64{s.value}, s.hours)
			if v == forecast.Rain {
				hours = forecast.Spread(s.value, s.hours, forecast.BlockSeed(cell, s.from, 0))
				if s.hours > 1 && s.value > 0 {
					n.Once("rain told for blocks of hours: the hours it falls in are drawn")
				}
			}
			off := int(s.from.Sub(r.Start) / time.Hour) // both are whole hours
			for k, x := range hours {
				if i := off + k; i >= 0 && i < r.N {
					col[i] = x
				}
			}
		}
	}
	return r, nil
}

// window makes empty readings for the hours that the temperature is told for.
func window(air []span, now time.Time) (*forecast.Readings, error) {
	hour := now.UTC().Truncate(time.Hour)
	first, end := hour.Add(maxAhead*time.Hour), hour.Add(-maxPast*time.Hour)
	earliest, latest := end, first
	for _, s := range air {
		if s.from.Before(first) {
			first = s.from
		}
		if e := s.from.Add(time.Duration(s.hours) * time.Hour); e.After(end) {
			end = e
		}
	}
	if first.Before(earliest) {
		first = earliest
	}
	if end.After(latest) {
		end = latest
	}
	if len(air) == 0 || !end.After(hour) || first.After(hour.Add(time.Hour)) {
		return nil, errors.New("it tells no temperature for the hours from now on")
	}
	return &forecast.Readings{Start: first, N: int(end.Sub(first) / time.Hour), Members: 1}, nil
}

// heightNote is the difference of height from which the grid's is told, in
// metres: a kelvin by the standard atmosphere's 6.5 K/km.
const heightNote = 150

// height notes a grid that lies much higher or lower than the cell.
func (d document) height(cell forecast.Cell, n *forecast.Notes) {
	e := d.Properties.Elevation
	if e.Value == nil || !strings.HasSuffix(e.Unit, ":m") {
		return
	}
	if up := *e.Value - float64(cell.Elev); math.Abs(up) >= heightNote && math.Abs(up) < 1e4 {
		where := "above"
		if up < 0 {
			where = "below"
		}
		n.Once("the source's grid lies " + strconv.Itoa(int(math.Abs(up))) + " m " + where + " the place: its temperatures are not corrected")
	}
}
