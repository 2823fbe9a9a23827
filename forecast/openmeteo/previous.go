package openmeteo

import (
	"context"
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"laycast/forecast"
)

// Previous is what was forecast for past hours of a cell, by how long before:
// the source's own errors, to learn from without waiting for weeks.
type Previous struct {
	Cell forecast.Cell
	// Leads holds the hours as they were forecast so many days before: Leads[1]
	// the day before (24 h), and so on. Leads[0] is the last that was told: short
	// leads stitched together, model output and no observation. All have the same
	// slots and one member; air, dew point, humidity, rain and wind are read, each
	// by itself, unknown where the source has kept none.
	Leads []forecast.Hours
	Notes []string // what was mended, over all leads
}

// The bounds of a question about previous runs (FORECAST_API §3): the source
// keeps up to seven days of lead, and the rows of an answer are bounded.
const (
	maxLead      = 7
	maxPastDays  = 40
	previousMost = 10 // cells
)

// previousMeasures are asked for, each for the last and for every lead.
var previousMeasures = [...]string{"temperature_2m", "dew_point_2m", "precipitation", "wind_speed_10m"}

// Previous asks once what was forecast for the last `days` days (1 to 40, whole
// days of UTC before today) up to `leads` days before (1 to 7), for at most ten
// cells, and gives it in the order of cells. Every error is a
// *forecast.Failure.
func (c *Client) Previous(ctx context.Context, cells []forecast.Cell, leads, days int, now time.Time) ([]Previous, error) {
	if len(cells) == 0 {
		return nil, nil
	}
	if len(cells) > previousMost || leads < 1 || leads > maxLead || days < 1 || days > maxPastDays {
		return nil, c.http.Fail(forecast.Refused, "%d places, %d days of lead and %d past days asked for; at most %d, %d and %d a request", len(cells), leads, days, previousMost, maxLead, maxPastDays)
	}
	a := ask{endpoint: forecast.Deterministic, cells: cells, now: now.UTC().Truncate(time.Hour)}
	a.from = now.UTC().Truncate(24 * time.Hour).Add(-time.Duration(days) * 24 * time.Hour) // elapsed: the source's days are UTC's
	answer, f := c.http.Get(ctx, c.previousQuestion(cells, leads, days), "", now)
	if f == nil {
		f = c.judge(answer, now)
	}
	if f != nil {
		return nil, f
	}
	out, err := decodePrevious(answer.Body, a, leads)
	if err != nil {
		return nil, c.http.Fail(forecast.Broken, "%s sent no whole record of forecasts: %v", answer.Host, err)
	}
	return out, nil
}

// previousQuestion builds the request (FORECAST_API §6 D).
func (c *Client) previousQuestion(cells []forecast.Cell, leads, days int) *url.URL {
	var hourly []string
	for _, name := range previousMeasures {
		hourly = append(hourly, name)
		for d := 1; d <= leads; d++ {
			hourly = append(hourly, name+previousSuffix+strconv.Itoa(d))
		}
	}
	p := places(cells)
	p.Set("hourly", strings.Join(hourly, ","))
	p.Set("temperature_unit", "celsius")
	p.Set("precipitation_unit", "mm")
	p.Set("past_days", strconv.Itoa(days))
	p.Set("forecast_days", "0")
	p.Set("cell_selection", "land")
	return address(c.previous, "/v1/forecast", p)
}

// PreviousWeight gives what such a request costs of the source's quota, in
// calls; see Weight.
func (c *Client) PreviousWeight(cells, leads, days int) float64 {
	return weight(cells, len(previousMeasures)*(leads+1), float64(days))
}

// previousSuffix stands between a measure and its days of lead.
const previousSuffix = "_previous_day"

// lead reads the days of lead of a column from what parseKey takes for a model;
// ok is false for a column of something else.
func lead(model string) (days int, ok bool) {
	if model == "" {
		return 0, true
	}
	digits, ok := strings.CutPrefix("_"+model, previousSuffix)
	if !ok || len(digits) != 1 {
		return 0, false
	}
	days, err := strconv.Atoi(digits)
	return days, err == nil && days > 0
}

// decodePrevious reads an answer about previous runs. It takes the answer whole
// or not at all.
func decodePrevious(body []byte, a ask, leads int) ([]Previous, error) {
	places, err := readPlaces(body)
	if err != nil {
		return nil, err
	}
	if len(places) != len(a.cells) {
		return nil, fmt.Errorf("%d places answered, %d asked for", len(places), len(a.cells))
	}
	out := make([]Previous, len(places))
	for i, p := range places {
		if out[i], err = p.previous(i, a, leads); err != nil {
			return nil, fmt.Errorf("place %d of %d: %w", i+1, len(places), err)
		}
	}
	return out, nil
}

// previous reads place number i.
func (p place) previous(i int, a ask, leads int) (Previous, error) {
	if err := p.check(i, a.cells[i]); err != nil {
		return Previous{}, err
	}
	start, n, err := p.times(a.from)
	if err != nil {
		return Previous{}, err
	}
	tables := make([]table, leads+1)
	for _, key := range slices.Sorted(maps.Keys(p.Hourly)) {
		c, model, ok := parseKey(key)
		d, known := lead(model)
		if !ok || !known || c.member > 0 || d > leads {
			continue
		}
		col, err := p.column(c, n)
		if err != nil {
			return Previous{}, err
		}
		tables[d].cols[c.v] = [][]float64{col}
	}
	out := Previous{Cell: a.cells[i]}
	var notes forecast.Notes
	for d, t := range tables {
		t.n, t.members = n, 1
		r := t.readings(start)
		if 24*d >= hourly(a.model) {
			r.SpreadEven(out.Cell, 0)
		}
		out.Leads = append(out.Leads, forecast.Quantise(r.Loose(&notes)))
	}
	out.Notes = notes.List(1)
	return out, nil
}

// previousFor gives the address of the previous runs beside that of the
// forecast: the source's own hosts have one of their own for it, a server of
// one's own has one for all.
func previousFor(forecastURL string) string {
	switch strings.TrimRight(forecastURL, "/") {
	case FreeForecastURL:
		return FreePreviousURL
	case paidForecastURL:
		return paidPreviousURL
	}
	return forecastURL
}
