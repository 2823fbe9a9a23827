package openmeteo

import (
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"laycast/forecast"
)

// The measures asked for (FORECAST_API §6 A and B). The deterministic list holds
// some that are not decoded yet; up to 15 they cost 1.5 calls a place.
const (
	forecastHourly = "temperature_2m,relative_humidity_2m,dew_point_2m,precipitation,precipitation_probability,snowfall,weather_code,cloud_cover,surface_pressure,wind_speed_10m,wind_gusts_10m,shortwave_radiation,direct_radiation,surface_temperature,is_day"
	ensembleHourly = "temperature_2m,relative_humidity_2m,dew_point_2m,precipitation,wind_speed_10m,wind_gusts_10m,cloud_cover,shortwave_radiation"
)

// The hours asked for: one row more than the horizon, because the last slot's
// rain stands in the row at its end.
const (
	pastHours     = 48
	forecastHours = 241
	ensembleHours = 169
)

// question is a request and what its answer must be about.
type question struct {
	address *url.URL
	ask     ask
}

// ask says what an answer must be about.
type ask struct {
	endpoint forecast.Endpoint
	model    string // "" = the source's choice
	cells    []forecast.Cell
	from     time.Time // stamp of the first row
	now      time.Time // the hour of asking
}

// hourly is for how many hours ahead a model tells rain by the hour; beyond, its
// blocks of 3 and 6 hours come divided evenly (FORECAST_API §1.3, §2). 54 h after
// the start of a run, which is about six hours old when it is fetched; the same
// is taken for the models that are not in the table.
func hourly(model string) int {
	n, ok := map[string]int{
		"ecmwf_ifs025_ensemble": 0, "ncep_gefs025": 0, "ncep_gefs05": 0, "gem_global_ensemble": 0, "icon_global_eps": 0,
		"icon_eu_eps": 42, "dwd_icon_eu_eps": 42, "ecmwf_ifs_europe_ensemble": 84,
	}[model]
	if !ok {
		return 48
	}
	return n
}

// coarse gives the first slot of an answer beyond the hours that are told by
// the hour.
func (a ask) coarse(start time.Time) int {
	return int(a.now.Sub(start).Hours()) + hourly(a.model)
}

// question builds the request of an endpoint.
func (c *Client) question(ep forecast.Endpoint, cells []forecast.Cell, now time.Time) (question, error) {
	most := c.Batch(ep)
	if most == 0 {
		return question{}, fmt.Errorf("there is no endpoint %q: ask for %q or %q", ep, forecast.Deterministic, forecast.Ensemble)
	}
	if len(cells) > most {
		return question{}, fmt.Errorf("%d places asked for at once, at most %d a request", len(cells), most)
	}
	a := ask{endpoint: ep, cells: cells, now: now.UTC().Truncate(time.Hour)}
	a.from = a.now
	p := places(cells)
	if ep == forecast.Ensemble {
		a.model = c.cfg.Model
		p.Set("models", c.cfg.Model)
		p.Set("hourly", ensembleHourly)
		p.Set("forecast_hours", strconv.Itoa(ensembleHours))
		return question{address(c.ensemble, "/v1/ensemble", p), a}, nil
	}
	a.from = a.now.Add(-pastHours * time.Hour)
	p.Set("hourly", forecastHourly)
	p.Set("temperature_unit", "celsius")
	p.Set("precipitation_unit", "mm")
	p.Set("past_hours", strconv.Itoa(pastHours))
	p.Set("forecast_hours", strconv.Itoa(forecastHours))
	p.Set("cell_selection", "land")
	return question{address(c.forecast, "/v1/forecast", p), a}, nil
}

// places gives the part of a request that says where, in which units and in UTC.
func places(cells []forecast.Cell) url.Values {
	p := url.Values{"wind_speed_unit": {"ms"}, "timeformat": {"unixtime"}}
	p.Set("latitude", list(cells, func(c forecast.Cell) string { return strconv.FormatFloat(c.Lat, 'f', 3, 64) }))
	p.Set("longitude", list(cells, func(c forecast.Cell) string { return strconv.FormatFloat(c.Lon, 'f', 3, 64) }))
	p.Set("elevation", list(cells, func(c forecast.Cell) string { return strconv.Itoa(c.Elev) }))
	return p
}

// list joins one property of all cells by commas.
func list(cells []forecast.Cell, property func(forecast.Cell) string) string {
	s := make([]string, len(cells))
	for i, c := range cells {
		s[i] = property(c)
	}
	return strings.Join(s, ",")
}

// address joins a base, a path and a query.
func address(base *url.URL, path string, q url.Values) *url.URL {
	u := base.JoinPath(path)
	u.RawQuery = q.Encode()
	return u
}

// Batch gives how many cells one request may ask for: 25 deterministic runs, 10
// ensembles, 0 where there is no such endpoint (FORECAST_API §6).
func (c *Client) Batch(ep forecast.Endpoint) int {
	switch ep {
	case forecast.Deterministic:
		return 25
	case forecast.Ensemble:
		return 10
	default:
		return 0
	}
}

// Weight gives what a request for so many cells costs of the source's quota, in
// calls: max(1, v/10, v/10 × days/14) a place, v being measures × members
// (FORECAST_API §1.7). Free use allows 600 a minute, 5000 an hour, 10 000 a day.
func (c *Client) Weight(ep forecast.Endpoint, cells int) float64 {
	v, hours := measures(forecastHourly), pastHours+forecastHours
	if ep == forecast.Ensemble {
		v, hours = measures(ensembleHourly)*members(c.cfg.Model), ensembleHours
	}
	return weight(cells, v, float64(hours)/24)
}

// weight gives the cost of so many cells × columns over so many days.
func weight(cells, columns int, days float64) float64 {
	return float64(cells) * max(1, float64(columns)/10*max(1, days/14))
}

// measures counts the names in a list.
func measures(list string) int { return strings.Count(list, ",") + 1 }

// members gives how many members a model has (FORECAST_API §2); for one that is
// not in the table the greatest number there, so that a budget errs low.
func members(model string) int {
	n, ok := map[string]int{
		"ukmo_global_ensemble_20km": 18,
		"ukmo_uk_ensemble_2km":      3,
		"icon_eu_eps":               40, "dwd_icon_eu_eps": 40,
		"icon_d2_eps":         20,
		"icon_global_eps":     40,
		"ncep_gefs025":        31,
		"ncep_gefs05":         31,
		"gem_global_ensemble": 21,
	}[model]
	if !ok {
		return 51
	}
	return n
}
