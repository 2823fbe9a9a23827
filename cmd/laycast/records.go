package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"laycast/forecast/replay"
)

// placeFlags say where a record was read.
type placeFlags struct {
	Lat       *float64 `help:"Degrees north. Without lat, lon and zone they are looked up in a stations.csv beside or above the record."`
	Lon       *float64 `help:"Degrees east."`
	Zone      string   `help:"IANA zone of the working day."`
	Elevation *float64 `help:"Metres above sea level."`
}

// station is the place of a record.
type station struct {
	id                  string
	lat, lon, elevation float64
	zone                *time.Location
}

// place gives the place of a record: from the command line, else from the list
// of stations.
func (c *placeFlags) place(path string) (station, error) {
	st := station{id: strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))}
	listed, err := listedStation(path, st.id)
	if err != nil {
		return st, err
	}
	zone := c.Zone
	for _, v := range []struct {
		name   string
		given  *float64
		column string
		into   *float64
		most   float64
	}{{"lat", c.Lat, "lat", &st.lat, 90}, {"lon", c.Lon, "lon", &st.lon, 180}, {"elevation", c.Elevation, "elev_m", &st.elevation, 9000}} {
		switch {
		case v.given != nil:
			*v.into = *v.given
		case listed[v.column] != "":
			if *v.into, err = strconv.ParseFloat(listed[v.column], 64); err != nil {
				return st, fmt.Errorf("stations.csv, station %s: %s %q is not a number", st.id, v.column, listed[v.column])
			}
		case v.name != "elevation": // sea level will do: only the air pressure hangs on it
			return st, usageError{fmt.Errorf("where is %s? Give --lat, --lon and --zone, or list it in a stations.csv beside or above the record", path)}
		}
		if !(*v.into >= -v.most && *v.into <= v.most) {
			return st, usageError{fmt.Errorf("--%s %g is not between %g and %g", v.name, *v.into, -v.most, v.most)}
		}
	}
	if zone == "" {
		zone = listed["tz"]
	}
	if zone == "" {
		return st, usageError{fmt.Errorf("what is the time zone of %s? Give --zone, such as Europe/Dublin", path)}
	}
	if st.zone, err = time.LoadLocation(zone); err != nil || zone == "Local" {
		return st, usageError{fmt.Errorf("zone %q is not known; give an IANA name such as Europe/Dublin", zone)}
	}
	return st, nil
}

// listedStation gives the row of a stations.csv, beside the record or one
// folder above, by column; nothing where there is none.
func listedStation(path, id string) (map[string]string, error) {
	dir := filepath.Dir(path)
	for _, list := range []string{filepath.Join(dir, "stations.csv"), filepath.Join(dir, "..", "stations.csv")} {
		f, err := os.Open(list)
		if errors.Is(err, os.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("open the list of stations: %w", err)
		}
		rows, err := csv.NewReader(f).ReadAll()
		_ = f.Close()
		if err != nil {
			return nil, fmt.Errorf("read the list of stations %s: %w", list, err)
		}
		for i, row := range rows {
			if i == 0 || row[0] != id {
				continue
			}
			out := map[string]string{}
			for k, name := range rows[0] {
				out[name] = row[k]
			}
			return out, nil
		}
	}
	return nil, nil
}

// yearRows is how many rows of a calendar year are worth judging; shorter
// pieces at the ends of a long record are left out.
const yearRows = 0.6 * 365 * 24

// readYears reads a record and cuts it into calendar years (UTC).
func readYears(path string, st station) ([]replay.Record, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open the weather record: %w", err)
	}
	defer f.Close()
	rec, err := replay.ReadCSV(f)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	var out []replay.Record
	for from := 0; from < len(rec.Rows); {
		to := from
		for to < len(rec.Rows) && rec.Rows[to].At.Year() == rec.Rows[from].At.Year() {
			to++
		}
		if float64(to-from) >= yearRows {
			out = append(out, replay.Record{Lat: st.lat, Lon: st.lon, Rows: rec.Rows[from:to]})
		}
		from = to
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s has %d hours and no calendar year of at least %.0f; give a year", path, len(rec.Rows), yearRows)
	}
	return out, nil
}
