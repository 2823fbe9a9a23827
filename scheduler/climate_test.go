package scheduler

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
	"laycast/scheduler/season"
	"laycast/scheduler/task"
)

// outlookOf is an outlook with the same share in every month.
func outlookOf(share float64) *season.Outlook {
	o := &season.Outlook{Station: "by hand"}
	for i := range o.Share {
		o.Share[i], o.Full[i] = share, 0.5
	}
	return o
}

// issueAt is an issue whose members reach a week ahead, fetched now.
func issueAt(now time.Time, rainAt func(time.Time) float32) forecast.Issue {
	return forecast.Issue{Source: "by hand", Det: weather(forecast.Deterministic, now.Add(-48*time.Hour), 288, 1, rainAt), Ens: weather(forecast.Ensemble, now, 168, 19, rainAt)}
}

// Beyond the members a day bears the month's share as its climate, and is no day
// that is known: no call on it is a go, however fresh the forecast and however
// good the month. A near day without a forecast, a Sunday and a firm without a
// record have none of it.
func TestClimateBeginsBeyondTheForecast(t *testing.T) {
	now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC) // Tuesday evening
	w := aWork(t, now)
	cs, err := w.s.caseOf(w.book.Firm, w.book.Jobs[0], 2, w.zone)
	if err != nil {
		t.Fatal(err)
	}
	judge := func(d job.Date, is forecast.Issue) rules.Day { return w.s.judge(cs, d, is, now, w.book.Firm.Bounds) }
	fine := issueAt(now, dry)
	if day := judge(aprilDay(22), fine); day.Basis != rules.FromNothing {
		t.Errorf("without a record the ninth day rests on %s", day.Basis)
	}
	w.s.Season = outlookOf(1)
	w.s.Season.Share[time.April-1] = 0.43
	for lead := 1; lead <= 14; lead++ {
		d := aprilDay(13 + lead)
		day := judge(d, fine)
		want := rules.FromDressed
		switch {
		case lead > 6 && d.Weekday() == time.Sunday, lead == 7: // the members end on the seventh evening
			want = rules.FromNothing
		case lead > 7 && w.book.Firm.Work.Working(d):
			want = rules.FromClimate
		case !w.book.Firm.Work.Working(d):
			continue
		}
		if day.Basis != want || want == rules.FromClimate && (day.Climate != 0.43 || day.Known() || len(day.Starts) > 0) {
			t.Errorf("%s, %d days ahead: basis %s, climate %g, known %v; want %s", d, lead, day.Basis, day.Climate, day.Known(), want)
		}
		k := call.DecideEvening(call.Input{Firm: w.book.Firm, Job: w.book.Jobs[0], Date: d, Now: now, Due: now, Day: day, Issue: fine})
		if !day.Basis.Foreseen() && (k.Outcome != call.Hold || k.Known) {
			t.Errorf("%s on basis %s: called %s", d, day.Basis, k.Outcome)
		}
	}
	for lead := 1; lead <= reach; lead++ {
		if day := judge(aprilDay(13+lead), forecast.Issue{}); day.Basis != rules.FromNothing {
			t.Errorf("%d days ahead without a forecast the basis is %s", lead, day.Basis)
		}
	}
}

// wetWeek is a firm with jobs and no day within the forecast's reach.
func wetWeek(t *testing.T, now time.Time, jobs int, share float64) *work {
	t.Helper()
	w := aWork(t, now)
	b := w.book.Jobs[0]
	b.Roof.AreaM2 = 10 // a day for a pair
	w.book.Jobs = nil
	for i := range jobs {
		b.ID, b.Title, b.Value, b.AbortCost = fmt.Sprintf("J%d", i+1), fmt.Sprintf("Roof %d", i+1), 1800_00, 500_00
		b.Earliest, b.Promised, b.Deadline = aprilDay(1), aprilDay(30), aprilDay(30).AddDays(60)
		b.Customer = job.Customer{Name: "C", Email: fmt.Sprintf("c%d@mail.example", i+1)}
		w.book.Jobs = append(w.book.Jobs, b)
		w.book.Visits = append(w.book.Visits, job.Visit{Job: b.ID, N: 1, State: job.Planned})
	}
	w.book.Crews[0].Depot = job.Point{Lat: b.Site.Lat, Lon: b.Site.Lon}
	w.book.Firm.Name, w.book.Firm.Email = "Saltbox Roofs", "office@saltbox.example"
	w.s.Season, w.s.From = outlookOf(share), "office@saltbox.example"
	return open(t, w, now)
}

// open is a fresh task on the book of another, at a time.
func open(t *testing.T, w *work, now time.Time) *work {
	t.Helper()
	out, err := w.s.open(w.book, task.Task{Firm: w.book.Firm.UID, Name: task.Tell, Due: now, Slot: now}, now)
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// planFrom plans the work's book from one issue.
func planFrom(t *testing.T, w *work, is forecast.Issue) plan.Week {
	t.Helper()
	p, err := newPlanner(w, map[forecast.Cell]forecast.Issue{CellOf(w.book.Jobs[0].Site): is})
	if err != nil {
		t.Fatal(err)
	}
	sol, err := p.solve()
	if err != nil {
		t.Fatal(err)
	}
	far, err := p.pencil(sol)
	if err != nil {
		t.Fatal(err)
	}
	week := p.week(sol, far)
	return week
}

func rainy(time.Time) float32 { return 2 }

// Where the forecast leaves jobs no day, usual weather gives them one beyond it:
// their customers are told a week and no day. Planned again, nothing moves; and in
// a month that hardly holds a laying day no week is told.
func TestAWeekIsToldByUsualWeather(t *testing.T) {
	now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
	w := wetWeek(t, now, 3, 0.6)
	is := issueAt(now, rainy)
	week := planFrom(t, w, is)
	if len(week.Visits) != 3 || len(week.Left) != 0 {
		t.Fatalf("%d visits, left %+v", len(week.Visits), week.Left)
	}
	seen := map[job.Date]bool{}
	for _, v := range week.Visits {
		lead := v.Days[0].DaysSince(aprilDay(13))
		if v.Basis != string(rules.FromClimate) || v.Chance != 0.6 || lead <= reach || v.Adds != nil || seen[v.Days[0]] {
			t.Errorf("%s stands %d days ahead, basis %s, chance %g", v.Job, lead, v.Basis, v.Chance)
		}
		seen[v.Days[0]] = true // one crew, a day each
	}
	w.book.Week = &week
	w.book.Firm.TellAhead = 14
	w.tellDates()
	told := 0
	for _, m := range w.out.Messages {
		if m.Kind != notify.KindWeekTold {
			t.Errorf("a %s was written", m.Kind)
		}
		told++
	}
	for _, v := range w.book.Visits {
		if !v.Told.IsZero() || v.ToldWeek.IsZero() {
			t.Errorf("%s: told %s, week %s", v.Job, v.Told, v.ToldWeek)
		}
	}
	if told != 3 {
		t.Errorf("%d customers heard of a week, want 3", told)
	}
	again := open(t, w, now.Add(time.Hour))
	if next := planFrom(t, again, is); len(again.out.Visits) > 0 || len(next.Changes) > 0 {
		t.Errorf("planned again: %+v", next.Changes)
	}
	if week := planFrom(t, wetWeek(t, now, 3, 0.05), is); len(week.Visits) != 0 || len(week.Left) != 3 {
		t.Errorf("where a month holds a laying day in twenty: %+v", week.Visits)
	}
	if week := planFrom(t, wetWeek(t, now, 3, 0.6), issueAt(now, dry)); len(week.Visits) != 3 || week.Visits[2].Basis != string(rules.FromDressed) {
		t.Errorf("in fine weather they do not stand by the forecast: %+v", week.Visits)
	}
	why := open(t, w, now)
	y, err := why.s.Why(w.book, map[forecast.Cell]forecast.Issue{CellOf(w.book.Jobs[0].Site): is}, now, "J1")
	if err != nil || !strings.Contains(y.Stands, "pencilled in for") || !strings.Contains(y.Days[len(y.Days)-1].Words, "in usual weather 60 % of the days of April would do") {
		t.Errorf("why: %v, %s; %+v", err, y.Stands, y.Days[len(y.Days)-1])
	}
}

// Whatever a plan holds, pins among it, and however far ahead a firm tells: no day
// is told for the first time, or in place of another, on anything but a forecast.
func TestNoDayIsToldWithoutAForecast(t *testing.T) {
	now := time.Date(2027, 4, 13, 16, 0, 0, 0, time.UTC)
	base := wetWeek(t, now, 1, 0.6)
	told := 0
	rapid.Check(t, func(rt *rapid.T) {
		basis := rapid.SampledFrom([]rules.Basis{rules.FromMembers, rules.FromDressed, rules.FromClimate, rules.FromNothing, ""}).Draw(rt, "basis")
		chance := rapid.SampledFrom([]float64{0, 0.5, 1}).Draw(rt, "chance")
		if basis == "" {
			chance = 0 // a week of before the basis was kept has a chance only from a forecast
		}
		first := aprilDay(13).AddDays(rapid.IntRange(1, 14).Draw(rt, "lead"))
		v := job.Visit{Job: "J1", N: 1, State: job.Planned, Crew: "heron", Days: []job.Date{first}}
		if rapid.Bool().Draw(rt, "told before") {
			v.Told = aprilDay(13).AddDays(rapid.IntRange(1, 9).Draw(rt, "told"))
			v.AskedFor, v.AskedAt, v.Approved = first, now.AddDate(0, 0, -2), true
		}
		before := v.Told
		b := base.book.Jobs[0]
		if rapid.Bool().Draw(rt, "pinned") {
			b.Pinned.Day = first
		}
		x := *base
		x.book.Jobs, x.book.Visits = []job.Booking{b}, []job.Visit{v}
		x.book.Firm.TellAhead = rapid.IntRange(0, 14).Draw(rt, "tell ahead")
		x.book.Week = &plan.Week{Visits: []plan.WeekVisit{{Job: "J1", N: 1, Crew: "heron", Days: v.Days, Chance: chance, Basis: string(basis)}}}
		x.out = ledger.Decision{}
		x.tellDates()
		after := x.book.Visits[0].Told
		if after != before && !after.IsZero() {
			if told++; !basis.Foreseen() {
				rt.Fatalf("%s was told on basis %q", after, basis)
			}
		}
		for _, m := range x.out.Messages {
			if (m.Kind == notify.KindDateTold || m.Kind == notify.KindDateMoved) && !basis.Foreseen() {
				rt.Fatalf("a %s went out on basis %q", m.Kind, basis)
			}
		}
	})
	if told == 0 {
		t.Error("no day was told at all: this shows nothing")
	}
}
