package dbtest

import (
	"bytes"
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	"laycast/db"
	"laycast/db/archive"
	"laycast/job"
	"laycast/job/access"
	"laycast/job/aslaid"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

// traits are what tells who the customer of the erasing tests is.
func traits() []string {
	return []string{"Zinnober", "902 555 0188", "17 Gannet Wynd", "blue pot", "rear lane", "44.61234"}
}

// withCustomer fills a database with a customer of two jobs, one of another's, and
// rows about the first in every table that has such.
func withCustomer(t *testing.T, dsn string) *db.DB {
	d := filled(t, dsn, "J2")
	hers := func(id, email string) job.Job {
		j := order(id)
		j.Title, j.Phone, j.Invite = "Zinnober back kitchen roof", "902 555 0188", true
		j.Customer = job.Customer{Name: "Orla Zinnober", Email: email}
		j.Site.Address, j.Site.Lat = "17 Gannet Wynd", 44.61234
		j.Notes = job.Notes{Access: "key under the blue pot by the shed", Parking: "in the rear lane"}
		return j
	}
	in := job.Import{Jobs: []job.Job{hers("J1", "orla@zinnober.example"), hers("J3", "Orla@Zinnober.example")}}
	if _, err := d.Import(t.Context(), uid, in, noon()); err != nil {
		t.Fatal(err)
	}
	own := mail(notify.KindDateTold, "J1", "Orla@Zinnober.example", 1, noon())
	own.Wire, own.Reason = []byte("To: Orla@Zinnober.example\r\n\r\nDear Orla Zinnober, we come."), "her roof"
	crews := mail(notify.KindCall, "J1", "heron@saltbox.example", 2, noon())
	crews.Audience, crews.Wire = notify.ToCrew, []byte("\r\n17 Gannet Wynd, key under the blue pot by the shed")
	week := mail(notify.KindWeek, "", "office@saltbox.example", 3, noon())
	week.Audience, week.Subject, week.Wire = notify.ToOwner, "Your week", []byte("\r\nOn Monday 17 Gannet\r\nWynd, on Tuesday 1 Quay")
	others := mail(notify.KindDateTold, "J2", "J2@customer.example", 4, noon())
	others.Wire = []byte("\r\nyour roof at 1 Quay")
	post(t, d, own, crews, week, others)
	day14 := line("said", "J1", 1, 14, 0)
	said := job.Report{Entry: day14, What: job.Halted, Cause: job.ByOthers, Because: "Mrs Zinnober was not in"}
	plain := job.Report{Entry: line("plain", "J1", 1, 14, 1), What: job.Begun}
	commit(t, d, ledger.Decision{Firm: uid, Revision: book(t, d).Revision, Now: noon(),
		Untold:    []notify.Untold{{Firm: uid, Person: "orla@zinnober.example", Job: "J1", Date: day(14), At: noon(), Reason: "Orla Zinnober asked"}},
		Links:     []access.Link{aLink(access.Customer, "orla@zinnober.example", access.Page, 1), aLink(access.Customer, "J2@customer.example", access.Page, 1)},
		Published: []ledger.Published{published("J1", "customer", "orla@zinnober.example", 0, day(14)), published("J1", "owner", "", 0, day(14)), published("J2", "owner", "", 0, day(14))},
		Diary:     job.Diary{Reports: []job.Report{said, plain}},
		Week: &plan.Week{ID: "w", Made: noon(), Left: []plan.WeekLeft{{Job: "J1", Reason: "kept out: deposit of Zinnober"}},
			Changes: []plan.WeekChange{{Job: "J2", Reason: "rain"}}},
		Records: []aslaid.Record{{Job: "J1", Date: day(14), Day: aslaid.Day{Firm: "Saltbox", Outcome: "laid", Closed: noon()}, Reports: []job.Report{plain}}},
	})
	if err := errors.Join(
		d.PutPhoto(t.Context(), uid, "J1", day(15), aslaid.Photo{ID: "p", By: "crew", At: noon(), Note: "Zinnober's deck"}, []byte{1}),
		d.Stop(t.Context(), uid, "orla@zinnober.example", notify.KindWeek, true, noon()),
		d.PutDeed(t.Context(), access.Deed{ID: "d1", Firm: uid, At: noon(), Who: "office@saltbox.example", Did: "make a link", About: "orla@zinnober.example"}),
		d.PutDeed(t.Context(), access.Deed{ID: "d2", Firm: uid, At: noon(), Who: "office@saltbox.example", Did: "hold", About: "J1", Detail: "Zinnober has not paid"}),
	); err != nil {
		t.Fatal(err)
	}
	return d
}

// sendAll settles every message that is under way.
func sendAll(t *testing.T, d *db.DB) {
	t.Helper()
	for {
		m, ok, err := d.ClaimMessage(t.Context(), uid, noon().Add(time.Minute), time.Minute)
		if err != nil {
			t.Fatal(err)
		}
		if !ok {
			return
		}
		if err := d.BeginMessage(t.Context(), m, noon().Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
		m.Begun = noon().Add(time.Minute)
		settle(t, d, m, notify.Sent, noon().Add(time.Minute))
	}
}

func endJobs(t *testing.T, d *db.DB, state job.State, ids ...string) {
	t.Helper()
	dec := ledger.Decision{Firm: uid, Revision: book(t, d).Revision, Now: noon()}
	for _, b := range book(t, d).Jobs {
		for _, id := range ids {
			if b.ID == id {
				b.State = state
				dec.Bookings = append(dec.Bookings, b)
			}
		}
	}
	commit(t, d, dec)
}

// asIs reads a mail of these tests.
func asIs(wire []byte) (string, error) { return string(wire), nil }

// dumped is everything that the database holds, the mails as they are.
func dumped(t *testing.T, d *db.DB) string {
	t.Helper()
	var b bytes.Buffer
	if _, err := d.Backup(t.Context(), &b, ""); err != nil {
		t.Fatal(err)
	}
	ms, err := d.Messages(t.Context(), uid)
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range ms {
		b.Write(message(t, d, m.ID).Wire)
	}
	return b.String()
}

// testErase: a customer with work to come is not erased; once erased, nothing in
// the whole database tells who it was, other customers have everything that they
// had, and the chain of records holds.
func testErase(t *testing.T, dsn string) {
	d := withCustomer(t, dsn)
	erase := func(who string) (db.Erasure, error) {
		return d.EraseCustomer(t.Context(), uid, who, "command line", noon().Add(time.Hour), asIs)
	}
	if _, err := erase("J1"); !errors.Is(err, db.ErrStillBooked) || !strings.Contains(err.Error(), "laycast job cancel J1") {
		t.Fatalf("with a job booked: %v", err)
	}
	endJobs(t, d, job.Done, "J1")
	endJobs(t, d, job.Cancelled, "J3")
	if _, err := erase("J1"); !errors.Is(err, db.ErrStillBooked) || !strings.Contains(err.Error(), "under way") {
		t.Fatalf("with mails under way: %v", err)
	}
	sendAll(t, d)
	before := dumped(t, d)
	for _, w := range traits() {
		if !strings.Contains(before, w) {
			t.Fatalf("%q does not stand in the database, so this test shows nothing", w)
		}
	}
	revision := book(t, d).Revision
	got, err := erase("orla@ZINNOBER.example")
	if err != nil {
		t.Fatal(err)
	}
	if strings.Join(got.Jobs, " ") != "J1 J3" || got.Blanked != 3 || got.Deleted != 5 || got.Mended != 5 || got.Records == 0 || len(got.Speaking) != 0 || !got.Swept {
		t.Errorf("erasing came to %+v", got)
	}
	after := dumped(t, d)
	for _, w := range append(traits(), "zinnober") {
		if i := strings.Index(after, w); i >= 0 {
			t.Errorf("%q still stands in the database: ...%s...", w, after[max(0, i-150):min(len(after), i+100)])
		}
	}
	inFile(t, dsn)
	b := book(t, d)
	if b.Revision <= revision || b.Jobs[0].State != job.Done || b.Jobs[0].Roof.AreaM2 != 18.5 || b.Jobs[1].ID != "J2" || b.Jobs[1].Site.Address != "1 Quay" {
		t.Errorf("the book is %+v", b.Jobs)
	}
	for _, m := range []notify.Message{mail(notify.KindDateTold, "J2", "J2@customer.example", 4, noon())} {
		if x := message(t, d, m.ID); string(x.Wire) != "\r\nyour roof at 1 Quay" || x.Subject != m.Subject {
			t.Errorf("another's mail became %+v", x)
		}
	}
	mustLink(t, d, aLink(access.Customer, "j2@customer.example", access.Page, 1))
	noLink(t, d, aLink(access.Customer, "orla@zinnober.example", access.Page, 1))
	rows, err := d.Records(t.Context(), uid, "")
	if err != nil || len(rows) == 0 || aslaid.Verify(rows) != nil {
		t.Errorf("the chain of %d records: %v, %v", len(rows), err, aslaid.Verify(rows))
	}
	ds, err := d.Deeds(t.Context(), uid, 1)
	if err != nil || ds[0].Did != "erase a customer" || ds[0].Who != "command line" || ds[0].About != "J1" {
		t.Errorf("the deed is %+v, %v", ds, err)
	}
	if _, err := erase("orla@zinnober.example"); !errors.Is(err, db.ErrNotFound) {
		t.Errorf("erased twice: %v", err)
	}
}

// inFile looks at the bytes of SQLite's files, where deleted rows may stand on.
func inFile(t *testing.T, dsn string) {
	t.Helper()
	path, lite := strings.CutPrefix(dsn, "sqlite:")
	if !lite {
		return
	}
	for _, end := range []string{"", "-wal"} {
		b, err := os.ReadFile(path + end)
		if err != nil && (end == "" || !os.IsNotExist(err)) {
			t.Fatal(err)
		}
		for _, w := range traits() {
			if bytes.Contains(b, []byte(w)) {
				t.Errorf("%q still stands in the file laycast.db%s", w, end)
			}
		}
	}
}

// testEraseSpeaking: what a crew wrote into a closed record stays, and is told of.
func testEraseSpeaking(t *testing.T, dsn string) {
	d := withCustomer(t, dsn)
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Records: []aslaid.Record{{Job: "J1", Date: day(16), Day: aslaid.Day{Outcome: "not laid", Closed: noon()},
		Reports: []job.Report{{Entry: line("x", "J1", 1, 16, 0), What: job.Halted, Because: "no answer at 17 Gannet Wynd"}}}}})
	endJobs(t, d, job.Done, "J1", "J3")
	sendAll(t, d)
	got, err := d.EraseCustomer(t.Context(), uid, "Orla Zinnober", "command line", noon(), asIs)
	if err != nil || len(got.Speaking) != 1 {
		t.Fatalf("%+v, %v; want one row of the records that tells", got, err)
	}
	rows, err := d.Records(t.Context(), uid, "")
	if err != nil || aslaid.Verify(rows) != nil || !strings.Contains(rows[got.Speaking[0]-1].Body, "Gannet") {
		t.Errorf("the chain: %v, %v", err, aslaid.Verify(rows))
	}
}

// testCustomerRows: what is kept about a customer is found whole, and nothing of
// another's; names that several have are refused.
func testCustomerRows(t *testing.T, dsn string) {
	d := withCustomer(t, dsn)
	for _, who := range []string{"J3", "orla@zinnober.example", " orla zinnober"} {
		c, err := d.FindCustomer(t.Context(), uid, who)
		if err != nil || c.Email != "orla@zinnober.example" || len(c.Jobs) != 2 {
			t.Fatalf("%q is %+v, %v", who, c, err)
		}
	}
	for _, who := range []string{"", "nobody", "J"} {
		if _, err := d.FindCustomer(t.Context(), uid, who); !errors.Is(err, db.ErrNotFound) {
			t.Errorf("%q: %v", who, err)
		}
	}
	c, err := d.FindCustomer(t.Context(), uid, "J1")
	if err != nil {
		t.Fatal(err)
	}
	n := map[string]int{}
	err = d.CustomerRows(t.Context(), uid, c, func(tab archive.Table, row archive.Row) error {
		n[tab.Name]++
		if len(row) != len(tab.Columns) {
			t.Errorf("a row of %s has %d values", tab.Name, len(row))
		}
		return nil
	})
	want := map[string]int{"jobs": 2, "visits": 2, "diary": 2, "records": n["records"], "photos": 1, "links": 1, "published": 2, "messages": 2, "untold": 1, "stopped": 1, "deeds": 2}
	if err != nil || n["records"] < 2 || len(n) != len(want) {
		t.Errorf("rows by table: %v, %v", n, err)
	}
	for k, v := range want {
		if n[k] != v {
			t.Errorf("%d rows of %s, want %d", n[k], k, v)
		}
	}
	twin := order("J9")
	twin.Customer.Name = "Orla Zinnober"
	if _, err := d.Import(t.Context(), uid, job.Import{Jobs: []job.Job{twin}}, noon()); err != nil {
		t.Fatal(err)
	}
	if _, err := d.FindCustomer(t.Context(), uid, "Orla Zinnober"); err == nil || !strings.Contains(err.Error(), "j9@customer.example") {
		t.Errorf("a name of two: %v", err)
	}
}
