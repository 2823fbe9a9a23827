package scheduler

import (
	"strings"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// perhaps is a desk with one roof that stands on tomorrow, its customer told no day.
type perhaps struct {
	*desk
	b        job.Booking
	tomorrow job.Date
}

func newPerhaps(t *testing.T) *perhaps {
	d := newDesk(t, 1, 1, named("by hand", &fake{members: 12}))
	b := referenceJob(CellOf(d.book.Jobs[0].Site), "Europe/Dublin")
	b.ID, b.Customer = "Q-00001", job.Customer{Name: "Quince Household", Email: "quince@customers.example"}
	d.book.Jobs[0] = b
	d.book.Crews = []job.Crew{{ID: "gull", Name: "Gull", Size: 2, Email: "gull@crews.example"}}
	p := &perhaps{d, b, job.Date{Year: 2027, Month: time.June, Day: 10}}
	d.book.Visits = []job.Visit{{Job: b.ID, N: 1, State: job.Planned, Crew: "gull", Days: []job.Date{p.tomorrow}, Start: 450}}
	return p
}

// see gives the desk a forecast in which some of twelve members rain all day.
func (p *perhaps) see(now time.Time, wet int) {
	for ep, members := range map[forecast.Endpoint]int{forecast.Deterministic: 1, forecast.Ensemble: 12} {
		r := weather(ep, now.Add(-48*time.Hour), 48+120, members, dry)
		for m := range min(wet, members) {
			if ep == forecast.Deterministic && wet < 12 {
				continue
			}
			for i := 48; i < r.Hours.N; i++ {
				r.Hours.Cols[forecast.Rain][m*r.Hours.N+i] = 2
			}
		}
		r.Digest = forecast.Digest(r.Hours)
		r.Cell, r.FirstSeen, r.LastSeen, r.Changed = CellOf(p.b.Site), now, now, now
		p.m.runs[cellKey{endKey{"by hand", ep}, r.Cell}] = *r
	}
}

// do does a task, and keeps what it decided in the book.
func (p *perhaps) do(name task.Name, at time.Time, do func(w *work) error) ledger.Decision {
	p.t.Helper()
	w, err := p.s.open(p.book, task.Task{Firm: "quay", Name: name, Due: at, Slot: at}, at)
	if err != nil {
		p.t.Fatal(err)
	}
	if err := do(w); err != nil {
		p.t.Fatal(err)
	}
	p.book = w.book
	return w.out
}

func (p *perhaps) evening() ledger.Decision {
	at := time.Date(2027, 6, 9, 17, 0, 0, 0, time.UTC) // 18:00 in Dublin
	p.see(at, 4)
	return p.do(task.Call, at, func(w *work) error { return w.evening(p.t.Context()) })
}

func (p *perhaps) morning(wet int) ledger.Decision {
	at := time.Date(2027, 6, 10, 4, 30, 0, 0, time.UTC)
	p.see(at, wet)
	return p.do(task.SecondLook, at, func(w *work) error { return w.secondLook(p.t.Context()) })
}

// heard gives the subjects of what the customer was written.
func heard(d ledger.Decision) (out []string) {
	for _, m := range d.Messages {
		if m.Audience == notify.ToCustomer {
			out = append(out, m.Subject)
		}
	}
	return out
}

func wants(t *testing.T, when string, got []string, subject string) {
	t.Helper()
	if len(got) != 1 || !strings.Contains(got[0], subject) {
		t.Errorf("%s the customer reads %q, want one letter: %q", when, got, subject)
	}
}

// On an evening that is not sure, a customer who was told no day is asked to stand by,
// and hears in the morning either way. The day is told once it is a go.
func TestACustomerStandsBy(t *testing.T) {
	for _, x := range []struct {
		wet     int
		subject string
		told    bool
	}{{0, "we come today at", true}, {12, "not today, a new date follows", false}} {
		p := newPerhaps(t)
		d := p.evening()
		if len(d.Calls) != 1 || d.Calls[0].Outcome != call.Hold {
			t.Fatalf("calls %+v, want a hold", d.Calls)
		}
		wants(t, "in the evening", heard(d), "perhaps tomorrow, you hear by")
		for _, m := range d.Messages {
			if m.Audience == notify.ToCustomer && !strings.Contains(m.Plain, "This is no promise") {
				t.Errorf("the letter does not say that it is no promise:\n%s", m.Plain)
			}
		}
		v := p.book.Visits[0]
		if v.StandBy != p.tomorrow || v.StoodBy != 1 || !v.Told.IsZero() || !v.On(p.tomorrow) {
			t.Errorf("the visit is %+v, want it standing by and no day told", v)
		}
		wants(t, "in the morning", heard(p.morning(x.wet)), x.subject)
		if v = p.book.Visits[0]; (v.Told == p.tomorrow) != x.told || v.On(p.tomorrow) != x.told || v.Moves != 0 {
			t.Errorf("with %d wet members: %+v", x.wet, v)
		}
	}
}

// Who stood by for nothing hears that in the morning; the week in which the roof stands
// now is the next round's word, not a second letter of the same minute.
func TestOneLetterAfterAStandByForNothing(t *testing.T) {
	p := newPerhaps(t)
	v := &p.book.Visits[0]
	v.StandBy, v.StoodBy, v.Days = p.tomorrow, 1, []job.Date{p.tomorrow.AddDays(5)}
	tell := func(name task.Name, hour int) []string {
		return heard(p.do(name, time.Date(2027, 6, 10, hour, 0, 0, 0, time.UTC), func(w *work) error {
			w.tellDates()
			return nil
		}))
	}
	if got := tell(task.SecondLook, 5); len(got) > 0 {
		t.Errorf("at the second look the customer reads of a week too: %q", got)
	}
	wants(t, "at the next round", tell(task.Tell, 8), "the week of Monday 14 June")
}

// A job that is held while its customer stands by is called off to them, and is no
// told date that moved.
func TestAStandByIsCalledOff(t *testing.T) {
	p := newPerhaps(t)
	p.evening()
	d := p.do(task.Tell, time.Date(2027, 6, 9, 20, 0, 0, 0, time.UTC), func(w *work) error {
		w.takeBack(p.b, "The boards are late.")
		return nil
	})
	wants(t, "when the job is held", heard(d), "called off, Thursday 10 June")
	if v := p.book.Visits[0]; v.Moves != 0 || !v.StandBy.IsZero() || !v.First().IsZero() {
		t.Errorf("the visit is %+v", v)
	}
}

// Nobody stands by whom the firm does not want asked, who cannot be written to, who was
// asked often enough, or who lost a told day: the visit waits for another.
func TestWhoIsNotAskedToStandBy(t *testing.T) {
	for name, change := range map[string]func(p *perhaps){
		"the firm does not ask": func(p *perhaps) { p.book.Firm.StandBy = false },
		"no mail address":       func(p *perhaps) { p.book.Jobs[0].Customer.Email = "" },
		"asked often enough":    func(p *perhaps) { p.book.Visits[0].StoodBy = mostStandBys },
		"a told day was lost":   func(p *perhaps) { p.book.Visits[0].Told = p.tomorrow.AddDays(-3) },
		"another day is told":   func(p *perhaps) { p.book.Visits[0].Told = p.tomorrow.AddDays(4) },
	} {
		p := newPerhaps(t)
		change(p)
		d := p.evening()
		if v := p.book.Visits[0]; len(d.Calls) > 0 || len(heard(d)) > 0 || v.On(p.tomorrow) || !v.StandBy.IsZero() {
			t.Errorf("%s: calls %+v, customer reads %q, visit %+v", name, d.Calls, heard(d), v)
		}
	}
}
