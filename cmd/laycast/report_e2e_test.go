package main

import (
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/notify/file"
	"laycast/scheduler"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// roofDay is a firm with one roof of 9 m² that crew Gull was called to for
// Wednesday 5 May, told to its customer, on that morning. There is no forecast
// and no record of the weather: only people can say how the day went.
type roofDay struct {
	t     *testing.T
	o     *office
	h     *house
	sched *scheduler.Scheduler
	clock *scheduler.VirtualClock
}

func mayDay(d int) job.Date { return job.Date{Year: 2027, Month: time.May, Day: d} }

// dublin gives an hour of May 2027 by the clock of Dublin, an hour before UTC.
func dublin(d, h, m int) time.Time { return time.Date(2027, 5, d, h-1, m, 0, 0, time.UTC) }

func aRoofDay(t *testing.T) roofDay {
	t.Helper()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(1, "2027-05-03"))
	r := roofDay{t: t, o: o, h: o.house(), clock: scheduler.NewVirtualClock(dublin(5, 7, 0))}
	v := job.Visit{Job: "Q-01", N: 1, State: job.Planned, Crew: "gull", Days: []job.Date{mayDay(5)}, Start: 7*60 + 30, Told: mayDay(5), ToldAt: dublin(3, 9, 0)}
	k := call.Call{Firm: r.h.firm.UID, Job: "Q-01", Visit: 1, Crew: "gull", Date: mayDay(5), Occasion: call.Evening, Revision: 1, Outcome: call.Go,
		Made: dublin(4, 18, 0), Known: true, Chance: 0.85, Start: dublin(5, 7, 30), SealedBy: dublin(5, 13, 0), NoReturn: dublin(5, 11, 0)}
	r.commit(ledger.Decision{Visits: []job.Visit{v}, Calls: []call.Call{k}})
	var err error
	if r.sched, err = r.h.scheduler(r.clock, true, post{transport: file.Transport{Dir: o.mail}, redo: true}, zerolog.Nop()); err != nil {
		t.Fatal(err)
	}
	return r
}

func (r roofDay) commit(d ledger.Decision) {
	r.t.Helper()
	d.Firm, d.Revision, d.Now = r.h.firm.UID, r.book().Revision, r.clock.Now()
	if err := r.h.db.Commit(r.t.Context(), d); err != nil {
		r.t.Fatal(err)
	}
}

func (r roofDay) book() ledger.Book {
	r.t.Helper()
	b, err := r.h.db.Book(r.t.Context(), r.h.firm.UID, mayDay(1))
	if err != nil {
		r.t.Fatal(err)
	}
	return b
}

// say has the crew say something at an hour of 5 May.
func (r roofDay) say(h, m int, x job.Report) error {
	r.clock.MoveTo(dublin(5, h, m))
	if x.Job == "" {
		x.Job = "Q-01"
	}
	if x.Date.IsZero() {
		x.Date = mayDay(5)
	}
	x.By = "crew"
	_, err := r.sched.Report(r.t.Context(), r.h.firm.UID, x)
	return err
}

func (r roofDay) said(h, m int, x job.Report) {
	r.t.Helper()
	if err := r.say(h, m, x); err != nil {
		r.t.Fatalf("%s at %d:%02d: %v", x.What, h, m, err)
	}
}

// do runs one task when it is due.
func (r roofDay) do(n task.Name, at time.Time) {
	r.t.Helper()
	r.clock.MoveTo(at)
	if err := r.h.db.SeedTasks(r.t.Context(), []task.Task{{Firm: r.h.firm.UID, Name: n, Due: at, Slot: at}}); err != nil {
		r.t.Fatal(err)
	}
	for range 20 { // mails first
		did, err := r.sched.Step(r.t.Context(), r.h.firm.UID)
		if err != nil {
			r.t.Fatal(err)
		}
		if !did {
			return
		}
	}
}

func (r roofDay) job() job.Booking { return r.book().Jobs[0] }

// open gives the numbers of the visits that are still to come or under way.
func (r roofDay) open() (out []int) {
	for _, v := range r.book().Visits {
		out = append(out, v.N)
	}
	return out
}

// owner gives the subjects that the owner was written.
func (r roofDay) owner() (out []string) {
	ms, err := r.h.db.Messages(r.t.Context(), r.h.firm.UID)
	if err != nil {
		r.t.Fatal(err)
	}
	for _, m := range ms {
		if m.Recipient == r.h.firm.Email {
			out = append(out, m.Subject)
		}
	}
	return out
}

// TestCrewsWordClosesTheDay: what the crew says decides how a day is closed,
// where the weather cannot tell.
func TestCrewsWordClosesTheDay(t *testing.T) {
	t.Parallel()
	rain := job.Report{What: job.Halted, Cause: job.ByRain, Because: "a shower"}
	tight := job.Report{What: job.Halted, Cause: job.ByDamp, Tight: true}
	began, sealed, coated := job.Report{What: job.Begun}, job.Report{What: job.Sealed}, job.Report{What: job.Topcoated}
	for _, c := range []struct {
		name         string
		said         []job.Report // an hour apart from 9:00, all before 20:00
		laid, coat   float64
		state        job.State
		asked        bool
		open         []int  // visits
		owner, never string // in the subjects of the owner's mails
	}{
		{name: "topcoated", said: []job.Report{began, sealed, coated}, laid: 9, coat: 9, state: job.Done, never: "how did"},
		{name: "sealed", said: []job.Report{began, sealed}, laid: 9, state: job.Booked, open: []int{2}, never: "how did"},
		{name: "sealed, no topcoat today", said: []job.Report{began, sealed, tight}, laid: 9, state: job.Booked, open: []int{2}, never: "stopped"},
		{name: "rain", said: []job.Report{began, rain}, state: job.Booked, open: []int{2}, owner: "stopped"},
		{name: "on again and sealed", said: []job.Report{began, rain, began, sealed}, laid: 9, state: job.Booked, open: []int{2}, owner: "after all"},
		{name: "on again and no more", said: []job.Report{began, rain, began}, state: job.Booked, open: []int{2}, owner: "how did"},
		{name: "begun", said: []job.Report{began}, state: job.Booked, asked: true, open: []int{1}, owner: "how did"},
		{name: "seen alone", said: []job.Report{{What: job.Seen}}, state: job.Booked, open: []int{1}, never: "how did"}, // the rows may still come
	} {
		t.Run(c.name, func(t *testing.T) {
			r := aRoofDay(t)
			for i, x := range c.said {
				r.said(9+i, 0, x)
			}
			r.do(task.Close, dublin(5, 20, 0))
			b := r.job()
			if b.LaidM2 != c.laid || b.CoatedM2 != c.coat || b.State != c.state || b.Asked != c.asked {
				t.Errorf("laid %g, coated %g, %s, asked %t", b.LaidM2, b.CoatedM2, b.State, b.Asked)
			}
			if got := r.open(); len(got) != len(c.open) || len(got) > 0 && got[0] != c.open[0] {
				t.Errorf("open visits %v, want %v", got, c.open)
			}
			subjects := strings.Join(r.owner(), "; ")
			if !strings.Contains(subjects, c.owner) || c.never != "" && strings.Contains(subjects, c.never) {
				t.Errorf("the owner was written %q", subjects)
			}
		})
	}
}

// TestCrewsLateWord: a word that comes after the day was closed changes how it
// was closed, once, and takes back what followed.
func TestCrewsLateWord(t *testing.T) {
	t.Parallel()
	r := aRoofDay(t)
	r.said(9, 0, job.Report{What: job.Sealed})
	r.do(task.Close, dublin(5, 20, 0))
	r.said(21, 0, job.Report{What: job.Topcoated})
	if b := r.job(); b.State != job.Done || b.CoatedM2 != 9 || len(r.open()) != 0 {
		t.Fatalf("topcoated at nine in the evening: %s, %g m², open %v", b.State, b.CoatedM2, r.open())
	}
	r.said(21, 10, job.Report{What: job.Sealed}) // a slip: the topcoat is not on
	if b := r.job(); b.State != job.Booked || b.LaidM2 != 9 || b.CoatedM2 != 0 || len(r.open()) != 1 || r.open()[0] != 3 {
		t.Fatalf("not topcoated after all: %s, laid %g, open %v", b.State, b.LaidM2, r.open())
	}
	r.said(21, 20, job.Report{What: job.Halted, Cause: job.ByRain})
	if b := r.job(); b.State != job.Booked || b.LaidM2 != 0 || !b.SealedOn.IsZero() || len(r.open()) != 1 {
		t.Fatalf("not even sealed: %+v, open %v", b, r.open())
	}
	if got := r.book().Diary.Reports; len(got) != 4 {
		t.Errorf("%d reports are kept, want all 4", len(got))
	}
	if err := r.sched.Done(t.Context(), r.h.firm.UID, "Q-01"); err != nil {
		t.Fatal(err)
	}
	if err := r.say(21, 30, job.Report{What: job.Sealed}); err == nil || r.job().State != job.Done {
		t.Errorf("after the owner's word the crew's: %v, %s", err, r.job().State)
	}
}

// TestAnswerToTheQuestion: a crew that began and said no more is asked after;
// its answer on the next morning settles the day.
func TestAnswerToTheQuestion(t *testing.T) {
	t.Parallel()
	r := aRoofDay(t)
	r.said(9, 0, job.Report{What: job.Begun})
	r.do(task.Close, dublin(5, 20, 0))
	if !r.job().Asked {
		t.Fatal("nobody was asked")
	}
	r.clock.MoveTo(dublin(6, 8, 0))
	if _, err := r.sched.Report(t.Context(), r.h.firm.UID, job.Report{Entry: job.Entry{Job: "Q-01", Date: mayDay(5), By: "crew"}, What: job.Sealed}); err != nil {
		t.Fatal(err)
	}
	if b := r.job(); b.Asked || b.LaidM2 != 9 || b.SealedOn != mayDay(5) {
		t.Errorf("%+v", b)
	}
}

// TestWordsThatCannotBe: reports of another crew, of a day ahead or long over, of
// a roof without a go, and of no job; the same twice is one.
func TestWordsThatCannotBe(t *testing.T) {
	t.Parallel()
	r := aRoofDay(t)
	for name, x := range map[string]job.Report{
		"another crew": {Entry: job.Entry{Crew: "tern"}, What: job.Begun}, "no such job": {Entry: job.Entry{Job: "Q-99"}, What: job.Begun},
		"a day ahead": {Entry: job.Entry{Date: mayDay(6)}, What: job.Begun}, "long over": {Entry: job.Entry{Date: mayDay(1)}, What: job.Sealed},
		"no reason": {What: job.Halted}, "nonsense": {What: "flooded"},
	} {
		if r.say(9, 0, x) == nil {
			t.Errorf("%s was taken", name)
		}
	}
	for range 2 {
		r.said(9, 30, job.Report{What: job.Begun})
	}
	if n := len(r.book().Diary.Reports); n != 1 {
		t.Errorf("%d reports after saying the same twice", n)
	}
	off := r.book().Calls[0]
	off.Occasion, off.Outcome, off.Made = call.SecondLook, call.NoGo, dublin(5, 5, 30)
	r.commit(ledger.Decision{Calls: []call.Call{off}})
	if err := r.say(10, 0, job.Report{What: job.Sealed}); err == nil || !strings.Contains(err.Error(), "no go") {
		t.Errorf("sealed without a go: %v", err)
	}
}

// TestUnseenCallsAreTheOwners: at half past eight the owner hears of the calls
// for tomorrow that nobody said to have read.
func TestUnseenCallsAreTheOwners(t *testing.T) {
	t.Parallel()
	for _, seen := range []bool{false, true} {
		r := aRoofDay(t)
		k := r.book().Calls[0]
		k.Date, k.Made = mayDay(6), dublin(5, 18, 0)
		r.commit(ledger.Decision{Calls: []call.Call{k}})
		if seen {
			r.said(19, 0, job.Report{Entry: job.Entry{Date: mayDay(6)}, What: job.Seen})
		}
		r.do(task.Unseen, dublin(5, 20, 30))
		if got := strings.Join(r.owner(), "; "); strings.Contains(got, "has not seen tomorrow's call") == seen {
			t.Errorf("seen %t: the owner was written %q", seen, got)
		}
	}
}

// TestJobReportCommand: the office notes what a crew says by telephone.
func TestJobReportCommand(t *testing.T) {
	t.Parallel()
	r := aRoofDay(t)
	out := r.o.must("job", "report", "Q-01", "stopped", "--on", "2027-05-05", "--cause", "rain", "--because", "a shower", "--now", dublin(5, 11, 0).Format(time.RFC3339), "--json")
	if !strings.Contains(out, `"job": "Q-01"`) {
		t.Errorf("it printed %s", out)
	}
	if got := r.book().Diary.Reports; len(got) != 1 || got[0].By != "office" || got[0].Crew != "gull" || got[0].Cause != job.ByRain {
		t.Errorf("noted %+v", got)
	}
}
