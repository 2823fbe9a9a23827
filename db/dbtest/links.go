package dbtest

import (
	"errors"
	"reflect"
	"sync"
	"testing"
	"time"

	"laycast/db"
	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/notify/calendar"
	"laycast/scheduler/ledger"
)

// linkKey is a link key for tests.
func linkKey() []byte { return []byte("0123456789abcdef0123456789abcdef") }

func aLink(a access.Audience, id string, p access.Purpose, generation int) access.Link {
	return access.New(linkKey(), uid, a, id, p, generation, noon())
}

// published is one calendar row of visit 1 of a job.
func published(id, reader, person string, sequence int, over job.Date) ledger.Published {
	e := calendar.Event{
		UID: calendar.UID(uid, id, 1, notify.Audience(reader)), Sequence: sequence, ChangedAt: noon().Add(time.Duration(sequence) * time.Hour),
		Status: calendar.Confirmed, Summary: "Zinnwerk, Größe 4 m²", Location: "1 Quay", Description: []string{"one", "two"},
		Start: noon(), End: noon().Add(8 * time.Hour),
	}
	return ledger.Published{Job: id, N: 1, Reader: reader, Person: person, Digest: e.Digest(), Over: over, Event: e}
}

func mustLink(t *testing.T, d *db.DB, l access.Link) {
	t.Helper()
	if f, revision, err := d.FeedByHash(t.Context(), l.Hash); err != nil || !reflect.DeepEqual(f, l) || revision < 1 {
		t.Fatalf("the feed's link is %+v at revision %d, %v", f, revision, err)
	}
	got, err := d.LinkByHash(t.Context(), l.Hash)
	if err != nil || !reflect.DeepEqual(got, l) {
		t.Fatalf("link %+v, %v; want %+v", got, err, l)
	}
}

func noLink(t *testing.T, d *db.DB, l access.Link) {
	t.Helper()
	if got, err := d.LinkByHash(t.Context(), l.Hash); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("link %+v, %v; want none", got, err)
	}
}

// testLinks: a link is found by its token's hash, once made it stays, and
// revoking ends the old token in the moment that the new one begins.
func testLinks(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	feed := aLink(access.Customer, "J1@Customer.example", access.Feed, 1)
	noLink(t, d, feed)
	for _, l := range []access.Link{feed, aLink(access.Customer, "j1@customer.example", access.Page, 1),
		aLink(access.Crew, "heron", access.Feed, 1), aLink(access.Owner, "", access.Approve, 1)} {
		if err := d.PutLink(t.Context(), l); err != nil {
			t.Fatal(err)
		}
		mustLink(t, d, l)
	}
	if feed.ID != "j1@customer.example" {
		t.Fatalf("the customer is known as %q", feed.ID)
	}
	// another one of the same name changes nothing
	later := aLink(access.Customer, "j1@customer.example", access.Feed, 7)
	if err := d.PutLink(t.Context(), later); err != nil {
		t.Fatal(err)
	}
	noLink(t, d, later)
	mustLink(t, d, feed)

	before := book(t, d)
	next := aLink(access.Customer, "j1@customer.example", access.Feed, 2)
	if err := d.RevokeLink(t.Context(), uid, feed.Hash, next); err != nil {
		t.Fatal(err)
	}
	noLink(t, d, feed)
	mustLink(t, d, next)
	after := book(t, d)
	if after.Revision != before.Revision+1 {
		t.Fatalf("revoking left the revision at %d, before %d", after.Revision, before.Revision)
	}
	// the old one is gone: nobody can revoke by it again
	if err := d.RevokeLink(t.Context(), uid, feed.Hash, aLink(access.Customer, "j1@customer.example", access.Feed, 3)); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("revoked by a dead hash: %v", err)
	}
	// nor by a link that is another person's
	if err := d.RevokeLink(t.Context(), uid, next.Hash, aLink(access.Crew, "heron", access.Feed, 2)); !errors.Is(err, db.ErrNotFound) {
		t.Fatalf("revoked by another's link: %v", err)
	}
	mustLink(t, d, next)
	ls, err := d.Links(t.Context(), uid)
	if err != nil || len(ls) != 4 || !reflect.DeepEqual(ls, after.Links) || !reflect.DeepEqual(ls, book(t, d).Links) {
		t.Fatalf("links %+v, %v; the book has %+v", ls, err, after.Links)
	}
	// by audience, id and purpose
	if ls[0].Audience != access.Crew || ls[1] != next || ls[2].Purpose != access.Page || ls[3].Audience != access.Owner {
		t.Fatalf("out of order: %+v", ls)
	}
	if err := d.PutLink(t.Context(), access.New(linkKey(), "nobody", access.Owner, "", access.Feed, 1, noon())); err == nil {
		t.Fatal("a link of no firm was kept")
	}
}

// testRevokeRivals: of many who revoke the same link, one does.
func testRevokeRivals(t *testing.T, dsn string) {
	d := filled(t, dsn)
	first := aLink(access.Owner, "", access.Approve, 1)
	if err := d.PutLink(t.Context(), first); err != nil {
		t.Fatal(err)
	}
	next := aLink(access.Owner, "", access.Approve, 2)
	var wg sync.WaitGroup
	results := make(chan error, 8)
	for range cap(results) {
		wg.Go(func() { results <- d.RevokeLink(background(), uid, first.Hash, next) })
	}
	wg.Wait()
	close(results)
	won := 0
	for err := range results {
		switch {
		case err == nil:
			won++
		case !errors.Is(err, db.ErrNotFound):
			t.Error(err)
		}
	}
	if won != 1 {
		t.Fatalf("%d revoked it", won)
	}
	mustLink(t, d, next)
}

// testPublished: rows are put in each other's place, found by reader, and
// dropped when they are long over.
func testPublished(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1", "J2", "J3")
	one := published("J1", "customer", "Ann@Customer.example", 0, day(14))
	two := published("J2", "customer", "ann@customer.EXAMPLE", 0, day(20))
	other := published("J3", "customer", "bob@customer.example", 0, day(14))
	crew, owner := published("J1", "crew/heron", "heron", 0, day(14)), published("J1", "owner", "", 0, day(14))
	b := book(t, d)
	dec := ledger.Decision{Firm: uid, Revision: b.Revision, Now: noon(), Published: []ledger.Published{two, one, other, crew, owner},
		Links: []access.Link{aLink(access.Crew, "heron", access.Feed, 1)}}
	commit(t, d, dec)
	if err := d.Commit(t.Context(), dec); !errors.Is(err, ledger.ErrMoved) {
		t.Fatalf("rows from an old book: %v", err)
	}
	dec.Revision = 0
	if err := d.Commit(t.Context(), dec); err == nil {
		t.Fatal("rows were written without a revision")
	}
	lower := func(p ledger.Published) ledger.Published { p.Person = "ann@customer.example"; return p }
	showsTo(t, d, "customer", "ANN@customer.example", lower(one), lower(two))
	showsTo(t, d, "customer", "bob@customer.example", other)
	showsTo(t, d, "crew/heron", "heron", crew)
	showsTo(t, d, "crew/plover", "plover")
	showsTo(t, d, "owner", "", owner)
	if got := book(t, d).Published; len(got) != 5 {
		t.Fatalf("the book shows %+v", got)
	}

	moved := published("J1", "customer", "ann@customer.example", 1, day(16))
	commit(t, d, ledger.Decision{Firm: uid, Revision: book(t, d).Revision, Now: noon(), Published: []ledger.Published{moved}})
	showsTo(t, d, "customer", "ann@customer.example", moved, lower(two))

	// what was over before the 16th goes; a drop needs no revision
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Dropped: day(16)})
	showsTo(t, d, "customer", "ann@customer.example", moved, lower(two))
	showsTo(t, d, "customer", "bob@customer.example")
	if got := book(t, d).Published; len(got) != 2 {
		t.Fatalf("after the drop the book shows %+v", got)
	}
	// the link of the first decision was kept once
	if ls := book(t, d).Links; len(ls) != 1 || ls[0].ID != "heron" {
		t.Fatalf("links %+v", ls)
	}
}

func showsTo(t *testing.T, d *db.DB, reader, person string, want ...ledger.Published) {
	t.Helper()
	got, err := d.PublishedFor(t.Context(), uid, reader, person)
	if err != nil || !reflect.DeepEqual(got, append([]ledger.Published(nil), want...)) {
		t.Fatalf("%s %q is shown\n%+v, %v; want\n%+v", reader, person, got, err, want)
	}
}
