package replay

import (
	"math"
	"strings"
	"testing"
	"time"
)

const header = "time_utc,t_c,td_c,rh_pct,precip_mm,wind_ms,gust_ms,ghi_wm2,p_hpa\n"

func TestReadCSV(t *testing.T) {
	rec, err := ReadCSV(strings.NewReader(header +
		"2017-01-01T00:00Z,5.3,3.9,91,0.9,6.2,,,1019.9\n" +
		"2017-01-01T01:00Z,20,,72.95185,0.0,4.1,9.5,310,\n" +
		"2017-01-01T02:00Z,,,,,,,,\n" +
		"2017-01-01T03:00Z,5.0,5.4,100,0.0,0,0,0,1000\n"))
	if err != nil {
		t.Fatal(err)
	}
	if len(rec.Rows) != 4 {
		t.Fatalf("%d rows, want 4", len(rec.Rows))
	}
	first := rec.Rows[0]
	if !first.At.Equal(time.Date(2017, 1, 1, 0, 0, 0, 0, time.UTC)) || first.Air != 5.3 || first.Dew != 3.9 ||
		first.Rain != 0.9 || first.Wind != 6.2 || !math.IsNaN(first.Gust) || !math.IsNaN(first.Solar) || first.Pressure != 1019.9 {
		t.Errorf("first row read as %+v", first)
	}
	// 20 °C and 72.95185 % is a dew point of 15 °C: WMO-No. 8 coefficients,
	// CHECKS.md §1, grade S+R.
	if dew := rec.Rows[1].Dew; math.Abs(dew-15) > 1e-4 {
		t.Errorf("dew point of 20 °C and 72.95185 %% is %g, want 15", dew)
	}
	if gap := rec.Rows[2]; !math.IsNaN(gap.Air) || !math.IsNaN(gap.Dew) || !math.IsNaN(gap.Rain) {
		t.Errorf("blank row read as %+v", gap)
	}
	if fog := rec.Rows[3]; fog.Dew != fog.Air {
		t.Errorf("dew point %g stays above air %g", fog.Dew, fog.Air)
	}
}

func TestReadCSVRefuses(t *testing.T) {
	row := func(at string) string { return at + ",5.3,3.9,91,0.9,6.2,,,1019.9\n" }
	tests := map[string]struct{ in, want string }{
		"empty":         {"", "header"},
		"other columns": {"time,t\n", "columns"},
		"no rows":       {header, "no rows"},
		"short row":     {header + "2017-01-01T00:00Z,5.3\n", "line 2"},
		"bad time":      {header + row("2017-01-01 00:00"), "row 2: time_utc"},
		"half hour":     {header + row("2017-01-01T00:30Z"), "row 2: time_utc"},
		"gap":           {header + row("2017-01-01T00:00Z") + row("2017-01-01T02:00Z"), "row 3: time"},
		"doubled":       {header + row("2017-01-01T00:00Z") + row("2017-01-01T00:00Z"), "row 3: time"},
		"words":         {header + "2017-01-01T00:00Z,mild,3.9,91,0.9,6.2,,,1019.9\n", `row 2: t_c "mild"`},
		"infinite":      {header + "2017-01-01T00:00Z,5.3,3.9,91,Inf,6.2,,,1019.9\n", "row 2: precip_mm"},
		"not a number":  {header + "2017-01-01T00:00Z,5.3,3.9,91,NaN,6.2,,,1019.9\n", "row 2: precip_mm"},
		"negative rain": {header + "2017-01-01T00:00Z,5.3,3.9,91,-1,6.2,,,1019.9\n", "row 2: precip_mm"},
		"fahrenheit":    {header + "2017-07-01T00:00Z,68,50,91,0,6.2,,,1019.9\n", "row 2: t_c"},
		"dew above air": {header + "2017-07-01T00:00Z,10,15,91,0,6.2,,,1019.9\n", "row 2: td_c"},
		"pascals":       {header + "2017-07-01T00:00Z,10,5,91,0,6.2,,,101990\n", "row 2: p_hpa"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := ReadCSV(strings.NewReader(tt.in))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want one that says %q", err, tt.want)
			}
		})
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add(header + "2017-01-01T00:00Z,5.3,3.9,91,0.9,6.2,,,1019.9\n2017-01-01T01:00Z,,,,,,,,\n")
	f.Add(header + "2017-01-01T00:00Z,5.3,,0,,,,,\n")
	f.Add(header + "\"2017-01-01T00:00Z\",-9e9,,,,,,,\n")
	f.Fuzz(func(t *testing.T, in string) {
		rec, err := ReadCSV(strings.NewReader(in))
		if err != nil {
			return
		}
		for i, row := range rec.Rows {
			if i > 0 && row.At.Sub(rec.Rows[i-1].At) != time.Hour {
				t.Fatalf("row %d does not follow by an hour", i)
			}
			if row.Dew > row.Air || row.Rain < 0 || math.IsInf(row.Dew, 0) || math.IsInf(row.Air, 0) {
				t.Fatalf("row %d is no weather: %+v", i, row)
			}
		}
	})
}
