package openmeteo

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"time"

	"laycast/forecast"
	"laycast/forecast/attempt"
)

// place is one place of an answer. Pointers tell "not there" from zero.
type place struct {
	Error     bool                       `json:"error"`
	Reason    string                     `json:"reason"`
	Latitude  *float64                   `json:"latitude"`
	Longitude *float64                   `json:"longitude"`
	Position  *float64                   `json:"location_id"` // told from the second place on
	Offset    float64                    `json:"utc_offset_seconds"`
	Units     map[string]any             `json:"hourly_units"`
	Hourly    map[string]json.RawMessage `json:"hourly"`
}

// maxRows bounds the rows of an answer, so that a strange server cannot ask for
// the machine's memory; the longest asked for has 289.
const maxRows = 1000

// decode makes runs of an answer's body, in the order asked for. It takes the
// answer whole or not at all; the error says what is wrong with it.
func decode(body []byte, a ask) ([]forecast.Run, error) {
	places, err := readPlaces(body)
	if err != nil {
		return nil, err
	}
	if len(places) != len(a.cells) {
		return nil, fmt.Errorf("%d places answered, %d asked for", len(places), len(a.cells))
	}
	runs := make([]forecast.Run, len(places))
	for i, p := range places {
		if runs[i], err = p.run(i, a); err != nil {
			return nil, fmt.Errorf("place %d of %d: %w", i+1, len(places), err)
		}
	}
	return runs, nil
}

// readPlaces reads a body: one place is an object, more are an array.
func readPlaces(body []byte) ([]place, error) {
	body = bytes.TrimSpace(body)
	if len(body) == 0 {
		return nil, errors.New("the body is empty")
	}
	places := make([]place, 1)
	var err error
	if body[0] == '[' {
		err = json.Unmarshal(body, &places)
	} else {
		err = json.Unmarshal(body, &places[0])
	}
	if err != nil {
		return nil, fmt.Errorf("the body is no whole JSON: %s", attempt.Plain(err.Error()))
	}
	return places, nil
}

// run makes the run of place number i.
func (p place) run(i int, a ask) (forecast.Run, error) {
	cell := a.cells[i]
	if err := p.check(i, cell); err != nil {
		return forecast.Run{}, err
	}
	start, n, err := p.times(a.from)
	if err != nil {
		return forecast.Run{}, err
	}
	t, err := p.table(n, a)
	if err != nil {
		return forecast.Run{}, err
	}
	var notes forecast.Notes
	r := t.readings(start)
	if k := r.SpreadEven(cell, a.coarse(start)); k > 0 {
		notes.Once("rain told for blocks of hours: the hours it falls in are drawn")
	}
	h := forecast.Quantise(r.Hours(&notes))
	return forecast.Run{
		Source: Source, Endpoint: a.endpoint, Cell: cell, Model: a.model,
		Hours: h, Notes: notes.List(t.members), Digest: forecast.Digest(h),
	}, nil
}

// check says whether this is a forecast in UTC for about the cell asked for.
func (p place) check(i int, cell forecast.Cell) error {
	switch {
	case p.Error:
		return fmt.Errorf("an error instead of a forecast: %s", attempt.Plain(p.Reason))
	case p.Latitude == nil || p.Longitude == nil || p.Hourly == nil:
		return errors.New("no latitude, longitude or hours in it")
	case p.Offset != 0:
		return fmt.Errorf("times are local (%+.0f s), not UTC", p.Offset)
	case p.Position != nil && *p.Position != float64(i):
		return fmt.Errorf("it says it is number %g", *p.Position+1)
	}
	if km := cell.KmTo(*p.Latitude, *p.Longitude); !(km <= forecast.Farthest) {
		return fmt.Errorf("its grid cell lies %.0f km from where the forecast was asked for, at most %d km are taken", km, forecast.Farthest)
	}
	return nil
}

// latest is how far the first row may lie from the hour asked for: an answer
// from elsewhere in time is an answer for another time.
const latest = 2 * time.Hour

// times reads the stamps: whole hours of UTC, one after the other, from about
// the hour asked for on.
func (p place) times(from time.Time) (start time.Time, n int, err error) {
	if u := p.Units["time"]; u != "unixtime" {
		return start, 0, fmt.Errorf("times are not unix seconds but %q", attempt.Plain(fmt.Sprint(u)))
	}
	stamps, err := numbers(p.Hourly["time"])
	if err != nil || len(stamps) < 2 || len(stamps) > maxRows {
		return start, 0, fmt.Errorf("the times are no list of 2 to %d unix seconds", maxRows)
	}
	for i, s := range stamps {
		if !(s >= 0 && s < 1<<36) || math.Mod(s, 3600) != 0 { // also when s is null
			return start, 0, fmt.Errorf("row %d does not begin at a whole hour", i)
		}
		if i > 0 && s-stamps[i-1] != 3600 {
			return start, 0, fmt.Errorf("row %d does not follow row %d by an hour", i, i-1)
		}
	}
	start = time.Unix(int64(stamps[0]), 0).UTC()
	if d := start.Sub(from); d < -latest || d > latest {
		return start, 0, fmt.Errorf("its hours begin at %s, asked for were those from %s on", start.Format(time.RFC3339), from.Format(time.RFC3339))
	}
	return start, len(stamps), nil
}

// numbers reads a list of numbers and nulls; null becomes NaN. It goes through
// pointers because null into a plain float64 is silently 0.
func numbers(raw json.RawMessage) ([]float64, error) {
	var list []*float64
	if err := json.Unmarshal(raw, &list); err != nil {
		return nil, err
	}
	out := make([]float64, len(list))
	for i, x := range list {
		out[i] = math.NaN()
		if x != nil {
			out[i] = *x
		}
	}
	return out, nil
}
