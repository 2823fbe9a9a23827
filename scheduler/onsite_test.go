package scheduler

import (
	"strings"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
	"laycast/rules/site"
	"laycast/scheduler/call"
)

// A crew measures at nine: on a fair day it goes on, with showers from noon in
// every member it does not, and once the forecast is too old nobody says go on.
func TestReadingsAreAnsweredByTheForecastThatStands(t *testing.T) {
	now := time.Date(2027, 4, 14, 12, 10, 0, 0, time.UTC) // 9:10 in Halifax
	num := func(x float64) *float64 { return &x }
	r := job.Reading{Entry: job.Entry{Job: "J1", Date: aprilDay(14), At: now}, AirC: num(15), RHPct: num(66), SurfaceC: num(17), MoisturePct: num(12)}
	ask := func(seen time.Time, rainAt func(time.Time) float32) site.Answer {
		w := aWork(t, now)
		w.book.Calls = []call.Call{{Job: "J1", Crew: "heron", Date: aprilDay(14), Outcome: call.Go}}
		start := now.Truncate(time.Hour)
		is := forecast.Issue{Source: "by hand", Det: weather(forecast.Deterministic, start.Add(-48*time.Hour), 120, 1, rainAt), Ens: weather(forecast.Ensemble, start.Add(-5*time.Hour), 72, 19, rainAt)}
		is.Det.LastSeen, is.Det.Changed, is.Ens.LastSeen, is.Ens.Changed = seen, seen, seen, seen
		v, err := w.visitOn(w.book.Jobs[0], aprilDay(14), now, is)
		if err != nil {
			t.Fatal(err)
		}
		return v.Answer(r)
	}
	if a := ask(now, dry); a.Advice != site.GoOn || a.CoatBy.IsZero() || a.Off.SurfaceK != a.Off.SurfaceK {
		t.Errorf("a fair day: %+v", a)
	}
	noon := func(h time.Time) float32 {
		if h.Hour() >= 15 && h.Hour() < 18 {
			return 1
		}
		return 0
	}
	if a := ask(now, noon); a.Advice == site.GoOn || !strings.Contains(a.Why, "rain") {
		t.Errorf("showers from noon: %+v", a)
	}
	if a := ask(now.Add(-4*time.Hour), dry); a.Advice != site.Blind || !strings.Contains(a.Why, "hourly forecast was last fetched") {
		t.Errorf("an old forecast: %+v", a)
	}
	w := aWork(t, now)
	w.book.Diary.Reports = []job.Report{{Entry: job.Entry{Job: "J1", Date: aprilDay(14), At: now}, What: job.Sealed}}
	if v, err := w.visitOn(w.book.Jobs[0], aprilDay(14), now, forecast.Issue{}); err != nil || v.Stage != rules.Topcoat {
		t.Errorf("after sealing comes %s, %v", v.Stage, err)
	}
}
