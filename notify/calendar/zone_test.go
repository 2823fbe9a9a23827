package calendar_test

import (
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/notify/calendar"
)

// at makes a feed with one event of an hour.
func at(t *testing.T, zone string, start time.Time) string {
	t.Helper()
	return string(render(t, calendar.Feed{Name: "x", Zone: zone, Events: []calendar.Event{{
		UID: "a@saltbox.laycast", Status: calendar.Confirmed, Summary: "x", ChangedAt: start, Start: start, End: start.Add(time.Hour),
	}}}))
}

// onset is one STANDARD or DAYLIGHT of a VTIMEZONE, read back from the text.
type onset struct {
	begin    time.Time
	from, to time.Duration
	month    time.Month
	weekday  time.Weekday
	nth      int // 0: no rule
}

var observance = regexp.MustCompile(`(?s)BEGIN:(?:STANDARD|DAYLIGHT)\r\n(.*?)END:`)

// onsets reads the VTIMEZONE of a feed without the code under test.
func onsets(t *testing.T, feed string) []onset {
	t.Helper()
	var out []onset
	for _, m := range observance.FindAllStringSubmatch(feed, -1) {
		p := map[string]string{}
		for _, l := range strings.Split(strings.TrimSpace(m[1]), "\r\n") {
			k, v, _ := strings.Cut(l, ":")
			p[k] = v
		}
		begin, err := time.Parse("20060102T150405", p["DTSTART"])
		if err != nil {
			t.Fatal(err)
		}
		o := onset{begin: begin, from: offset(t, p["TZOFFSETFROM"]), to: offset(t, p["TZOFFSETTO"])}
		if r := p["RRULE"]; r != "" {
			f := regexp.MustCompile(`^FREQ=YEARLY;BYMONTH=(\d+);BYDAY=(-?\d)(..)$`).FindStringSubmatch(r)
			if f == nil {
				t.Fatalf("rule %q", r)
			}
			mo, err := strconv.Atoi(f[1])
			if err != nil {
				t.Fatal(err)
			}
			if o.nth, err = strconv.Atoi(f[2]); err != nil {
				t.Fatal(err)
			}
			o.month, o.weekday = time.Month(mo), time.Weekday(strings.Index("SUMOTUWETHFRSA", f[3])/2)
		}
		out = append(out, o)
	}
	return out
}

func offset(t *testing.T, s string) time.Duration {
	t.Helper()
	if !regexp.MustCompile(`^[+-]\d{4}$`).MatchString(s) {
		t.Fatalf("offset %q", s)
	}
	h, _ := strconv.Atoi(s[1:3])
	m, _ := strconv.Atoi(s[3:5])
	d := time.Duration(h)*time.Hour + time.Duration(m)*time.Minute
	if s[0] == '-' {
		return -d
	}
	return d
}

// offsetAt gives the offset that the onsets make at an instant: that of the
// latest onset before it.
func offsetAt(os []onset, t time.Time) time.Duration {
	var best time.Time
	var off time.Duration
	consider := func(wall time.Time, o onset) {
		if u := wall.Add(-o.from); !u.After(t) && (best.IsZero() || u.After(best)) {
			best, off = u, o.to
		}
	}
	for _, o := range os {
		consider(o.begin, o)
		if o.nth == 0 {
			continue
		}
		for y := t.Year() - 1; y <= t.Year()+1; y++ {
			var days []int
			for d := 1; d <= time.Date(y, o.month+1, 0, 0, 0, 0, 0, time.UTC).Day(); d++ {
				if time.Date(y, o.month, d, 0, 0, 0, 0, time.UTC).Weekday() == o.weekday {
					days = append(days, d)
				}
			}
			d := days[len(days)-1]
			if o.nth > 0 {
				d = days[o.nth-1]
			}
			consider(time.Date(y, o.month, d, o.begin.Hour(), o.begin.Minute(), 0, 0, time.UTC), o)
		}
	}
	return off
}

// TestZoneRules holds the rules against the zone data at random instants.
func TestZoneRules(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for zone, rules := range map[string]int{
		"America/Halifax": 2, "America/St_Johns": 2, "America/New_York": 2, "Europe/London": 2, "Europe/Dublin": 2, "Europe/Berlin": 2,
		"Australia/Sydney": 2, "Australia/Lord_Howe": 2, "Pacific/Auckland": 2, "Asia/Kolkata": 0, "America/Phoenix": 0, "UTC": 0,
	} {
		loc, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		for range 60 {
			start := time.Unix(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC).Unix()+rng.Int64N(10*365*86400), 0).UTC()
			feed := at(t, zone, start)
			os := onsets(t, feed)
			if n := strings.Count(feed, "RRULE:"); n != rules {
				t.Fatalf("%s has %d rules, want %d:\n%s", zone, n, rules, feed)
			}
			_, want := start.In(loc).Zone()
			if got := offsetAt(os, start); got != time.Duration(want)*time.Second {
				t.Fatalf("%s at %v: offset %v, want %d s\n%s", zone, start, got, want, feed)
			}
		}
	}
}

// TestIrregularZone writes UTC where the clocks follow the moon.
func TestIrregularZone(t *testing.T) {
	feed := at(t, "Africa/Casablanca", time.Date(2027, 4, 15, 10, 30, 0, 0, time.UTC))
	if !strings.Contains(feed, "DTSTART:20270415T103000Z\r\n") || strings.Contains(feed, "TZID=") {
		t.Errorf("not in UTC:\n%s", feed)
	}
}

// TestClockChange prints the hours around both changes of 2027 in Halifax (14
// March, 7 November) so that they mean the instants they should.
func TestClockChange(t *testing.T) {
	loc, err := time.LoadLocation("America/Halifax")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		d    job.Date
		want string
	}{
		{job.Date{Year: 2027, Month: time.March, Day: 13}, "20270313T073000"},
		{job.Date{Year: 2027, Month: time.March, Day: 14}, "20270314T073000"},
		{job.Date{Year: 2027, Month: time.November, Day: 7}, "20271107T073000"},
		{job.Date{Year: 2027, Month: time.November, Day: 8}, "20271108T073000"},
	} {
		if feed := at(t, "America/Halifax", job.Instant(c.d, 450, loc)); !strings.Contains(feed, "DTSTART;TZID=America/Halifax:"+c.want) {
			t.Errorf("%v: want %s in\n%s", c.d, c.want, feed)
		}
	}
	// 01:30 on 7 November comes twice: 04:30Z and 05:30Z
	for _, utc := range []string{"20271107T043000Z", "20271107T053000Z"} {
		start, err := time.Parse("20060102T150405Z", utc)
		if err != nil {
			t.Fatal(err)
		}
		if feed := at(t, "America/Halifax", start); !strings.Contains(feed, "DTSTART:"+utc) {
			t.Errorf("want DTSTART:%s in\n%s", utc, feed)
		}
	}
}
