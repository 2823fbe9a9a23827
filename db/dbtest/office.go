package dbtest

import (
	"errors"
	"reflect"
	"testing"
	"time"

	"laycast/db"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

// testSettings: settings changed by the pages and the firm as they make it are
// kept together, and move the book.
func testSettings(t *testing.T, dsn string) {
	d := filled(t, dsn)
	none, err := d.Settings(t.Context(), uid)
	if err != nil || len(none) != 0 {
		t.Fatalf("%v, %v", none, err)
	}
	f, before := firm(), book(t, d).Revision
	for i, chance := range []string{"75", "80"} {
		e := job.Edits{"bounds.go": chance}
		next, bad := f.With(e, nil)
		if len(bad) > 0 {
			t.Fatal(bad)
		}
		if err := d.PutSettings(t.Context(), next, e, int64(i)+1, "owner@firm.example", noon()); !errors.Is(err, ledger.ErrMoved) {
			t.Fatalf("settings that nobody saw were changed: %v", err)
		}
		if err := d.PutSettings(t.Context(), next, e, int64(i), "owner@firm.example", noon()); err != nil {
			t.Fatal(err)
		}
		if n, err := d.SettingsRevision(t.Context(), uid); err != nil || n != int64(i)+1 {
			t.Fatalf("revision %d, %v", n, err)
		}
		got, err := d.Settings(t.Context(), uid)
		b := book(t, d)
		if err != nil || !reflect.DeepEqual(got, e) || b.Firm.Bounds.Go != next.Bounds.Go || b.Revision != before+int64(i)+1 {
			t.Fatalf("%v, %v, the firm calls go at %v, revision %d", got, err, b.Firm.Bounds.Go, b.Revision)
		}
	}
	if d.PutSettings(t.Context(), f, job.Edits{}, 2, "", noon()) == nil {
		t.Fatal("nobody changed settings")
	}
	f.UID = "nobody"
	if d.PutSettings(t.Context(), f, job.Edits{}, 0, "x", noon()) == nil {
		t.Fatal("settings of no firm were kept")
	}
}

// testNewest: the newest messages, reasons and plans, and no more than asked for.
func testNewest(t *testing.T, dsn string) {
	d := filled(t, dsn)
	week := func(id string, made time.Time) {
		commit(t, d, ledger.Decision{Firm: uid, Revision: book(t, d).Revision, Now: made, Week: &plan.Week{ID: id, Made: made}})
	}
	since := func(at time.Time) (ids string) {
		t.Helper()
		ws, err := d.WeeksSince(t.Context(), uid, at)
		if err != nil {
			t.Fatal(err)
		}
		for _, w := range ws {
			ids += w.ID
		}
		return ids
	}
	if got := since(noon()); got != "" {
		t.Fatalf("plans %q before the first", got)
	}
	for i, id := range []string{"a", "b", "c"} {
		week(id, noon().Add(time.Duration(i)*time.Hour))
	}
	for at, want := range map[time.Duration]string{-time.Minute: "abc", 0: "abc", 90 * time.Minute: "bc", 9 * time.Hour: "c"} {
		if got := since(noon().Add(at)); got != want {
			t.Errorf("since %v: %q, want %q", at, got, want)
		}
	}
	var ms []notify.Message
	for i := range 4 {
		ms = append(ms, mail(notify.KindCall, "", "heron@firm.example", i, noon().Add(time.Duration(i)*time.Minute)))
	}
	u := func(i int) notify.Untold {
		return notify.Untold{Firm: uid, Person: "bob@x.example", At: noon().Add(time.Duration(i) * time.Minute), Reason: string(rune('a' + i))}
	}
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Messages: ms, Untold: []notify.Untold{u(0), u(1), u(2)}})
	newestAre(t, d, ms, u)
}

func newestAre(t *testing.T, d *db.DB, ms []notify.Message, u func(int) notify.Untold) {
	t.Helper()
	got, err := d.NewestMessages(t.Context(), uid, 2)
	if err != nil || len(got) != 2 || got[0].ID != ms[3].ID || got[1].ID != ms[2].ID || got[0].Wire != nil {
		t.Fatalf("%+v, %v", got, err)
	}
	got, err = d.JobMessages(t.Context(), uid, ms[0].Job, 3)
	if err != nil || len(got) != 3 || got[0].ID != ms[3].ID || got[0].Wire != nil {
		t.Fatalf("about a job: %+v, %v", got, err)
	}
	if got, err := d.JobMessages(t.Context(), uid, "none", 3); err != nil || len(got) != 0 {
		t.Fatalf("about no job: %+v, %v", got, err)
	}
	us, err := d.NewestUntold(t.Context(), uid, 2)
	if err != nil || !reflect.DeepEqual(us, []notify.Untold{u(2), u(1)}) {
		t.Fatalf("%+v, %v", us, err)
	}
}

// testEdit: an order and a crew are changed by who saw them last, and by nobody
// else.
func testEdit(t *testing.T, dsn string) {
	d := filled(t, dsn, "J-1")
	b := book(t, d)
	was := b.Jobs[0]
	j := was.Job
	j.Title = "=Porch"
	edit := func(want error, j job.Job, seen int64) {
		t.Helper()
		if err := d.EditJob(t.Context(), uid, j, seen, noon()); !errors.Is(err, want) {
			t.Fatalf("job %s seen at %d: %v, want %v", j.ID, seen, err, want)
		}
	}
	edit(ledger.ErrTaken, j, 0)
	edit(ledger.ErrMoved, j, was.Revision+1)
	edit(nil, j, was.Revision)
	edit(ledger.ErrMoved, j, was.Revision)
	after := book(t, d)
	if got := after.Jobs[0]; got.Title != j.Title || got.Revision != was.Revision+1 || after.Revision != b.Revision+1 || len(after.Visits) != len(b.Visits) {
		t.Fatalf("%+v at revision %d, before %d", got, after.Revision, b.Revision)
	}
	j.ID = "new-one"
	edit(ledger.ErrMoved, j, 1)
	edit(nil, j, 0)
	if got := book(t, d); len(got.Jobs) != len(b.Jobs)+1 || len(got.Visits) != len(b.Visits)+1 {
		t.Fatalf("%d jobs, %d visits", len(got.Jobs), len(got.Visits))
	}
	c := job.Crew{ID: "kite", Name: "Kite", Size: 2, Email: "kite@firm.example"}
	next := c
	next.Size, next.Absences = 3, []job.Date{{Year: 2027, Month: 4, Day: 9}}
	crew := func(want error, c, seen job.Crew) {
		t.Helper()
		if err := d.EditCrew(t.Context(), uid, c, seen, noon()); !errors.Is(err, want) {
			t.Fatalf("crew %s: %v, want %v", c.ID, err, want)
		}
	}
	crew(ledger.ErrMoved, next, c)
	crew(nil, c, job.Crew{})
	crew(ledger.ErrTaken, next, job.Crew{})
	crew(ledger.ErrMoved, next, next)
	crew(nil, next, c)
	crew(ledger.ErrMoved, next, c)
	next.ID = "new-crew"
	crew(nil, next, job.Crew{})
	if got := book(t, d).Crews; len(got) != len(b.Crews)+2 {
		t.Fatalf("%d crews", len(got))
	}
}
