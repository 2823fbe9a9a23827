package dbtest

import (
	"context"
	"errors"
	"reflect"
	"slices"
	"sync"
	"testing"
	"time"

	"laycast/db"
	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
	"laycast/scheduler/task"
)

// whole is a decision with something of everything, by a leased task.
func whole(b ledger.Book, held task.Task, now time.Time) ledger.Decision {
	next := held
	next.Due = held.Due.Add(24 * time.Hour)
	next.Slot = next.Due
	laid := b.Jobs[0]
	laid.LaidM2++
	visit := b.Visits[0]
	visit.Crew, visit.Days = "heron", []job.Date{day(14)}
	return ledger.Decision{
		Firm: uid, Revision: b.Revision, Now: now, Task: held, Next: next,
		Arm: []task.Task{{Firm: uid, Name: task.Replan, Due: now}},
		Week: &plan.Week{ID: "week-" + now.Format("150405"), Made: now, Objective: 123456, Visits: []plan.WeekVisit{
			{Job: laid.ID, N: 1, Crew: "heron", Days: []job.Date{day(14)}, Chance: 0.81, Told: day(14)}}},
		Bookings: []job.Booking{laid}, Visits: []job.Visit{visit},
		Calls:     []call.Call{aCall(laid.ID, call.Go, call.Evening)},
		Messages:  []notify.Message{mail(notify.KindCall, laid.ID, "heron@saltbox.example", 1, now)},
		Untold:    []notify.Untold{{Firm: uid, Person: "owner", Job: laid.ID, Date: day(14), At: now, Reason: "asked not to be told"}},
		Links:     []access.Link{aLink(access.Crew, "heron", access.Feed, 1)},
		Published: []ledger.Published{published(laid.ID, "crew/heron", "heron", 0, day(14))},
		Runs:      []forecast.Run{aRun(forecast.Deterministic, 53.45, 1, now)},
		Sources:   []ledger.SourceState{{Source: "replay", Endpoint: forecast.Ensemble, Failures: 2, Since: now, Note: "no answer"}},
		Skill:     []ledger.CellStats{{Source: "replay", Cell: cell(53.45), Stats: skill.Stats{Through: now, Days: 1}}},
	}
}

func callTask(due time.Time) task.Task {
	return task.Task{Firm: uid, Name: task.Call, Due: due, Slot: due}
}

func replanTask(due time.Time) task.Task {
	return task.Task{Firm: uid, Name: task.Replan, Due: due, Slot: due}
}

// testMoved: who computed from an old revision writes nothing.
func testMoved(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1", "J2")
	b := book(t, d)
	dec := ledger.Decision{Firm: uid, Revision: b.Revision, Now: noon(), Calls: []call.Call{aCall("J1", call.Go, call.Evening)}}
	commit(t, d, dec)
	if got := book(t, d).Revision; got != b.Revision+1 {
		t.Fatalf("revision %d after a call, before %d", got, b.Revision)
	}
	late := ledger.Decision{Firm: uid, Revision: b.Revision, Now: noon(), Calls: []call.Call{aCall("J2", call.Go, call.Evening)},
		Messages: []notify.Message{mail(notify.KindCall, "J2", "a@example", 1, noon())}}
	if err := d.Commit(t.Context(), late); !errors.Is(err, ledger.ErrMoved) {
		t.Fatalf("an old revision: %v", err)
	}
	// even where nothing of the book would change
	late.Calls = nil
	if err := d.Commit(t.Context(), late); !errors.Is(err, ledger.ErrMoved) {
		t.Fatalf("an old revision with messages only: %v", err)
	}
	after := book(t, d)
	ms, err := d.Messages(t.Context(), uid)
	if err != nil || len(after.Calls) != 1 || len(ms) != 0 {
		t.Fatalf("the late decision left calls %v, messages %v, %v", after.Calls, ms, err)
	}
	// messages alone do not move the book
	late.Revision = after.Revision
	commit(t, d, late)
	if got := book(t, d).Revision; got != after.Revision {
		t.Fatalf("a message raised the revision to %d", got)
	}
	// the book is never changed blindly
	if err := d.Commit(t.Context(), ledger.Decision{Firm: uid, Now: noon(), Calls: []call.Call{aCall("J2", call.Go, call.Evening)}}); err == nil {
		t.Fatal("a call was written without a revision")
	}
	if err := d.Commit(t.Context(), ledger.Decision{Firm: "nobody", Now: noon()}); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("a decision of no firm: %v", err)
	}
}

// testLeaseLost: a holder whose lease ran out and was taken over writes nothing.
func testLeaseLost(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	seed(t, d, callTask(noon()))
	first := take(t, d, noon())
	if _, ok, err := d.ClaimTask(t.Context(), uid, noon().Add(59*time.Second), time.Minute); ok || err != nil {
		t.Fatalf("taken twice within the lease: %v, %v", ok, err)
	}
	second := take(t, d, noon().Add(time.Minute))
	if first.Lease == second.Lease || first.Lease == "" || !second.LeaseUntil.Equal(noon().Add(2*time.Minute)) {
		t.Fatalf("leases %+v and %+v", first, second)
	}
	if err := d.Commit(t.Context(), whole(book(t, d), first, noon())); !errors.Is(err, ledger.ErrLeaseLost) {
		t.Fatalf("the first holder wrote: %v", err)
	}
	if b := book(t, d); len(b.Calls) != 0 || b.Week != nil {
		t.Fatalf("the first holder left %+v", b)
	}
	dec := whole(book(t, d), second, noon())
	commit(t, d, dec)
	got := taskOf(t, d, task.Call)
	if got.Lease != "" || !got.LeaseUntil.IsZero() || !got.Due.Equal(noon().Add(24*time.Hour)) {
		t.Fatalf("the task is now %+v", got)
	}
	// settled: the same lease does not write again
	dec.Revision = book(t, d).Revision
	if err := d.Commit(t.Context(), dec); !errors.Is(err, ledger.ErrLeaseLost) {
		t.Fatalf("wrote twice under one lease: %v", err)
	}
	free := dec
	free.Task.Lease = ""
	if err := d.Commit(t.Context(), free); !errors.Is(err, ledger.ErrLeaseLost) {
		t.Fatalf("wrote without a lease: %v", err)
	}
	// whoever holds the firm frees leases
	third := take(t, d, noon().Add(24*time.Hour))
	if err := d.FreeLeases(t.Context(), uid); err != nil {
		t.Fatal(err)
	}
	if again := take(t, d, noon().Add(24*time.Hour)); again.Lease == third.Lease {
		t.Fatal("the freed lease was given out again")
	}
}

// snapshot is everything a firm has.
type snapshot struct {
	Book    ledger.Book
	Tasks   []task.Task
	Weeks   []plan.Week
	Mails   []notify.Message
	Untold  []notify.Untold
	Runs    []forecast.Run
	Sources []ledger.SourceState
	Skill   []ledger.CellStats
}

func snap(t *testing.T, d *db.DB) (s snapshot) {
	t.Helper()
	ctx := t.Context()
	var errs [8]error
	s.Book, errs[0] = d.Book(ctx, uid, job.Date{})
	s.Tasks, errs[1] = d.Tasks(ctx, uid)
	s.Weeks, errs[2] = d.Weeks(ctx, uid)
	s.Mails, errs[3] = d.Messages(ctx, uid)
	s.Untold, errs[4] = d.Untold(ctx, uid)
	s.Runs, errs[5] = d.Runs(ctx, "replay", []forecast.Cell{cell(53.45)})
	s.Sources, errs[6] = d.SourceStates(ctx)
	s.Skill, errs[7] = d.Skill(ctx, "replay", []forecast.Cell{cell(53.45)})
	if err := errors.Join(errs[:]...); err != nil {
		t.Fatal(err)
	}
	return s
}

// testLeasesCut: what was taken under a clock that was ahead comes free in a
// while, whoever it belongs to; a lease that is not too long is left alone.
func testLeasesCut(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	for i, whose := range []string{uid, ""} {
		now := noon()
		if whose == "" {
			now = now.AddDate(0, 0, 1)
		}
		seed(t, d, callTask(noon()))
		ahead := now.Add(2 * time.Hour)
		m := mail(notify.KindCall, "J1", "heron@saltbox.example", i+1, ahead)
		m.NotBefore = ahead // that was at once
		post(t, d, m)
		held, sending := take(t, d, ahead), takeMail(t, d, ahead)
		until := now.Add(3 * time.Minute)
		for range 2 { // the second time there is nothing to cut
			if err := d.CutLeases(t.Context(), whose, until); err != nil {
				t.Fatal(err)
			}
		}
		if _, ok, err := d.ClaimTask(t.Context(), uid, until.Add(-time.Millisecond), time.Minute); ok || err != nil {
			t.Fatalf("taken before its time: %v, %v", ok, err)
		}
		noMail(t, d, until.Add(-time.Millisecond))
		again, mail := take(t, d, until), takeMail(t, d, until)
		if again.Lease == held.Lease || mail.Lease == sending.Lease {
			t.Fatal("the old holder holds still")
		}
		if err := d.CutLeases(t.Context(), whose, until.Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
		if got := taskOf(t, d, task.Call); !got.LeaseUntil.Equal(until.Add(time.Minute)) {
			t.Fatalf("a lease of a usual length was cut to %s", got.LeaseUntil)
		}
		if err := d.FreeLeases(t.Context(), uid); err != nil {
			t.Fatal(err)
		}
		settle(t, d, takeMail(t, d, ahead), notify.Withdrawn, ahead)
	}
}

// testCommitWhole: whatever part of a decision fails, nothing of it is left.
func testCommitWhole(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	seed(t, d, callTask(noon()))
	held := take(t, d, noon())
	before := snap(t, d)
	for name, spoil := range map[string]func(*ledger.Decision){
		"a call for no job":       func(x *ledger.Decision) { x.Calls[0].Job = "J9" },
		"an unknown outcome":      func(x *ledger.Decision) { x.Calls[0].Outcome = "maybe" },
		"an unknown visit state":  func(x *ledger.Decision) { x.Visits[0].State = "asleep" },
		"an unknown job state":    func(x *ledger.Decision) { x.Bookings[0].State = "asleep" },
		"an unknown audience":     func(x *ledger.Decision) { x.Messages[0].Audience = "press" },
		"an unknown state":        func(x *ledger.Decision) { x.Messages[0].State = "lost" },
		"sent but never begun":    func(x *ledger.Decision) { x.Messages[0].State = notify.Sent; x.Messages[0].Settled = noon() },
		"a run without hours":     func(x *ledger.Decision) { x.Runs[0].Hours = forecast.Hours{} },
		"an unknown endpoint":     func(x *ledger.Decision) { x.Sources[0].Endpoint = "rumour" },
		"an unknown reader":       func(x *ledger.Decision) { x.Published[0].Reader = "press" },
		"a row for no job":        func(x *ledger.Decision) { x.Published[0].Job = "J9" },
		"a row without an end":    func(x *ledger.Decision) { x.Published[0].Over = job.Date{} },
		"an unknown purpose":      func(x *ledger.Decision) { x.Links[0].Purpose = "gate" },
		"another firm's link":     func(x *ledger.Decision) { x.Links[0].Firm = "another" },
		"another firm's message":  func(x *ledger.Decision) { x.Messages[0].Firm = "another" },
		"no next state":           func(x *ledger.Decision) { x.Next = task.Task{} },
		"negative tries":          func(x *ledger.Decision) { x.Next.Tries = -1 },
		"a chance that is no one": func(x *ledger.Decision) { x.Calls[0].Chance = float64(forecast.Unknown()) },
	} {
		dec := whole(before.Book, held, noon())
		spoil(&dec)
		if err := d.Commit(t.Context(), dec); err == nil {
			t.Errorf("%s was written", name)
		}
		if after := snap(t, d); !reflect.DeepEqual(after, before) {
			t.Fatalf("%s left\n%+v\nbefore\n%+v", name, after, before)
		}
	}
	// a commit that is cancelled on its way
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if err := d.Commit(ctx, whole(before.Book, held, noon())); err == nil {
		t.Error("a cancelled decision was written")
	}
	if after := snap(t, d); !reflect.DeepEqual(after, before) {
		t.Fatalf("a cancelled decision left %+v", after)
	}
	// and the whole one is there, whole
	dec := whole(before.Book, held, noon())
	commit(t, d, dec)
	after := snap(t, d)
	if after.Book.Revision != before.Book.Revision+1 || !reflect.DeepEqual(after.Book.Jobs, dec.Bookings) ||
		!reflect.DeepEqual(after.Book.Visits, dec.Visits) || !reflect.DeepEqual(after.Book.Calls, dec.Calls) ||
		!reflect.DeepEqual(after.Book.Week, dec.Week) || !reflect.DeepEqual(after.Untold, dec.Untold) ||
		!reflect.DeepEqual(after.Sources, dec.Sources) || len(after.Runs) != 1 || len(after.Tasks) != 2 {
		t.Fatalf("decided\n%+v\nkept\n%+v", dec, after)
	}
	if got := message(t, d, dec.Messages[0].ID); !reflect.DeepEqual(got, dec.Messages[0]) {
		t.Fatalf("message\n%+v\nkept\n%+v", dec.Messages[0], got)
	}
}

// testCommitTwice: deciding the same evening again adds nothing, whatever is
// known by then.
func testCommitTwice(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	seed(t, d, callTask(noon()))
	commit(t, d, whole(book(t, d), take(t, d, noon()), noon()))
	first := snap(t, d)

	later := noon().Add(24 * time.Hour)
	again := whole(book(t, d), take(t, d, later), later)
	again.Calls[0].Outcome = call.NoGo
	again.Messages[0].Wire = []byte("another text")
	again.Week, again.Bookings, again.Visits = nil, nil, nil
	commit(t, d, again)
	second := snap(t, d)
	if !reflect.DeepEqual(second.Book.Calls, first.Book.Calls) || !reflect.DeepEqual(second.Mails, first.Mails) ||
		!reflect.DeepEqual(second.Untold, first.Untold) {
		t.Fatalf("first\n%+v\nsecond\n%+v", first, second)
	}
	if got := message(t, d, again.Messages[0].ID).Wire; string(got) == "another text" {
		t.Fatal("the message was rendered anew")
	}
}

// testMark: each decision takes a virtual firm's clock on, never back; a live
// firm has none.
func testMark(t *testing.T, dsn string) {
	d := filled(t, dsn)
	at := func(now time.Time) time.Time {
		t.Helper()
		commit(t, d, ledger.Decision{Firm: uid, Now: now})
		return book(t, d).Mark
	}
	if got := at(noon()); !got.IsZero() {
		t.Fatalf("a new firm has the mark %s", got)
	}
	if err := d.SetLife(t.Context(), uid, ledger.Virtual, noon()); err != nil {
		t.Fatal(err)
	}
	if got := at(noon().Add(time.Hour)); !got.Equal(noon().Add(time.Hour)) {
		t.Fatalf("mark %s", got)
	}
	if got := at(noon()); !got.Equal(noon().Add(time.Hour)) {
		t.Fatalf("the mark went back to %s", got)
	}
}

// testWeeks: the newest plan is in force, older ones are kept for 60 days.
func testWeeks(t *testing.T, dsn string) {
	d := filled(t, dsn)
	put := func(id string, made time.Time) {
		t.Helper()
		b := book(t, d)
		commit(t, d, ledger.Decision{Firm: uid, Revision: b.Revision, Now: made, Week: &plan.Week{ID: id, Made: made}})
		if got := book(t, d).Week; got == nil || got.ID != id {
			t.Fatalf("in force is %+v, want %s", got, id)
		}
	}
	put("a", noon())
	put("b", noon().AddDate(0, 0, 30))
	put("c", noon().AddDate(0, 0, 61))
	put("d", noon().AddDate(0, 0, 61)) // made in the same moment
	put("e", noon().AddDate(0, 0, 60)) // the clock was set back
	ws, err := d.Weeks(t.Context(), uid)
	if err != nil {
		t.Fatal(err)
	}
	var ids []string
	for _, w := range ws {
		ids = append(ids, w.ID)
	}
	if !slices.Equal(ids, []string{"b", "c", "d", "e"}) {
		t.Fatalf("plans kept: %v", ids)
	}
}

// testRivals: many processes decide for one firm at once; each revision is
// given to one of them, and the losers are told so.
func testRivals(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	start := book(t, d).Revision
	const rivals, rounds = 4, 10
	var wg sync.WaitGroup
	var mu sync.Mutex
	won, moved := 0, 0
	for range rivals {
		other := open(t, dsn)
		wg.Go(func() {
			for range rounds {
				b, err := other.Book(background(), uid, job.Date{})
				if err != nil {
					t.Error(err)
					return
				}
				laid := b.Jobs[0]
				laid.LaidM2++
				err = other.Commit(background(), ledger.Decision{Firm: uid, Revision: b.Revision, Now: noon(), Bookings: []job.Booking{laid}})
				mu.Lock()
				switch {
				case err == nil:
					won++
				case errors.Is(err, ledger.ErrMoved):
					moved++
				default:
					t.Error(err)
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	b := book(t, d)
	if won+moved != rivals*rounds || b.Revision != start+int64(won) || b.Jobs[0].LaidM2 != float64(won) {
		t.Fatalf("%d won, %d moved; revision from %d to %d, %v m² laid", won, moved, start, b.Revision, b.Jobs[0].LaidM2)
	}
}
