package dbtest

import (
	"errors"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"laycast/db"
	"laycast/job"
	"laycast/scheduler/ledger"
)

// testOpen: several processes may create the same database together, and
// opening it again finds what is there.
func testOpen(t *testing.T, dsn string) {
	var wg sync.WaitGroup
	errs := make([]error, 6)
	for i := range errs {
		wg.Go(func() {
			d, err := db.Open(background(), dsn)
			if err == nil {
				err = d.Close()
			}
			errs[i] = err
		})
	}
	wg.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	d := filled(t, dsn, "J1")
	if err := d.Ping(t.Context()); err != nil {
		t.Fatal(err)
	}
	if got := book(t, open(t, dsn)); len(got.Jobs) != 1 || got.Jobs[0].ID != "J1" {
		t.Fatalf("the second opening reads %+v", got.Jobs)
	}
}

func testFirm(t *testing.T, dsn string) {
	d := open(t, dsn)
	if _, err := d.Book(t.Context(), uid, job.Date{}); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("book of no firm: %v", err)
	}
	got, err := d.SetFirm(t.Context(), firm())
	if err != nil || !reflect.DeepEqual(got, firm()) {
		t.Fatalf("kept %+v, %v", got, err)
	}
	b := book(t, d)
	if b.Revision != 1 || b.Life != ledger.New || !b.Mark.IsZero() || b.Week != nil {
		t.Fatalf("a new firm's book is %+v", b)
	}
	if _, err := d.SetFirm(t.Context(), firm()); err != nil || book(t, d).Revision != 1 {
		t.Fatalf("the same settings again: revision %d, %v", book(t, d).Revision, err)
	}
	f := firm()
	f.Bounds.Go = 0.75
	if got, err = d.SetFirm(t.Context(), f); err != nil || got.Bounds.Go != 0.75 || book(t, d).Revision != 2 {
		t.Fatalf("changed settings: %v, revision %d, %v", got.Bounds, book(t, d).Revision, err)
	}
	f.UID = "another"
	if _, err = d.SetFirm(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	if uids, err := d.Firms(t.Context()); err != nil || !slices.Equal(uids, []string{"another", uid}) {
		t.Fatalf("firms %v, %v", uids, err)
	}
	if _, err := d.SetFirm(t.Context(), job.Firm{}); err == nil {
		t.Fatal("a firm without uid was kept")
	}
}

func testLife(t *testing.T, dsn string) {
	d := filled(t, dsn)
	set := func(uid string, life ledger.Life, mark time.Time) error {
		return d.SetLife(t.Context(), uid, life, mark)
	}
	if err := set("nobody", ledger.Live, noon()); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("life of no firm: %v", err)
	}
	if err := set(uid, ledger.Virtual, noon()); err != nil {
		t.Fatal(err)
	}
	// again, earlier: the clock does not go back
	if err := set(uid, ledger.Virtual, noon().Add(-time.Hour)); err != nil {
		t.Fatal(err)
	}
	if b := book(t, d); b.Life != ledger.Virtual || !b.Mark.Equal(noon()) {
		t.Fatalf("life %s, mark %s", b.Life, b.Mark)
	}
	if err := set(uid, ledger.Live, noon()); err == nil || !strings.Contains(err.Error(), "virtual clock") {
		t.Fatalf("a virtual firm went live: %v", err)
	}
	f := firm()
	f.UID = "real"
	if _, err := d.SetFirm(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		if err := set("real", ledger.Live, time.Time{}); err != nil {
			t.Fatal(err)
		}
	}
	if err := set("real", ledger.Virtual, noon()); err == nil || !strings.Contains(err.Error(), "is live") {
		t.Fatalf("a live firm became virtual: %v", err)
	}
	if err := set("real", "asleep", noon()); err == nil {
		t.Fatal("an unknown life was taken")
	}
}

// testHold: one holder at a time, whoever asks; the leases of a dead holder
// are freed by the next.
func testHold(t *testing.T, dsn string) {
	a, b := filled(t, dsn), open(t, dsn)
	release, err := a.Hold(t.Context(), uid)
	if err != nil {
		t.Fatal(err)
	}
	for name, d := range map[string]*db.DB{"another process": b, "the same process": a} {
		if _, err := d.Hold(t.Context(), uid); err == nil || !strings.Contains(err.Error(), uid) {
			t.Fatalf("%s held it too: %v", name, err)
		}
	}
	release()
	release() // twice does no harm
	again, err := b.Hold(t.Context(), uid)
	if err != nil {
		t.Fatalf("after release: %v", err)
	}
	defer again()
	if _, err := a.Hold(t.Context(), uid); err == nil {
		t.Fatal("held by two after the first one's second release")
	}
}

func testImport(t *testing.T, dsn string) {
	d := open(t, dsn)
	if _, err := d.SetFirm(t.Context(), firm()); err != nil {
		t.Fatal(err)
	}
	in := job.Import{Crews: []job.Crew{crew("plover"), crew("heron")}, Jobs: []job.Job{order("J2"), order("J1")}}
	imported := func(want db.ImportReport, revision int64) {
		t.Helper()
		rep, err := d.Import(t.Context(), uid, in, noon())
		if err != nil || rep != want {
			t.Fatalf("import: %+v, %v; want %+v", rep, err, want)
		}
		if got := book(t, d).Revision; got != revision {
			t.Fatalf("revision %d, want %d", got, revision)
		}
	}
	imported(db.ImportReport{CrewsNew: 2, JobsNew: 2}, 2)
	imported(db.ImportReport{CrewsSame: 2, JobsSame: 2}, 2)

	b := book(t, d)
	wantJobs := []job.Booking{
		{Job: order("J1"), Revision: 1, State: job.Booked, NextVisit: 1},
		{Job: order("J2"), Revision: 1, State: job.Booked, NextVisit: 1}}
	wantVisits := []job.Visit{{Job: "J1", N: 1, State: job.Planned}, {Job: "J2", N: 1, State: job.Planned}}
	if !reflect.DeepEqual(b.Jobs, wantJobs) || !reflect.DeepEqual(b.Visits, wantVisits) ||
		!reflect.DeepEqual(b.Crews, []job.Crew{crew("heron"), crew("plover")}) {
		t.Fatalf("book after import: %+v", b)
	}
	// progress is kept when the order changes
	half := b.Jobs[0]
	half.LaidM2, half.SealedOn = 8.5, day(9)
	commit(t, d, ledger.Decision{Firm: uid, Revision: b.Revision, Now: noon(), Bookings: []job.Booking{half}})
	in.Jobs[1].Value = 190000
	in.Crews[0].Absences = []job.Date{day(15)}
	imported(db.ImportReport{CrewsSame: 1, CrewsChanged: 1, JobsSame: 1, JobsChanged: 1}, 4)
	got, err := d.Booking(t.Context(), uid, "J1")
	if err != nil || got.Value != 190000 || got.LaidM2 != 8.5 || got.SealedOn != day(9) || got.Revision != 2 {
		t.Fatalf("changed job: %+v, %v", got, err)
	}
	if vs, err := d.Visits(t.Context(), uid); err != nil || len(vs) != 2 {
		t.Fatalf("visits %+v, %v", vs, err)
	}
	if _, err := d.Booking(t.Context(), uid, "J9"); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("a job that is not there: %v", err)
	}
	if _, err := d.Booking(t.Context(), "another", "J1"); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("another firm's job: %v", err)
	}
}

// testImportWhole: one bad row, and nothing of the file is taken.
func testImportWhole(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	before := book(t, d)
	for name, in := range map[string]job.Import{
		"a job twice":      {Crews: []job.Crew{crew("gannet")}, Jobs: []job.Job{order("J2"), order("J2")}},
		"a job without id": {Crews: []job.Crew{crew("gannet")}, Jobs: []job.Job{order("J2"), order("")}},
		"a crew twice":     {Crews: []job.Crew{crew("gannet"), crew("gannet")}, Jobs: []job.Job{order("J2")}},
	} {
		if rep, err := d.Import(t.Context(), uid, in, noon()); err == nil || rep != (db.ImportReport{}) {
			t.Errorf("%s: %+v, %v", name, rep, err)
		}
	}
	if after := book(t, d); !reflect.DeepEqual(after, before) {
		t.Fatalf("refused imports left %+v, before %+v", after, before)
	}
	if _, err := d.Import(t.Context(), "nobody", job.Import{}, noon()); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("import into no firm: %v", err)
	}
}
