package main

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"laycast/forecast/replay"
)

// inventedRecord writes an invented year as a weather record, and lists its
// station one folder above.
func inventedRecord(t *testing.T) (path string) {
	t.Helper()
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "stations"), 0o755); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	b.WriteString("time_utc,t_c,td_c,rh_pct,precip_mm,wind_ms,gust_ms,ghi_wm2,p_hpa\n")
	for _, r := range replay.Invent(3, 44.6, -63.6, 2023).Rows {
		fmt.Fprintf(&b, "%s,%.1f,%.1f,,%.1f,%.1f,%.1f,%.0f,%.1f\n", r.At.Format("2006-01-02T15:04Z"), r.Air, r.Dew, r.Rain, r.Wind, math.Max(r.Gust, r.Wind), r.Solar, r.Pressure)
	}
	path = filepath.Join(dir, "stations", "quay_2023.csv")
	for name, text := range map[string]string{
		path:                               b.String(),
		filepath.Join(dir, "stations.csv"): "id,name,lat,lon,elev_m,tz\nother,Other,1,2,3,UTC\nquay_2023,\"Quay, east\",44.6,-63.6,20,America/Halifax\n",
	} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

func TestSeasonOfARecordWithoutAnyConfiguration(t *testing.T) {
	t.Parallel()
	o := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	path := inventedRecord(t)
	got := decode[seasonJSON](t, o.must("season", "--weather", path, "--json"))
	days, sealable, full := 0, 0, 0
	for i, m := range got.Months {
		stopped := 0
		for _, n := range m.Stopped {
			stopped += n
		}
		if m.Month != i+1 || m.Full > m.Sealable || m.Sealable+stopped+m.Unknown != m.Days || (stopped > 0) != (m.Binding != "") || m.Called != nil {
			t.Errorf("month %d: %+v", i+1, m)
		}
		days, sealable, full = days+m.Days, sealable+m.Sealable, full+m.Full
	}
	if got.Station != "quay_2023" || got.AreaM2 != 20 || len(got.Months) != 12 || days != 365 {
		t.Errorf("%s, %g m², %d months, %d days", got.Station, got.AreaM2, len(got.Months), days)
	}
	if sealable < 40 || sealable > 325 || full == 0 {
		t.Errorf("%d days sealable, %d topcoated: the invented year has wet and dry spells", sealable, full)
	}
	text := o.must("season", "--weather", path)
	if !strings.Contains(text, fmt.Sprintf("year    365 %5d", sealable)) || !strings.Contains(text, "data sheet") {
		t.Errorf("the table does not say %d:\n%s", sealable, text)
	}
	small := decode[[]seasonJSON](t, o.must("season", "--weather", path, "--area", "6", "--area", "20", "--work", "overboard", "--crew", "3", "--json"))
	if len(small) != 2 || small[0].AreaM2 != 6 || small[1].AreaM2 != 20 || small[0].Months[5].Full < small[1].Months[5].Full {
		t.Errorf("two areas gave %+v", small)
	}
}

func TestSeasonReplaysTheYear(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	o := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	path := inventedRecord(t)
	_, out, errs := o.run(context.Background(), "season", "--weather", path, "--area", "12", "--members", "10", "--json")
	got := decode[seasonJSON](t, out)
	laid, held := 0, 0
	for _, m := range got.Months {
		if len(m.Called) != 2 || m.Called[0].Spread != 0.5 || m.Called[1].Spread != 1 {
			t.Fatalf("month %d: called %+v", m.Month, m.Called)
		}
		for _, c := range m.Called {
			if c.Laid > c.Go+c.Hold || c.Held+c.Rained+c.Unknown > c.Laid || c.Full > c.Held || c.Held > m.Sealable {
				t.Errorf("month %d: %+v of %d sealable", m.Month, c, m.Sealable)
			}
			laid, held = laid+c.Laid, held+c.Held
		}
	}
	if held < 20 || float64(held) < 0.5*float64(laid) {
		t.Errorf("of %d laid days %d held", laid, held)
	}
	if !strings.Contains(errs, "quay_2023, spread 1: December 2023 done") {
		t.Errorf("no progress was told:\n%s", errs)
	}
	page := o.must("season", "--weather", path, "--markdown")
	if !strings.Contains(page, "#### 20 m²: sealable") || strings.Count(page, "| quay_2023 |") != 3 {
		t.Errorf("the tables for the page:\n%s", page)
	}
}

func TestSeasonSaysWhatItLacks(t *testing.T) {
	t.Parallel()
	o := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	path := inventedRecord(t)
	lone := filepath.Join(t.TempDir(), "quay_2023.csv")
	if err := os.Rename(path, lone); err != nil {
		t.Fatal(err)
	}
	short := o.write("short.csv", "time_utc,t_c,td_c,rh_pct,precip_mm,wind_ms,gust_ms,ghi_wm2,p_hpa\n2023-01-01T00:00Z,1,0,,0,1,2,0,1000\n")
	at := []string{"--lat", "44.6", "--lon=-63.6", "--zone", "America/Halifax"}
	for _, c := range []struct {
		code int
		want string
		args []string
	}{
		{exitUsage, "stations.csv", []string{"--weather", lone}},
		{exitUsage, "--zone", []string{"--weather", lone, "--lat", "44.6", "--lon=-63.6"}},
		{exitUsage, "IANA", append([]string{"--weather", lone}, "--lat", "44.6", "--lon=-63.6", "--zone", "Atlantis")},
		{exitUsage, "--lat", append([]string{"--weather", lone}, "--lat", "144.6", "--lon=-63.6", "--zone", "UTC")},
		{exitUsage, "m²", append([]string{"--weather", lone, "--area", "0"}, at...)},
		{exitUsage, "nobody laminates alone", append([]string{"--weather", lone, "--crew", "1"}, at...)},
		{exitUsage, "--members", append([]string{"--weather", lone, "--members", "3"}, at...)},
		{exitUsage, "no-such", append([]string{"--weather", lone, "--profile", "no-such"}, at...)},
		{exitFail, "missing.csv", append([]string{"--weather", "missing.csv"}, at...)},
		{exitFail, "give a year", append([]string{"--weather", short}, at...)},
	} {
		o.fails(c.code, []string{c.want}, append([]string{"season"}, c.args...)...)
	}
	got := decode[seasonJSON](t, o.must(append([]string{"season", "--weather", lone, "--json"}, at...)...))
	if len(got.Months) != 12 {
		t.Errorf("with its place given: %d months", len(got.Months))
	}
}
