package replay

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"time"
)

// Row is one hour of a record, stamped At: the rain fell in the hour up to At,
// everything else was read at At. NaN is "not known".
type Row struct {
	At       time.Time // a whole hour, UTC
	Air      float64   // °C
	Dew      float64   // dew point, °C
	Rain     float64   // mm in the hour before At
	Wind     float64   // m/s, 10-minute mean at 10 m
	Gust     float64   // m/s
	Solar    float64   // global radiation on the horizontal, W/m²
	Pressure float64   // hPa
}

// Record is a year, more or less, of hourly rows in order of time.
type Record struct {
	// Lat and Lon place the sun (degrees). Both zero means that the place is
	// not known: then no radiation is worked out.
	Lat, Lon float64
	Rows     []Row
}

// columns are the record's columns in their order.
var columns = []string{"time_utc", "t_c", "td_c", "rh_pct", "precip_mm", "wind_ms", "gust_ms", "ghi_wm2", "p_hpa"}

// bounds are what a station on land can report, with some room: a value
// outside is a fault in the file, such as a wrong unit.
var bounds = [...]struct{ low, high float64 }{
	1: {-70, 60}, 2: {-80, 40}, 3: {0, 100}, 4: {0, 250}, 5: {0, 75}, 6: {0, 120}, 7: {-20, 1600}, 8: {500, 1100},
}

// maxRows keeps a wrong file from filling the memory: twelve years of hours.
const maxRows = 12 * 366 * 24

// ReadCSV reads a record with the columns time_utc, t_c, td_c, rh_pct,
// precip_mm, wind_ms, gust_ms, ghi_wm2, p_hpa: a full hourly grid in UTC, a
// blank for what is missing. A blank dew point is worked out of the relative
// humidity where that is given. The place (Lat, Lon) is the caller's to set.
// Errors name the row as a text editor counts it, the header being row 1.
func ReadCSV(r io.Reader) (Record, error) {
	in := csv.NewReader(r)
	in.ReuseRecord = true
	head, err := in.Read()
	if err != nil {
		return Record{}, fmt.Errorf("read the header of the weather record: %w", err)
	}
	if !slices.Equal(head, columns) {
		return Record{}, fmt.Errorf("weather record has columns %q, want %q", head, columns)
	} // every row must have as many
	var rec Record
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return Record{}, fmt.Errorf("read the weather record: %w", err)
		}
		line, _ := in.FieldPos(0)
		row, err := parseRow(cells)
		if err != nil {
			return Record{}, fmt.Errorf("weather record, row %d: %w", line, err)
		}
		if n := len(rec.Rows); n > 0 && !row.At.Equal(rec.Rows[n-1].At.Add(time.Hour)) {
			return Record{}, fmt.Errorf("weather record, row %d: time %s does not follow %s by one hour; give every hour a row and leave blank what is missing",
				line, row.At.Format(stamp), rec.Rows[n-1].At.Format(stamp))
		}
		if len(rec.Rows) == maxRows {
			return Record{}, fmt.Errorf("weather record, row %d: more than %d rows; give one year", line, maxRows)
		}
		rec.Rows = append(rec.Rows, row)
	}
	if len(rec.Rows) == 0 {
		return Record{}, errors.New("weather record has a header and no rows")
	}
	return rec, nil
}

// stamp is the form of the record's times.
const stamp = "2006-01-02T15:04Z"

// parseRow reads one row's cells.
func parseRow(cells []string) (Row, error) {
	at, err := time.Parse(stamp, cells[0])
	if err != nil {
		return Row{}, fmt.Errorf("time_utc %q is not of the form 2017-01-31T23:00Z", cells[0])
	}
	if at.Minute() != 0 {
		return Row{}, fmt.Errorf("time_utc %q is not a whole hour", cells[0])
	}
	var v [9]float64
	for i := 1; i < len(v); i++ {
		if v[i], err = parseCell(i, cells[i]); err != nil {
			return Row{}, err
		}
	}
	row := Row{At: at, Air: v[1], Dew: v[2], Rain: v[4], Wind: v[5], Gust: v[6], Solar: v[7], Pressure: v[8]}
	if math.IsNaN(row.Dew) && v[3] > 0 {
		row.Dew = dewFromRH(row.Air, v[3])
	}
	// Stations report a dew point a few tenths above the air in fog; more is a fault.
	if row.Dew > row.Air+1 {
		return Row{}, fmt.Errorf("td_c %g is above t_c %g", row.Dew, row.Air)
	}
	if row.Dew > row.Air {
		row.Dew = row.Air
	}
	return row, nil
}

// parseCell reads one number, NaN for a blank.
func parseCell(col int, s string) (float64, error) {
	if s == "" {
		return math.NaN(), nil
	}
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, fmt.Errorf("%s %q is not a number", columns[col], s)
	}
	if b := bounds[col]; !(x >= b.low && x <= b.high) {
		return 0, fmt.Errorf("%s %q is outside %g to %g", columns[col], s, b.low, b.high)
	}
	return x, nil
}

// Magnus coefficients over water, 17.62 and 243.12 °C: WMO-No. 8, Annex 4.B.
const (
	magnusA = 17.62
	magnusB = 243.12
)

// dewFromRH gives the dew point (°C) of air (°C) at a relative humidity (%).
func dewFromRH(air, rh float64) float64 {
	g := math.Log(rh/100) + magnusA*air/(magnusB+air)
	return magnusB * g / (magnusA - g)
}

// rhFromDew gives the relative humidity (%) of air with a dew point (°C, °C).
func rhFromDew(air, dew float64) float64 {
	return math.Min(100, 100*math.Exp(magnusA*dew/(magnusB+dew)-magnusA*air/(magnusB+air)))
}
