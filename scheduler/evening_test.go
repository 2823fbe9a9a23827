package scheduler

import (
	"strings"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/task"
)

// The customer of a roof that was begun today knows that the crew means to come
// again tomorrow, and hears in the evening that it does not: the call has taken
// the day off the visit by the time that the letter is written.
func TestTheSecondDayCalledOffIsTold(t *testing.T) {
	now := time.Date(2027, 6, 9, 17, 0, 0, 0, time.UTC) // 18:00 in Dublin
	today := job.Date{Year: 2027, Month: time.June, Day: 9}
	for _, x := range []struct {
		name  string
		told  job.Date
		heard int
	}{
		{"the customer knows the visit", today, 1},
		{"the customer was told nothing", job.Date{}, 0},
	} {
		d := newDesk(t, 1, 1, named("by hand", &fake{members: 12}))
		b := referenceJob(CellOf(d.book.Jobs[0].Site), "Europe/Dublin")
		b.ID, b.Customer = "Q-00001", job.Customer{Name: "Quince Household", Email: "quince@customers.example"}
		d.book.Jobs[0] = b
		d.book.Crews = []job.Crew{{ID: "gull", Name: "Gull", Size: 2, Email: "gull@crews.example"}}
		d.book.Visits = []job.Visit{{Job: b.ID, N: 1, State: job.Planned, Crew: "gull", Days: []job.Date{today, today.AddDays(1)}, Start: 450, Told: x.told}}
		d.book.Calls = []call.Call{{Job: b.ID, Visit: 1, Crew: "gull", Date: today, Occasion: call.Evening, Outcome: call.Go}}
		for ep, members := range map[forecast.Endpoint]int{forecast.Deterministic: 1, forecast.Ensemble: 12} {
			r := weather(ep, now.Add(-48*time.Hour), 48+120, members, func(time.Time) float32 { return 2 })
			r.Cell, r.FirstSeen, r.LastSeen, r.Changed = CellOf(b.Site), now, now, now
			d.m.runs[cellKey{endKey{"by hand", ep}, r.Cell}] = *r
		}
		w, err := d.s.open(d.book, task.Task{Firm: "quay", Name: task.Call, Due: now, Slot: now}, now)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.evening(t.Context()); err != nil {
			t.Fatal(err)
		}
		if len(w.out.Calls) != x.heard || x.heard > 0 && w.out.Calls[0].Outcome != call.NoGo {
			t.Fatalf("%s: calls %+v", x.name, w.out.Calls)
		}
		heard := 0
		for _, m := range w.out.Messages {
			if m.Audience == notify.ToCustomer && m.Kind == notify.KindCall {
				heard++
				if !strings.Contains(m.Subject, "not tomorrow, a new date follows") {
					t.Errorf("%s: %q", x.name, m.Subject)
				}
			}
		}
		if heard != x.heard {
			t.Errorf("%s: %d letters to the customer, want %d", x.name, heard, x.heard)
		}
	}
}

// What was called for tomorrow rests on today: where today's roof was not sealed, or
// nobody says whether it was, crew and customer hear that nobody comes, once.
func TestADayThatFailedWithdrawsTheNext(t *testing.T) {
	now := time.Date(2027, 6, 9, 19, 0, 0, 0, time.UTC) // 20:00 in Dublin
	today := job.Date{Year: 2027, Month: time.June, Day: 9}
	tomorrow := today.AddDays(1)
	for _, x := range []struct {
		name   string
		called call.Outcome
		seen   bool // the weather of the day is on record: it rained
		began  bool // the crew said that it began
		heard  int
		why    string
	}{
		{"rained on, tomorrow on hold", call.Hold, true, false, 1, "work of Wednesday 9 June was not finished"},
		{"rained on, go tomorrow", call.Go, true, false, 1, "work of Wednesday 9 June was not finished"},
		{"rained on, no-go tomorrow already", call.NoGo, true, false, 0, ""},
		{"begun, and nothing more said", call.Go, true, true, 1, "Nobody said how Wednesday 9 June went"},
		{"no record yet of the day", call.Go, false, false, 0, ""},
	} {
		d := newDesk(t, 1, 1, named("by hand", &fake{members: 12}))
		b := referenceJob(CellOf(d.book.Jobs[0].Site), "Europe/Dublin")
		b.ID, b.Customer = "Q-00001", job.Customer{Name: "Quince Household", Email: "quince@customers.example"}
		d.book.Jobs[0] = b
		d.book.Crews = []job.Crew{{ID: "gull", Name: "Gull", Size: 2, Email: "gull@crews.example"}}
		d.book.Visits = []job.Visit{{Job: b.ID, N: 1, State: job.Planned, Crew: "gull", Days: []job.Date{today, tomorrow}, Start: 450, Told: today}}
		d.book.Calls = []call.Call{
			{Job: b.ID, Visit: 1, Crew: "gull", Date: today, Occasion: call.Evening, Outcome: call.Go},
			{Job: b.ID, Visit: 1, Crew: "gull", Date: tomorrow, Occasion: call.Evening, Outcome: x.called},
		}
		if x.began {
			d.book.Diary.Reports = []job.Report{{Entry: job.Entry{Job: b.ID, Date: today, At: now.Add(-9 * time.Hour)}, What: job.Begun}}
		}
		for ep, members := range map[forecast.Endpoint]int{forecast.Deterministic: 1, forecast.Ensemble: 12} {
			r := weather(ep, now.Add(-48*time.Hour), 48+120, members, func(time.Time) float32 { return 2 })
			r.Cell, r.FirstSeen, r.LastSeen, r.Changed = CellOf(b.Site), now, now, now
			if !x.seen {
				r.LastSeen = now.Add(-9 * time.Hour)
			}
			d.m.runs[cellKey{endKey{"by hand", ep}, r.Cell}] = *r
		}
		w, err := d.s.open(d.book, task.Task{Firm: "quay", Name: task.Close, Due: now, Slot: now}, now)
		if err != nil {
			t.Fatal(err)
		}
		if err := w.closeDay(t.Context()); err != nil {
			t.Fatal(err)
		}
		crew, customer := 0, 0
		for _, m := range w.out.Messages {
			switch {
			case m.Audience == notify.ToCrew && strings.Contains(m.Subject, "NO-GO tomorrow"):
				if crew++; !strings.Contains(m.Plain, x.why) {
					t.Errorf("%s: the crew is not told that %q:\n%s", x.name, x.why, m.Plain)
				}
			case m.Audience == notify.ToCustomer && strings.Contains(m.Subject, "not tomorrow"):
				customer++
			}
		}
		if crew != x.heard || customer != x.heard {
			t.Errorf("%s: crew told %d times, customer %d times, want %d", x.name, crew, customer, x.heard)
		}
		if k := w.standing(b.ID, tomorrow); x.heard > 0 && (k == nil || k.Outcome != call.NoGo) {
			t.Errorf("%s: for tomorrow stands %+v", x.name, k)
		}
	}
}
