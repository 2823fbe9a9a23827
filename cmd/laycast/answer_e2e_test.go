package main

import (
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

// TestAnswerToOneMove: of two new dates that wait, a yes to one tells its customer
// alone; a no tells nobody; an answer to a date that is not the one that waits
// does nothing.
func TestAnswerToOneMove(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(2, "2027-05-03"))
	h := o.house()
	now := time.Date(2027, 5, 5, 10, 0, 0, 0, time.UTC)
	day := func(d int) job.Date { return job.Date{Year: 2027, Month: time.May, Day: d} }
	book := func() ledger.Book {
		t.Helper()
		b, err := h.db.Book(t.Context(), h.firm.UID, day(1))
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	var vs []job.Visit
	week := plan.Week{ID: "w", Made: now}
	for i, id := range []string{"Q-01", "Q-02"} {
		vs = append(vs, job.Visit{Job: id, N: 1, State: job.Planned, Crew: []string{"gull", "tern"}[i], Days: []job.Date{day(10)}, Start: 7*60 + 30,
			Told: day(7), ToldAt: now.Add(-time.Hour), AskedAt: now.Add(-time.Hour), AskedFor: day(10)})
		week.Visits = append(week.Visits, plan.WeekVisit{Job: id, N: 1, Crew: vs[i].Crew, Days: vs[i].Days, Start: vs[i].Start, Chance: 0.9, Told: day(7)})
	}
	if err := h.db.Commit(t.Context(), ledger.Decision{Firm: h.firm.UID, Revision: book().Revision, Now: now, Visits: vs, Week: &week}); err != nil {
		t.Fatal(err)
	}
	sched, err := h.scheduler(scheduler.NewVirtualClock(now), true, post{}, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	if sched.AnswerMove(t.Context(), h.firm.UID, "Q-01", day(13), true) == nil {
		t.Error("a yes to a date that nobody plans was taken")
	}
	for id, yes := range map[string]bool{"Q-01": true, "Q-02": false} {
		if err := sched.AnswerMove(t.Context(), h.firm.UID, id, day(10), yes); err != nil {
			t.Fatal(err)
		}
	}
	if sched.AnswerMove(t.Context(), h.firm.UID, "Q-02", day(10), true) == nil {
		t.Error("a no was turned into a yes")
	}
	told := map[string]job.Date{}
	for _, v := range book().Visits {
		told[v.Job] = v.Told
	}
	if told["Q-01"] != day(10) || told["Q-02"] != day(7) {
		t.Errorf("told %v", told)
	}
	ms, err := h.db.Messages(t.Context(), h.firm.UID)
	if err != nil || len(ms) != 1 || ms[0].Kind != notify.KindDateMoved || ms[0].Recipient != "customer1@mail.example" {
		t.Errorf("%v, mails %+v", err, ms)
	}
}

// TestSettingsOfThePagesAndTheFile: what the pages changed is in force where the
// file is silent, and the file wins where it is not.
func TestSettingsOfThePagesAndTheFile(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	h := o.house()
	edits := job.Edits{"bounds.go": "75", "notice": "2"}
	next, bad := h.firm.With(edits, h.cfg.Set)
	if len(bad) > 0 {
		t.Fatal(bad)
	}
	if err := h.db.PutSettings(t.Context(), next, edits, 0, h.firm.Email, time.Date(2027, 5, 5, 10, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	h.close()
	h = o.house()
	if h.firm.Bounds.Go != 0.75 || h.firm.Notice != 2 {
		t.Errorf("opened again: go at %v, notice %d", h.firm.Bounds.Go, h.firm.Notice)
	}
	h.close()
	o.write("laycast.yaml", o.read(o.config)+"\nnotice: 0\n")
	h = o.house()
	defer h.close()
	if h.firm.Bounds.Go != 0.75 || h.firm.Notice != 0 {
		t.Errorf("with notice in the file: go at %v, notice %d", h.firm.Bounds.Go, h.firm.Notice)
	}
}
