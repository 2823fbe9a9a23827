package dbtest

import (
	"errors"
	"reflect"
	"sync"
	"testing"
	"time"

	"laycast/job"
	"laycast/scheduler/ledger"
)

func line(id, jobID string, n, d, minute int) job.Entry {
	at := noon().Add(time.Duration(minute) * time.Minute)
	return job.Entry{ID: id, Job: jobID, N: n, Date: day(d), Crew: "heron", By: "crew", At: at, Noted: at.Add(time.Second)}
}

func noted(d int64, x job.Diary) ledger.Decision {
	return ledger.Decision{Firm: uid, Revision: d, Now: noon(), Diary: x}
}

// testDiary: lines are added once, come back as they were noted and in that
// order, by visit and by day, and are part of the book.
func testDiary(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1", "J2")
	air, surface := 11.5, 14.25
	want := job.Diary{
		Reports: []job.Report{
			{Entry: line("a", "J1", 1, 14, 0), What: job.Begun},
			{Entry: line("z", "J1", 1, 14, 1), What: job.Halted, Cause: job.ByRain, Because: "shower \"><script> \x00 over the gate"},
			{Entry: line("b", "J1", 1, 14, 1), What: job.Sealed}, // the same moment: the order is that of coming
		},
		Readings: []job.Reading{{Entry: line("c", "J1", 1, 14, 2), AirC: &air, SurfaceC: &surface, Note: "in the shade"}},
		Batches:  []job.Batch{{Entry: line("d", "J1", 1, 14, 3), ResinKg: 2.5, Lot: "K-7", DosePct: 2, AreaM2: 1.1}},
	}
	commit(t, d, noted(book(t, d).Revision, want))

	got, err := d.Diary(t.Context(), uid, "J1", 1)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Fatalf("the diary is %+v, %v\nwant %+v", got, err, want)
	}
	b := book(t, d)
	if !reflect.DeepEqual(b.Diary, want) {
		t.Errorf("the book's diary is %+v", b.Diary)
	}
	changed := want
	changed.Reports = []job.Report{{Entry: line("a", "J1", 1, 14, 9), What: job.Topcoated}}
	changed.Readings, changed.Batches = nil, nil
	commit(t, d, noted(b.Revision, changed))
	if again, _ := d.Diary(t.Context(), uid, "J1", 0); !reflect.DeepEqual(again, want) {
		t.Errorf("a line sent again changed the diary: %+v", again)
	}
	for name, x := range map[string]int{"another visit": 2, "no visit": 99} {
		if got, err := d.Diary(t.Context(), uid, "J1", x); err != nil || got.Len() != 0 {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	if got, _ := d.Diary(t.Context(), uid, "J2", 0); got.Len() != 0 {
		t.Errorf("another job: %+v", got)
	}
	late, err := d.Book(t.Context(), uid, day(15))
	if err != nil || late.Diary.Len() != 0 {
		t.Errorf("from the day after: %+v, %v", late.Diary, err)
	}
}

// testDiaryGuards: what is noted moves the book, so that a decision which had
// not seen it is computed again; lines of no job and without a time are refused.
func testDiaryGuards(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	rev := book(t, d).Revision
	commit(t, d, noted(rev, job.Diary{Reports: []job.Report{{Entry: line("a", "J1", 1, 14, 0), What: job.Sealed}}}))
	closing := ledger.Decision{Firm: uid, Revision: rev, Now: noon(), Visits: []job.Visit{{Job: "J1", N: 1, State: job.Broken}}}
	if err := d.Commit(t.Context(), closing); !errors.Is(err, ledger.ErrMoved) {
		t.Errorf("a closing that had not seen the report: %v", err)
	}
	timeless := line("b", "J1", 1, 14, 0)
	timeless.At = time.Time{}
	for name, e := range map[string]job.Entry{"no such job": line("c", "J9", 1, 14, 0), "no time": timeless, "no id": line("", "J1", 1, 14, 0)} {
		x := job.Diary{Readings: []job.Reading{{Entry: e}}}
		if err := d.Commit(t.Context(), noted(book(t, d).Revision, x)); err == nil {
			t.Errorf("%s: it was taken", name)
		}
	}
	if got, _ := d.Diary(t.Context(), uid, "J1", 0); got.Len() != 1 {
		t.Errorf("the diary has %d lines, want 1", got.Len())
	}
}

// testDiaryRivals: many who note at once lose nothing and double nothing.
func testDiaryRivals(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	const people, each = 6, 4
	var wg sync.WaitGroup
	for p := range people {
		wg.Go(func() {
			for i := range each {
				e := line(string(rune('a'+p))+string(rune('0'+i)), "J1", 1, 14, i)
				for range 2 { // twice: a double tap
					for {
						b, err := d.Book(background(), uid, job.Date{})
						if err == nil {
							err = d.Commit(background(), noted(b.Revision, job.Diary{Reports: []job.Report{{Entry: e, What: job.Begun}}}))
						}
						if errors.Is(err, ledger.ErrMoved) {
							continue
						}
						if err != nil {
							t.Error(err)
						}
						break
					}
				}
			}
		})
	}
	wg.Wait()
	got, err := d.Diary(t.Context(), uid, "J1", 1)
	if err != nil || len(got.Reports) != people*each {
		t.Fatalf("%d lines, %v; want %d", len(got.Reports), err, people*each)
	}
}
