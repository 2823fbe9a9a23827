package main

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
)

// TestCheckReadsAsAPage: days down, each with what a call would say and one
// sentence of words.
func TestCheckReadsAsAPage(t *testing.T) {
	d := job.Date{Year: 2027, Month: time.May, Day: 6}
	at := func(h float64) time.Time {
		return job.Instant(d, 0, time.UTC).Add(time.Duration(h * float64(time.Hour)))
	}
	day := rules.Day{
		Job: "J1", Date: d, Basis: rules.FromMembers, Members: 50, Best: 0,
		Starts: []rules.Start{{At: at(9.5), Sealed: 0.86, Full: 0.3, RainOpen: 0.02}}, Windows: []rules.Window{{From: at(9.5), To: at(9.5)}},
		Stages:   []rules.Span{{Stage: rules.Laminate, From: at(12), To: at(14), Tightest: rules.Check{Limit: rules.LimitWind, At: at(13), Value: 8.9, Bound: 10, Margin: 1.1, Unit: "m/s"}}},
		Failing:  []rules.Failing{{Limit: rules.LimitRain, Members: 7, From: at(13), To: at(15)}},
		SealedBy: at(14 + 2.0/3), SealedByLate: at(16), NoReturn: at(11), DewLifts: at(9), RainFrom: at(20),
	}
	f := &finding{zone: time.UTC, firm: job.DefaultFirm(), job: job.Booking{Job: job.Job{ID: "J1", Title: "Garage", Roof: job.Roof{AreaM2: 20, Work: job.Replace}}},
		days: []foundDay{{Day: day, outcome: call.Go}, {Day: rules.Day{Date: d.AddDays(1), Best: -1}, outcome: call.Hold, reasons: []string{"no forecast"}}}}
	var out bytes.Buffer
	f.text(&session{world: world{Out: &out}}, false)
	for _, want := range []string{
		"  Thu 6 May       #\n", // 07:30, 08:00, 08:30, 09:00, and go from 09:30
		"\nThursday 6 May. If called now: go. Topcoated the same day 30 %, rain while open 2 %; nine in ten sealed by 16:00, opened by 11:00 or not at all.\n",
		"    Thursday: go from 09:30, 86 %: dew lifts at 09:00, sealed by 14:40, rain unlikely before 20:00; tightest: wind 8.9 of 10 m/s at 13:00\n",
		"    7 of 50 stopped by rain, 13:00 to 15:00\n",
		"\nFriday 7 May. If called now: hold (no forecast).\n    Friday: not known",
		"A forecast is no permission",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("lacks %q:\n%s", want, out.String())
		}
	}
}
