package openmeteo

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/forecast/attempt"
)

// PlaceCredit is the line that the index of places asks for (FORECAST_API §0).
const PlaceCredit = "Places by Open-Meteo.com and GeoNames (https://www.geonames.org/), CC BY 4.0."

// Place is a town or village of the index of places.
type Place struct {
	Name       string // with district, region and country
	Lat, Lon   float64
	ElevationM float64 // 0 where the index does not say
	Zone       string  // IANA name
}

// Index looks for places by their names. It knows towns and villages, and no
// streets.
type Index struct {
	base *url.URL
	http *attempt.Client
}

// placeTimeout is how long somebody who fills in a form waits.
const placeTimeout = 10 * time.Second

// mostPlaces is how many places are asked for: more are no choice.
const mostPlaces = 8

// NewIndex makes an index of places at an address; of the Config it takes key,
// contact, version, date and network.
func NewIndex(address string, cfg Config) (*Index, error) {
	base, err := attempt.Base(address)
	if err != nil {
		return nil, fmt.Errorf("address of places: %w", err)
	}
	c, err := attempt.New(attempt.Config{Contact: cfg.Contact, Version: cfg.Version, Key: cfg.Key, StampDate: cfg.StampDate, Timeout: placeTimeout, IPv4Only: cfg.IPv4Only})
	return &Index{base: base, http: c}, err
}

// Find asks once for the places of a name, the likeliest first; none where there
// is none. Every error is a *forecast.Failure.
func (x *Index) Find(ctx context.Context, name string, now time.Time) ([]Place, error) {
	u := *x.base
	u.Path = strings.TrimRight(u.Path, "/") + "/v1/search"
	u.RawQuery = url.Values{"name": {name}, "count": {fmt.Sprint(mostPlaces)}, "language": {"en"}, "format": {"json"}}.Encode()
	answer, f := x.http.Get(ctx, &u, "", now)
	if f == nil {
		f = x.http.Judge(answer, reasonOf(answer.Body))
	}
	if f != nil {
		return nil, f
	}
	places, err := decodePlaces(answer.Body)
	if err != nil {
		return nil, x.http.Fail(forecast.Broken, "%s sent no list of places: %v", answer.Host, err)
	}
	return places, nil
}

// decodePlaces reads the answer of the index. Fields that are empty are left out
// of it, and so is the list itself where it is empty; a place without coordinates
// or with impossible ones is passed over.
func decodePlaces(body []byte) ([]Place, error) {
	var said struct {
		Error   bool    `json:"error"`
		Time    float64 `json:"generationtime_ms"`
		Results []struct {
			Name      string   `json:"name"`
			Admin2    string   `json:"admin2"`
			Admin1    string   `json:"admin1"`
			Country   string   `json:"country"`
			Latitude  *float64 `json:"latitude"`
			Longitude *float64 `json:"longitude"`
			Elevation float64  `json:"elevation"`
			Zone      string   `json:"timezone"`
		} `json:"results"`
	}
	if err := json.Unmarshal(body, &said); err != nil {
		return nil, err
	}
	if said.Error {
		return nil, errors.New("it is an error")
	}
	var out []Place
	for _, r := range said.Results {
		lat, lon := r.Latitude, r.Longitude
		if r.Name == "" || lat == nil || lon == nil || *lat < -90 || *lat > 90 || *lon < -180 || *lon > 180 || len(out) == mostPlaces {
			continue
		}
		p := Place{Name: r.Name, Lat: *lat, Lon: *lon, Zone: r.Zone}
		if _, err := time.LoadLocation(r.Zone); err != nil || r.Zone == "Local" {
			p.Zone = ""
		}
		if r.Elevation > -430 && r.Elevation < 9000 { // 9999 stands for not known
			p.ElevationM = r.Elevation
		}
		for _, part := range []string{r.Admin2, r.Admin1, r.Country} {
			if part != "" && !strings.HasSuffix(p.Name, part) {
				p.Name += ", " + part
			}
		}
		out = append(out, p)
	}
	return out, nil
}
