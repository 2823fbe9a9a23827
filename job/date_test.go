package job

import (
	"encoding/json"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The transitions are those of the IANA time zone data that Go carries.
func TestInstantAcrossClockChanges(t *testing.T) {
	for _, c := range []struct{ zone, date, wall, want, why string }{
		{"Europe/London", "2026-03-29", "00:30", "2026-03-29T00:30:00Z", "before the gap"},
		{"Europe/London", "2026-03-29", "01:00", "2026-03-29T01:00:00Z", "the gap's first minute gives its end, 02:00 BST"},
		{"Europe/London", "2026-03-29", "01:30", "2026-03-29T01:00:00Z", "inside the gap"},
		{"Europe/London", "2026-03-29", "02:00", "2026-03-29T01:00:00Z", "the gap's end itself"},
		{"Europe/London", "2026-03-29", "18:00", "2026-03-29T17:00:00Z", "evening after"},
		{"Europe/London", "2026-03-28", "18:00", "2026-03-28T18:00:00Z", "evening before"},
		{"Europe/London", "2026-10-25", "00:59", "2026-10-24T23:59:00Z", "before the doubled hour"},
		{"Europe/London", "2026-10-25", "01:30", "2026-10-25T00:30:00Z", "doubled: the first"},
		{"Europe/London", "2026-10-25", "02:00", "2026-10-25T02:00:00Z", "after the doubled hour"},
		{"America/New_York", "2027-03-14", "01:59", "2027-03-14T06:59:00Z", "before the gap"},
		{"America/New_York", "2027-03-14", "02:30", "2027-03-14T07:00:00Z", "inside the gap"},
		{"America/New_York", "2027-03-14", "03:00", "2027-03-14T07:00:00Z", "the gap's end"},
		{"America/New_York", "2027-11-07", "01:30", "2027-11-07T05:30:00Z", "doubled: the first"},
		{"America/New_York", "2027-11-07", "02:00", "2027-11-07T07:00:00Z", "after the doubled hour"},
		{"America/Halifax", "2027-11-07", "05:30", "2027-11-07T09:30:00Z", "second look after the change"},
		{"America/Sao_Paulo", "2017-10-15", "00:00", "2017-10-15T03:00:00Z", "midnight vanishes: the day begins at 01:00"},
		{"America/Sao_Paulo", "2017-10-15", "00:59", "2017-10-15T03:00:00Z", "midnight vanishes"},
		{"America/Sao_Paulo", "2018-02-17", "23:30", "2018-02-18T01:30:00Z", "doubled before midnight: the first"},
		{"Asia/Beirut", "2022-03-27", "00:00", "2022-03-26T22:00:00Z", "midnight vanishes"},
		{"Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:30:00Z", "half-hour gap"},
		{"Australia/Lord_Howe", "2026-10-04", "02:30", "2026-10-03T15:30:00Z", "half-hour gap's end"},
		{"Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45:00Z", "half hour doubled: the first"},
		{"Pacific/Auckland", "2027-04-04", "02:30", "2027-04-03T13:30:00Z", "doubled, 13 h from UTC: the first"},
		{"Pacific/Auckland", "2026-09-27", "02:30", "2026-09-26T14:00:00Z", "gap, 12 h from UTC"},
		{"Pacific/Chatham", "2027-04-04", "03:00", "2027-04-03T13:15:00Z", "doubled, 13:45 from UTC: the first"},
		{"Pacific/Apia", "2011-12-30", "10:00", "2011-12-30T10:00:00Z", "a whole day vanishes"},
		{"Pacific/Kiritimati", "2027-04-04", "00:10", "2027-04-03T10:10:00Z", "UTC+14"},
		{"Pacific/Pago_Pago", "2027-04-04", "23:50", "2027-04-05T10:50:00Z", "UTC-11"},
		{"UTC", "2027-04-04", "12:00", "2027-04-04T12:00:00Z", "no changes at all"},
	} {
		loc, err := LoadZone(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		d, err := ParseDate(c.date)
		if err != nil {
			t.Fatal(err)
		}
		wall, err := ParseTimeOfDay(c.wall)
		if err != nil {
			t.Fatal(err)
		}
		got := Instant(d, wall, loc)
		if s := got.UTC().Format(time.RFC3339); s != c.want {
			t.Errorf("%s %s %s (%s): got %s, want %s", c.zone, c.date, c.wall, c.why, s, c.want)
		}
		if got.Location() != loc {
			t.Errorf("%s: the moment is not in the zone asked for", c.zone)
		}
	}
}

// Whatever the zone, the moment shows the wanted wall clock, or it is the end
// of a gap: the second before it shows an earlier wall clock than wanted and
// it shows a later one. And no earlier moment shows the wanted one.
func TestInstantProperty(t *testing.T) {
	zones := []string{"Europe/London", "America/New_York", "Pacific/Auckland", "Pacific/Chatham", "Australia/Lord_Howe",
		"America/Sao_Paulo", "Asia/Beirut", "Africa/Casablanca", "America/St_Johns", "Asia/Kolkata", "Pacific/Kiritimati"}
	rapid.Check(t, func(t *rapid.T) {
		loc, err := LoadZone(rapid.SampledFrom(zones).Draw(t, "zone"))
		if err != nil {
			t.Fatal(err)
		}
		d := Date{2015, 1, 1}.AddDays(rapid.IntRange(0, 20*365).Draw(t, "day"))
		wall := TimeOfDay(rapid.IntRange(0, 1439).Draw(t, "minute"))
		got := Instant(d, wall, loc)
		want := wallMinutes(time.Date(d.Year, d.Month, d.Day, int(wall)/60, int(wall)%60, 0, 0, time.UTC))
		switch at, before := wallMinutes(got), wallMinutes(got.Add(-time.Minute)); {
		case at == want:
			for back := 30; back <= 180; back += 30 { // the changes of these zones are of half hours
				if wallMinutes(got.Add(-time.Duration(back)*time.Minute)) == want {
					t.Fatalf("%v %v %v: %d min earlier the wall shows it too", loc, d, wall, back)
				}
			}
		case at < want || before >= want:
			t.Fatalf("%v %v %v: %v is no gap's end", loc, d, wall, got)
		}
	})
}

// wallMinutes numbers the minutes of a wall clock.
func wallMinutes(t time.Time) int64 {
	y, m, d := t.Date()
	return time.Date(y, m, d, t.Hour(), t.Minute(), 0, 0, time.UTC).Unix() / 60
}

func TestDateArithmetic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Date{2000, 1, 1}.AddDays(rapid.IntRange(0, 70000).Draw(t, "day"))
		n := rapid.IntRange(-5000, 5000).Draw(t, "n")
		e := d.AddDays(n)
		if e.DaysSince(d) != n || e.AddDays(-n) != d {
			t.Fatalf("%v + %d = %v, %d days apart", d, n, e, e.DaysSince(d))
		}
		if e.Before(d) != (n < 0) || e.After(d) != (n > 0) || e.Compare(d) != -d.Compare(e) {
			t.Fatalf("%v and %v are ordered wrongly", d, e)
		}
		if int(e.Weekday()) != ((int(d.Weekday())+n)%7+7)%7 {
			t.Fatalf("weekday of %v + %d", d, n)
		}
		back, err := ParseDate(e.String())
		if err != nil || back != e {
			t.Fatalf("%v read back as %v, %v", e, back, err)
		}
	})
}

func TestDatesAndTimesAsText(t *testing.T) {
	for _, s := range []string{"", "2027-02-29", "2027-13-01", "2027-4-1", "27-04-01", "2027-04-01T00:00", "2027/04/01"} {
		if d, err := ParseDate(s); err == nil {
			t.Errorf("ParseDate(%q) = %v", s, d)
		}
	}
	for _, s := range []string{"", "24:00", "7", "07:60", "07:30:00", "-1:00"} {
		if d, err := ParseTimeOfDay(s); err == nil {
			t.Errorf("ParseTimeOfDay(%q) = %v", s, d)
		}
	}
	type box struct {
		D, None Date
		T       TimeOfDay
	}
	in := box{D: Date{2027, 4, 14}, T: 7*60 + 5}
	b, err := json.Marshal(in)
	if err != nil || string(b) != `{"D":"2027-04-14","None":"","T":"07:05"}` {
		t.Fatalf("%s, %v", b, err)
	}
	var out box
	if err := json.Unmarshal(b, &out); err != nil || out != in {
		t.Errorf("read back %+v, %v", out, err)
	}
	if w := in.D.Words(); w != "Wednesday 14 April" {
		t.Errorf("Words: %s", w)
	}
}
