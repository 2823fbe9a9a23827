package dbtest

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"laycast/db"
	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

func cell(lat float64) forecast.Cell { return forecast.CellOf(lat, -6.25, 50) }

// aRun makes a run with hours that differ by seed, some of them unknown.
func aRun(ep forecast.Endpoint, lat float64, seed int, seen time.Time) forecast.Run {
	members := 1
	if ep == forecast.Ensemble {
		members = 4
	}
	h := forecast.NewHours(noon(), 48, members, forecast.Air, forecast.Rain)
	for i := range h.Cols[forecast.Air] {
		if i%7 != 3 {
			h.Cols[forecast.Air][i] = float32(10 + (i+seed)%9)
			h.Cols[forecast.Rain][i] = float32(i % 3)
		}
	}
	return forecast.Run{
		Source: "replay", Endpoint: ep, Cell: cell(lat), Model: "m", ModelRun: seen.Add(-6 * time.Hour), Hours: h,
		Notes: []string{"dew point derived"}, Digest: fmt.Sprintf("%s-%d", ep, seed), FirstSeen: seen, LastSeen: seen, Changed: seen,
	}
}

// sameRun compares two runs, hours by value: not known equals not known.
func sameRun(a, b forecast.Run) error {
	x, y := a.Hours, b.Hours
	if !x.Start.Equal(y.Start) || x.N != y.N || x.Members != y.Members {
		return fmt.Errorf("hours from %s, %d×%d, and from %s, %d×%d", x.Start, x.N, x.Members, y.Start, y.N, y.Members)
	}
	for v := range forecast.NVars {
		if (x.Cols[v] == nil) != (y.Cols[v] == nil) {
			return fmt.Errorf("%s: one has it, one does not", v)
		}
		for i := range x.Cols[v] {
			if math.Float32bits(x.Cols[v][i]) != math.Float32bits(y.Cols[v][i]) &&
				(forecast.Known(x.Cols[v][i]) || forecast.Known(y.Cols[v][i])) {
				return fmt.Errorf("%s at %d: %v and %v", v, i, x.Cols[v][i], y.Cols[v][i])
			}
		}
	}
	a.Hours, b.Hours = forecast.Hours{}, forecast.Hours{}
	if !reflect.DeepEqual(a, b) {
		return fmt.Errorf("%+v and %+v", a, b)
	}
	return nil
}

func testRuns(t *testing.T, dsn string) {
	d := filled(t, dsn)
	put := func(rs ...forecast.Run) {
		t.Helper()
		commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Runs: rs})
	}
	want := func(rs ...forecast.Run) {
		t.Helper()
		got, err := d.Runs(t.Context(), "replay", []forecast.Cell{cell(53.45), cell(54), cell(55)})
		if err != nil || len(got) != len(rs) {
			t.Fatalf("%d runs, %v; want %d", len(got), err, len(rs))
		}
		for i := range rs {
			if err := sameRun(got[i], rs[i]); err != nil {
				t.Fatalf("run %d: %v", i, err)
			}
		}
	}
	want()
	det := aRun(forecast.Deterministic, 53.45, 1, noon())
	ens := aRun(forecast.Ensemble, 53.45, 2, noon())
	far := aRun(forecast.Deterministic, 54, 1, noon()) // same digest elsewhere
	other := aRun(forecast.Deterministic, 53.45, 9, noon().Add(time.Hour))
	other.Source = "another"
	put(far, ens, det, other)
	want(det, ens, far)

	newer := aRun(forecast.Deterministic, 53.45, 3, noon().Add(time.Hour))
	put(newer)
	want(newer, ens, far)
	// the old one is seen again: with its times alone, no hours needed
	det.LastSeen, det.Changed = noon().Add(2*time.Hour), noon().Add(2*time.Hour)
	bare := det
	bare.Hours = forecast.Hours{}
	bare.Modified, bare.Expires = "Tue, 13 Apr 2027 12:00:00 GMT", noon().Add(3*time.Hour)
	det.Modified, det.Expires = bare.Modified, bare.Expires
	put(bare)
	want(det, ens, far)
	// an older sight does not make it older
	stale := bare
	stale.LastSeen, stale.Changed, stale.Modified, stale.Expires = noon(), noon(), "", time.Time{}
	put(stale)
	want(det, ens, far)

	heads, err := d.Heads(t.Context(), []string{"another", "replay"}, []forecast.Cell{cell(53.45), cell(54), cell(55)})
	if err != nil || len(heads) != 4 {
		t.Fatalf("%d heads, %v", len(heads), err)
	}
	for i, r := range []forecast.Run{other, det, ens, far} {
		r.Hours = forecast.Hours{}
		if err := sameRun(heads[i], r); err != nil {
			t.Fatalf("head %d: %v", i, err)
		}
	}

	got, err := d.RunByDigest(t.Context(), "replay", forecast.Deterministic, cell(53.45), newer.Digest)
	if err != nil {
		t.Fatal(err)
	}
	if err := sameRun(got, newer); err != nil {
		t.Fatal(err)
	}
	if _, err := d.RunByDigest(t.Context(), "replay", forecast.Ensemble, cell(53.45), newer.Digest); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("a run that is not there: %v", err)
	}
}

// testPrune: old runs go, but not those that explain a call.
func testPrune(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	old, kept := aRun(forecast.Deterministic, 53.45, 1, noon()), aRun(forecast.Deterministic, 53.45, 2, noon())
	keptEns, fresh := aRun(forecast.Ensemble, 53.45, 3, noon()), aRun(forecast.Ensemble, 53.45, 4, noon().Add(time.Hour))
	c := aCall("J1", call.Go, call.Evening)
	c.DetDigest, c.EnsDigest = kept.Digest, keptEns.Digest
	deterministicOnly := aCall("J1", call.NoGo, call.SecondLook)
	deterministicOnly.DetDigest, deterministicOnly.EnsDigest = "", ""
	commit(t, d, ledger.Decision{Firm: uid, Revision: book(t, d).Revision, Now: noon(),
		Runs: []forecast.Run{old, kept, keptEns, fresh}, Calls: []call.Call{c, deterministicOnly}})
	if n, err := d.Prune(t.Context(), noon()); n != 0 || err != nil {
		t.Fatalf("%d pruned at their own time, %v", n, err)
	}
	if n, err := d.Prune(t.Context(), noon().Add(time.Hour)); n != 1 || err != nil {
		t.Fatalf("%d pruned, %v", n, err)
	}
	for _, r := range []forecast.Run{kept, keptEns, fresh} {
		if _, err := d.RunByDigest(t.Context(), r.Source, r.Endpoint, r.Cell, r.Digest); err != nil {
			t.Error(err)
		}
	}
	if _, err := d.RunByDigest(t.Context(), old.Source, old.Endpoint, old.Cell, old.Digest); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("the old run: %v", err)
	}
}

// testTimes: every time comes back to the millisecond, and the same moment in
// two zones is the same moment to the database.
func testTimes(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	halifax, err := time.LoadLocation("America/Halifax")
	if err != nil {
		t.Fatal(err)
	}
	kolkata := time.FixedZone("IST", 19800)
	exact := time.Date(2027, 11, 7, 5, 59, 59, 123456789, time.UTC) // the hour that Halifax has twice
	for i, at := range []time.Time{
		exact, exact.In(halifax), exact.In(kolkata), {}, time.UnixMilli(0), time.UnixMilli(-1),
		time.Date(1969, 12, 31, 23, 59, 59, 999_000_000, time.UTC), time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC),
	} {
		m := mail(notify.KindTrouble, "", "a@example", i, at)
		m.NextTry = at
		post(t, d, m)
		got := message(t, d, m.ID)
		if want := at.Truncate(time.Millisecond); !got.Created.Equal(want) || !got.NextTry.Equal(want) || got.Created.IsZero() != at.IsZero() {
			t.Errorf("%s came back as %s", at, got.Created)
		}
		if got.Created.Location() != time.UTC {
			t.Errorf("%s came back in %s", at, got.Created.Location())
		}
	}
	// earlier by the clock on the wall, later in truth
	seed(t, d, replanTask(noon().In(kolkata)), callTask(noon().Add(time.Minute).In(halifax)))
	if x := take(t, d, noon().Add(time.Hour).In(halifax)); x.Name != "replan" {
		t.Fatalf("taken first: %s", x.Name)
	}
	if x := take(t, d, noon().Add(time.Minute).In(kolkata)); x.Name != "call" {
		t.Fatalf("taken second: %s", x.Name)
	}
}

func newBooking(j job.Job) job.Booking {
	return job.Booking{Job: j, Revision: 1, State: job.Booked, NextVisit: 1}
}

// testHostileText: nothing that a customer can write breaks a statement or is
// changed on its way, save what no text column can hold.
func testHostileText(t *testing.T, dsn string) {
	d := filled(t, dsn)
	for i, s := range []string{
		`'; DROP TABLE firms; --`, `$1 ? :a @b`, "tab\tline\r\nend", `back\slash "quoted" {"json":1}`,
		"Zoë 屋根 🏠 \u202e\u0301", "%_<script>&amp;", string(make([]rune, 0)), "\u2028\ufeff",
	} {
		in := order(fmt.Sprintf("J%d %s", i, s))
		in.Title, in.Notes.Access, in.Customer.Name = s, s, s
		b := book(t, d)
		commit(t, d, ledger.Decision{Firm: uid, Revision: b.Revision, Now: noon(),
			Bookings: []job.Booking{newBooking(in)}, Visits: []job.Visit{{Job: in.ID, N: 1, State: job.Planned}}})
		got, err := d.Booking(t.Context(), uid, in.ID)
		if err != nil || !reflect.DeepEqual(got, newBooking(in)) {
			t.Errorf("%q: job %+v, %v", s, got, err)
		}
		c := aCall(in.ID, call.Hold, call.Occasion("change "+s))
		c.Reasons, c.Crew = []string{s}, s
		m := mail(notify.KindTrouble, in.ID, s+"@example", i, noon())
		m.Subject, m.Note, m.Reason = s, s, s
		u := notify.Untold{Firm: uid, Person: s, Job: in.ID, Date: day(14), At: noon(), Reason: s}
		commit(t, d, ledger.Decision{Firm: uid, Revision: book(t, d).Revision, Now: noon(),
			Calls: []call.Call{c}, Messages: []notify.Message{m}, Untold: []notify.Untold{u}})
		if got := message(t, d, m.ID); !reflect.DeepEqual(got, m) {
			t.Errorf("%q: message %+v", s, got)
		}
		calls, err := d.Calls(t.Context(), uid)
		if err != nil || len(calls) != i+1 {
			t.Fatalf("%q: %d calls, %v", s, len(calls), err)
		}
	}
	// no database of the two can hold these in text: marked, not refused
	m := mail(notify.KindTrouble, "", "b@example", 99, noon())
	m.Subject, m.Note = "nul \x00 here", "broken \xff\xfe"
	post(t, d, m)
	if got := message(t, d, m.ID); got.Subject != "nul \uFFFD here" || got.Note != "broken \uFFFD" {
		t.Errorf("marked text: %q, %q", got.Subject, got.Note)
	}
	us, err := d.Untold(t.Context(), uid)
	if err != nil || len(us) != 8 {
		t.Fatalf("%d reasons, %v", len(us), err)
	}
}
