package scheduler

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"laycast/job"
	"laycast/scheduler/task"
)

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// at reads RFC 3339.
func at(t testing.TB, s string) time.Time {
	t.Helper()
	x, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// Clock changes as the IANA database has them, version 2025b: Dublin 28 March
// 2027 01:00 to 02:00 and 31 October 2027 02:00 to 01:00; New York 14 March and
// 7 November 2027 at 02:00; Santiago 5 September 2027 and Beirut 28 March 2027
// at midnight, which does not occur on those days.
func TestNextOverClockChanges(t *testing.T) {
	for _, tt := range []struct {
		name, zone, expr, after string
		want                    []string
	}{
		{"Dublin spring, the call", "Europe/Dublin", "0 18 * * *", "2027-03-26T18:00:00Z",
			[]string{"2027-03-27T18:00:00Z", "2027-03-28T17:00:00Z", "2027-03-29T17:00:00Z"}},
		{"Dublin autumn, the call", "Europe/Dublin", "0 18 * * *", "2027-10-29T17:00:00Z",
			[]string{"2027-10-30T17:00:00Z", "2027-10-31T18:00:00Z", "2027-11-01T18:00:00Z"}},
		{"Dublin spring, the second look", "Europe/Dublin", "30 5 * * *", "2027-03-27T05:30:00Z",
			[]string{"2027-03-28T04:30:00Z", "2027-03-29T04:30:00Z"}},
		{"Dublin, inside the gap: at its end", "Europe/Dublin", "30 1 * * *", "2027-03-27T01:30:00Z",
			[]string{"2027-03-28T01:00:00Z", "2027-03-29T00:30:00Z"}},
		{"Dublin, twice on the clock: once, the first time", "Europe/Dublin", "30 1 * * *", "2027-10-30T00:30:00Z",
			[]string{"2027-10-31T00:30:00Z", "2027-11-01T01:30:00Z"}},
		{"Dublin, asked between the two: not again", "Europe/Dublin", "30 1 * * *", "2027-10-31T01:10:00Z",
			[]string{"2027-11-01T01:30:00Z"}},
		{"New York spring, the call", "America/New_York", "0 18 * * *", "2027-03-13T23:00:00Z",
			[]string{"2027-03-14T22:00:00Z", "2027-03-15T22:00:00Z"}},
		{"New York autumn, the second look", "America/New_York", "30 5 * * *", "2027-11-06T09:30:00Z",
			[]string{"2027-11-07T10:30:00Z", "2027-11-08T10:30:00Z"}},
		{"New York, inside the gap", "America/New_York", "15 2 * * *", "2027-03-13T07:15:00Z",
			[]string{"2027-03-14T07:00:00Z", "2027-03-15T06:15:00Z"}},
		{"Santiago, a day without midnight", "America/Santiago", "0 0 * * *", "2027-09-04T04:00:00Z",
			[]string{"2027-09-05T04:00:00Z", "2027-09-06T03:00:00Z"}},
		{"Beirut, half past the midnight that is none", "Asia/Beirut", "30 0 * * *", "2027-03-26T22:30:00Z",
			[]string{"2027-03-27T22:00:00Z", "2027-03-28T21:30:00Z"}},
		{"weekdays only", "Europe/Dublin", "0 6 * * 1", "2027-03-22T06:00:00Z",
			[]string{"2027-03-29T05:00:00Z", "2027-04-05T05:00:00Z"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			loc, x := zone(t, tt.zone), at(t, tt.after)
			for _, want := range tt.want {
				got, err := next(tt.expr, x, loc)
				if err != nil {
					t.Fatal(err)
				}
				if !got.Equal(at(t, want)) {
					t.Fatalf("after %s comes %s, want %s", x.UTC().Format(time.RFC3339), got.UTC().Format(time.RFC3339), want)
				}
				x = got
			}
		})
	}
}

// A time of day comes once on every civil day, whatever the clock does.
func TestDailyTimesComeOnceACivilDay(t *testing.T) {
	zones := []string{"Europe/Dublin", "America/New_York", "America/Santiago", "Asia/Beirut", "Australia/Lord_Howe", "America/Halifax", "UTC"}
	rapid.Check(t, func(t *rapid.T) {
		name := rapid.SampledFrom(zones).Draw(t, "zone")
		loc, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		clock := rapid.IntRange(0, 24*60-1).Draw(t, "minute")
		expr := time.Date(2027, 1, 1, clock/60, clock%60, 0, 0, time.UTC).Format("4 15 * * *")
		from := time.Date(2027, 1, 1, 12, 0, 0, 0, time.UTC).AddDate(0, 0, rapid.IntRange(0, 700).Draw(t, "day"))
		x, err := next(expr, from, loc)
		if err != nil {
			t.Fatal(err)
		}
		for range 15 {
			y, err := next(expr, x, loc)
			if err != nil {
				t.Fatal(err)
			}
			if d, e := job.DateOf(x.In(loc)), job.DateOf(y.In(loc)); e != d.AddDays(1) {
				t.Fatalf("%q in %s: after %s comes %s", expr, name, x.In(loc), y.In(loc))
			}
			// the same from any moment between the two
			mid := x.Add(time.Duration(rapid.Int64Range(0, int64(y.Sub(x))-1).Draw(t, "between")))
			if z, err := next(expr, mid, loc); err != nil || !z.Equal(y) {
				t.Fatalf("%q in %s: after %s comes %s, %v, but after %s %s", expr, name, x.In(loc), y.In(loc), err, mid.In(loc), z.In(loc))
			}
			x = y
		}
	})
}

func TestNextRefusesWhatIsNoTime(t *testing.T) {
	for _, expr := range []string{"", "TZ=UTC", "CRON_TZ=UTC ", "18:00", "0 18 * *", "0 25 * * *", "0 0 30 2 *"} {
		if got, err := next(expr, at(t, "2027-01-01T00:00:00Z"), time.UTC); err == nil {
			t.Errorf("%q gives %s, want an error", expr, got)
		}
	}
}

func dublinFirm() job.Firm {
	f := job.DefaultFirm()
	f.UID, f.Zone = "quay", "Europe/Dublin"
	return f
}

// A day of fetches: one in minutes 5 to 24 of each hour (hourly forecast) or of
// every sixth (ensemble), and the two before the decisions.
func TestFetchesOfADay(t *testing.T) {
	loc := zone(t, "Europe/Dublin")
	for _, tt := range []struct {
		name  task.Name
		every int
	}{{task.FetchForecast, 1}, {task.FetchEnsemble, 6}} {
		for _, day := range []job.Date{{Year: 2027, Month: 3, Day: 28}, {Year: 2027, Month: 6, Day: 10}, {Year: 2027, Month: 10, Day: 31}} {
			from, to := job.Instant(day, 0, loc), job.Instant(day.AddDays(1), 0, loc)
			forced := map[string]bool{"17:15": false, "05:15": false}
			regular := map[time.Time]int{}
			for x := from.Add(-time.Second); ; {
				y, err := nextSlot(dublinFirm(), tt.name, x)
				if err != nil {
					t.Fatal(err)
				}
				if !y.After(x) {
					t.Fatalf("%s after %s is not later", y, x)
				}
				if x = y; !x.Before(to) {
					break
				}
				hm := x.In(loc).Format("15:04")
				if _, ok := forced[hm]; ok && x.Second() == 0 {
					forced[hm] = true
					continue
				}
				hour := x.UTC().Truncate(time.Hour)
				if into := x.Sub(hour); into < 5*time.Minute || into >= 25*time.Minute {
					t.Errorf("%s at %s: minutes 5 to 24 were meant", tt.name, x.UTC())
				}
				if hour.Hour()%tt.every != 0 {
					t.Errorf("%s at %s: every %d hours were meant", tt.name, x.UTC(), tt.every)
				}
				regular[hour]++
			}
			for hm, came := range forced {
				if !came {
					t.Errorf("%s on %s: the fetch at %s did not come", tt.name, day, hm)
				}
			}
			for h := from.UTC(); h.Before(to); h = h.Add(time.Hour) {
				want := 0
				if h.Hour()%tt.every == 0 {
					want = 1
				}
				if regular[h] != want {
					t.Errorf("%s in the hour from %s: %d regular fetches, want %d", tt.name, h, regular[h], want)
				}
			}
		}
	}
}

func TestFetchTimesAreTheSameEachTimeAndDifferByFirm(t *testing.T) {
	after := at(t, "2027-06-10T09:30:00Z")
	first, err := nextSlot(dublinFirm(), task.FetchForecast, after)
	if err != nil {
		t.Fatal(err)
	}
	for range 3 {
		if again, err := nextSlot(dublinFirm(), task.FetchForecast, after); err != nil || !again.Equal(first) {
			t.Fatalf("%s, then %s, %v", first, again, err)
		}
	}
	minutes := map[int]bool{}
	for i := range 60 {
		f := dublinFirm()
		f.UID = "firm-" + string(rune('a'+i%26)) + string(rune('a'+i/26))
		x, err := nextSlot(f, task.FetchForecast, after)
		if err != nil {
			t.Fatal(err)
		}
		minutes[x.Minute()] = true
	}
	if len(minutes) < 10 {
		t.Errorf("60 firms fetch in %d different minutes: the source sees them all at once", len(minutes))
	}
}

func TestEveryTaskHasATime(t *testing.T) {
	after := at(t, "2027-06-10T09:30:00Z") // a Thursday
	want := map[task.Name]string{
		task.Call: "2027-06-10T17:00:00Z", task.Absence: "2027-06-10T17:20:00Z", task.SecondLook: "2027-06-11T04:30:00Z",
		task.Close: "2027-06-10T19:00:00Z", task.Unseen: "2027-06-10T19:30:00Z", task.WeekMail: "2027-06-14T05:00:00Z", task.Prune: "2027-06-11T02:40:00Z",
	}
	for _, n := range task.Names() {
		got, err := nextSlot(dublinFirm(), n, after)
		if err != nil || !got.After(after) {
			t.Errorf("%s: %s, %v", n, got, err)
		}
		if w, ok := want[n]; ok && !got.Equal(at(t, w)) {
			t.Errorf("%s at %s, want %s", n, got.UTC(), w)
		}
	}
	if _, err := nextSlot(dublinFirm(), "sweep", after); err == nil {
		t.Error("a task that does not exist has a time")
	}
	f := dublinFirm()
	f.Zone = "Europe/Nowhere"
	if _, err := nextSlot(f, task.Call, after); err == nil {
		t.Error("a zone that does not exist has a time")
	}
}

func TestBackoff(t *testing.T) {
	for n, want := range map[int]time.Duration{
		0: time.Minute, 1: time.Minute, 2: 2 * time.Minute, 3: 4 * time.Minute, 5: 16 * time.Minute,
		6: 30 * time.Minute, 7: 30 * time.Minute, 1_000_000: 30 * time.Minute,
	} {
		if got := backoff(n); got != want {
			t.Errorf("after %d failures %s, want %s", n, got, want)
		}
	}
}
