package rules

import (
	"math"
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"

	"pgregory.net/rapid"
)

func TestSameInputsSameVerdict(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		seed := rapid.Uint64().Draw(rt, "seed")
		if a, b := someScene(t, seed, 12).judge(), someScene(t, seed, 12).judge(); !reflect.DeepEqual(a, b) {
			rt.Fatalf("%+v\nthen %+v", a, b)
		}
	})
}

// TestNobodyPeeks changes every hour from some time on: all that a member did
// before it stays, and a verdict whose protect-until spans end before it stays
// whole. The middle of the forecast may be looked at for heat, so that is off.
func TestNobodyPeeks(t *testing.T) {
	whole := 0
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 12)
		s.c.Profile.HeatBefore = 99
		seed := rapid.Uint64().Draw(rt, "other")
		before := s.ground()
		p, ok := before.dayPlan(s.c, s.d)
		if !ok {
			return
		}
		cut := rapid.IntRange(int(p.from), int(p.from)+36).Draw(rt, "hour")
		other := randomHours(rand.New(rand.NewPCG(seed, 4)), someTemper(rand.New(rand.NewPCG(seed, 5))), s.hrs.Start, s.hrs.N, 12, 50, 0)
		after := s.with(func(h forecast.Hours) {
			for v, col := range h.Cols {
				for i := range col {
					if i%h.N >= cut && col != nil {
						col[i] = other.Cols[v][i]
					}
				}
			}
		}).ground()
		for m := range before.count {
			for _, start := range p.startsOf(before, time.Time{}) {
				a, b := before.walk(&p, m, start), after.walk(&p, m, start)
				if x, y := a.until(float64(cut), p.bay.Task), b.until(float64(cut), p.bay.Task); !reflect.DeepEqual(x, y) {
					rt.Fatalf("member %d from %.1f, hours from %d on changed: %v, then %v", m, start, cut, x, y)
				}
			}
		}
		if float64(cut) > p.knownTo+15 {
			whole++
			b := job.DefaultFirm().Bounds
			if a, z := before.Judge(s.c, s.d, time.Time{}, b), after.Judge(s.c, s.d, time.Time{}, b); !reflect.DeepEqual(a, z) {
				rt.Fatalf("hours from %d on changed, work from %.1f: %+v\nthen %+v", cut, p.from, a, z)
			}
		}
	})
	if whole == 0 {
		t.Error("no verdict ended before the change")
	}
}

// until gives what of a result was settled before an hour.
func (r result) until(h float64, task Task) (out []any) {
	for _, p := range r.passages[:r.count] {
		if p.to <= h {
			out = append(out, p)
		}
	}
	settled := r.sealedAt
	if task == Coat { // no frost for 14 hours after the topcoat
		cure, _ := r.span(TopcoatCure)
		settled = math.Ceil(math.Max(settled, cure.from+14))
	}
	if r.sealed && settled <= h {
		out = append(out, "sealed", r.sealedAt)
	}
	if !r.sealed && r.causeAt < h {
		out = append(out, r.cause, math.Floor(r.causeAt), r.rainOpen)
	}
	return out
}

// TestShiftedByDays: the same weather some days later, where neither the clock
// nor the light changes the hours of work, gives the same verdict that later.
func TestShiftedByDays(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 12)
		s.c.Zone, s.c.Job.Site.Lat, s.c.Job.Site.Lon = time.UTC, 12, 0 // light from 05:30 to 18:00 all year
		s.c.Hours.From, s.c.Hours.To = 8*60, 17*60
		s.hrs.Start = job.Instant(s.d.AddDays(-2), 0, time.UTC)
		days := rapid.IntRange(1, 400).Draw(rt, "days")
		later := s
		later.d, later.hrs.Start = s.d.AddDays(days), s.hrs.Start.AddDate(0, 0, days)
		if !s.c.Job.SealedOn.IsZero() {
			later.c.Job.SealedOn = s.c.Job.SealedOn.AddDays(days)
		}
		if a, b := moved(s.judge(), time.Duration(days)*24*time.Hour, later.d), later.judge(); !reflect.DeepEqual(a, b) {
			rt.Fatalf("%d days later: %+v\nwant %+v", days, b, a)
		}
	})
}

// TestClockChange: on the day on which the clock goes forward the crew comes 23
// hours after the day before; in autumn, 25. With weather moved by as much, the
// verdict is the same, moved.
func TestClockChange(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	for d, hours := range map[job.Date]int{{Year: 2027, Month: 3, Day: 28}: 23, {Year: 2027, Month: 10, Day: 31}: 25} {
		rapid.Check(t, func(rt *rapid.T) {
			s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 12)
			s.c.Zone, s.c.Job.Site.Lat, s.c.Job.Site.Lon = zone, 53.3, -6.3
			s.c.Hours.From, s.c.Hours.To = 9*60, 16*60 // in the light on both days
			s.c.Job.LaidM2, s.d = 0, d.AddDays(-1)
			s.hrs.Start = job.Instant(d.AddDays(-3), 0, zone).UTC()
			later, move := s, time.Duration(hours)*time.Hour
			later.d, later.hrs.Start = d, s.hrs.Start.Add(move)
			a, b := moved(s.judge(), move, d), later.judge()
			if !reflect.DeepEqual(a, b) {
				rt.Fatalf("%s: %+v\nwant %+v", d, b, a)
			}
			if len(b.Starts) > 0 && b.Starts[0].At.In(zone).Format("15:04") != "09:00" {
				rt.Fatalf("first start %s", b.Starts[0].At.In(zone))
			}
		})
	}
}

// moved gives a verdict with all its times later by d.
func moved(day Day, d time.Duration, date job.Date) Day {
	at := func(t *time.Time) {
		if !t.IsZero() {
			*t = t.Add(d)
		}
	}
	day.Date = date
	for i := range day.Starts {
		at(&day.Starts[i].At)
	}
	for i := range day.Windows {
		at(&day.Windows[i].From)
		at(&day.Windows[i].To)
	}
	for i := range day.Stages {
		at(&day.Stages[i].From)
		at(&day.Stages[i].To)
		at(&day.Stages[i].Tightest.At)
	}
	for i := range day.Failing {
		at(&day.Failing[i].From)
		at(&day.Failing[i].To)
	}
	at(&day.SealedBy)
	at(&day.SealedByLate)
	at(&day.NoReturn)
	at(&day.NoReturnMedian)
	at(&day.DewLifts)
	at(&day.RainFrom)
	at(&day.CoatBy)
	at(&day.OvercoatBy)
	return day
}
