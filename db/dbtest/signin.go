package dbtest

import (
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"laycast/db"
	"laycast/job/access"
	"laycast/notify"
)

func ask(t *testing.T, d *db.DB, token, person string, known bool, now time.Time) bool {
	t.Helper()
	m := mail(notify.KindSignIn, "", person, 0, now)
	m.ID, m.Occasion = "s"+token, token
	ok, err := d.AskSignIn(t.Context(), access.NewSignIn(token, uid, person, known, now), []notify.Message{m})
	if err != nil {
		t.Fatal(err)
	}
	return ok
}

func use(t *testing.T, d *db.DB, token string, now time.Time) string {
	t.Helper()
	open, err := d.SignInOpen(t.Context(), uid, access.HashOf(token), now)
	if err != nil {
		t.Fatal(err)
	}
	person, ok, err := d.UseSignIn(t.Context(), uid, access.HashOf(token), now)
	if err != nil || ok != open || ok != (person != "") {
		t.Fatalf("open %v, used %v as %q, %v", open, ok, person, err)
	}
	return person
}

// testSignIn: a link signs its person in once, in time, and nobody else; the
// mail goes to those who may and to nobody else; an address asks so often.
func testSignIn(t *testing.T, dsn string) {
	d := filled(t, dsn)
	now := noon()
	if !ask(t, d, "A", "Owner@Firm.example", true, now) || !ask(t, d, "B", "stranger@x.example", false, now) || !ask(t, d, "C", "owner@firm.example", true, now) {
		t.Fatal("not taken")
	}
	all, err := d.Messages(t.Context(), uid)
	if err != nil || len(all) != 2 {
		t.Fatalf("%d mails, %v; want two, to the owner", len(all), err)
	}
	if p := use(t, d, "B", now); p != "" {
		t.Fatalf("a stranger signs in as %q", p)
	}
	if p := use(t, d, "A", now.Add(access.SignInLasts)); p != "" {
		t.Fatal("a link that is over signs in")
	}
	if p := use(t, d, "A", now.Add(access.SignInLasts-time.Second)); p != "owner@firm.example" {
		t.Fatalf("signs in %q", p)
	}
	for _, token := range []string{"A", "C", "none"} { // used, ended by the use of the other, never was
		if p := use(t, d, token, now.Add(access.SignInLasts-time.Second)); p != "" {
			t.Fatalf("%s signs in %q", token, p)
		}
	}
	if _, ok, err := d.UseSignIn(t.Context(), "other", access.HashOf("A"), now); ok || err == nil {
		t.Fatal("another firm used it")
	}
	for i := range access.SignInsAnHour {
		if ok := ask(t, d, strings.Repeat("D", i+1), "often@firm.example", true, now.Add(time.Duration(i)*time.Minute)); !ok {
			t.Fatalf("not taken at time %d", i)
		}
	}
	if ask(t, d, "E", "often@firm.example", true, now.Add(time.Hour-time.Second)) {
		t.Fatal("asked too often")
	}
	if !ask(t, d, "F", "often@firm.example", true, now.Add(time.Hour+time.Second)) {
		t.Fatal("an hour later it is not taken")
	}
}

// testSignInRivals: of many who use one link, one signs in.
func testSignInRivals(t *testing.T, dsn string) {
	d := filled(t, dsn)
	ask(t, d, "A", "owner@firm.example", true, noon())
	var wg sync.WaitGroup
	var mu sync.Mutex
	won := 0
	for range 8 {
		wg.Go(func() {
			_, ok, err := d.UseSignIn(background(), uid, access.HashOf("A"), noon())
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				t.Error(err)
			}
			if ok {
				won++
			}
		})
	}
	wg.Wait()
	if won != 1 {
		t.Fatalf("%d signed in", won)
	}
}

// testSessions: a session ends when it lies unused, and at its whole age however
// much it is used; what ends one ends no other.
func testSessions(t *testing.T, dsn string) {
	d := filled(t, dsn)
	put := func(hash, body string, now time.Time) {
		t.Helper()
		if err := d.PutSession(t.Context(), uid, hash, []byte(body), now); err != nil {
			t.Fatal(err)
		}
	}
	look := func(firm, hash string, now time.Time) string {
		t.Helper()
		b, ok, err := d.Session(t.Context(), firm, hash, now)
		if err != nil || ok != (b != nil) {
			t.Fatalf("%q, %v, %v", b, ok, err)
		}
		return string(b)
	}
	now := noon()
	put("a", "one", now)
	put("a", "two", now.Add(time.Minute))
	put("b", "other", now)
	if got := look(uid, "a", now); got != "two" {
		t.Fatalf("reads %q", got)
	}
	if look("elsewhere", "a", now) != "" || look(uid, "c", now) != "" {
		t.Fatal("a session of nobody")
	}
	last := now
	for i := 1; i <= 3; i++ { // used every twelve days
		last = now.Add(time.Duration(i) * 12 * 24 * time.Hour) // elapsed
		want := "two"
		if i == 3 {
			want = ""
		}
		if got := look(uid, "a", last); got != want {
			t.Fatalf("after %d times twelve days it reads %q", i, got)
		}
	}
	if look(uid, "b", now.Add(access.SessionIdle)) != "" {
		t.Fatal("an idle session opens")
	}
	if look(uid, "b", now.Add(access.SessionIdle-time.Second)) != "other" {
		t.Fatal("it ends too early")
	}
	if err := d.EndSession(t.Context(), uid, "b"); err != nil {
		t.Fatal(err)
	}
	if err := d.EndSession(t.Context(), uid, "b"); err != nil {
		t.Fatal(err)
	}
	if look(uid, "b", now) != "" || look(uid, "a", now) != "two" {
		t.Fatal("the wrong one ended")
	}
	put("c", "new", last) // those that are over go
	if look(uid, "a", now) != "" {
		t.Fatal("what is over is still kept")
	}
}

// testForgetSignIns: what is over of sign-ins and sessions is in the database no
// more, what is not stays.
func testForgetSignIns(t *testing.T, dsn string) {
	d := filled(t, dsn)
	now := noon()
	if !ask(t, d, "A", "stranger@x.example", false, now) || !ask(t, d, "B", "late@x.example", false, now.Add(access.SignInsKept)) {
		t.Fatal("not taken")
	}
	for _, hash := range []string{"old", "new"} {
		at := now
		if hash == "new" {
			at = now.Add(access.SessionIdle - time.Hour)
		}
		if err := d.PutSession(t.Context(), uid, hash, []byte("of "+hash), at); err != nil {
			t.Fatal(err)
		}
	}
	left := func(want, not []string) {
		t.Helper()
		all := dumped(t, d)
		for _, w := range want {
			if !strings.Contains(all, w) {
				t.Errorf("%s is gone", w)
			}
		}
		for _, w := range not {
			if strings.Contains(all, w) {
				t.Errorf("%s is still kept", w)
			}
		}
	}
	forget := func(at time.Time) {
		t.Helper()
		if err := d.ForgetSignIns(t.Context(), uid, at); err != nil {
			t.Fatal(err)
		}
	}
	old, fresh := `{"hash":"old"`, `{"hash":"new"`
	forget(now.Add(access.SignInsKept))
	left([]string{"stranger@x.example", "late@x.example", old, fresh}, nil)
	if err := d.ForgetSignIns(t.Context(), "another", now.AddDate(1, 0, 0)); err != nil {
		t.Fatal(err)
	}
	left([]string{"stranger@x.example", old}, nil) // another firm's clock is its own
	forget(now.Add(access.SignInsKept + time.Minute))
	left([]string{"late@x.example", old, fresh}, []string{"stranger@x.example"})
	forget(now.Add(access.SessionIdle))
	left([]string{fresh}, []string{"late@x.example", old})
	forget(now.Add(access.SessionLasts + access.SessionIdle))
	left(nil, []string{fresh})
}

// testDeeds: what somebody did is recorded before it is done, and ends once.
func testDeeds(t *testing.T, dsn string) {
	d := filled(t, dsn)
	x := access.Deed{ID: "1", Firm: uid, At: noon(), Who: "owner@firm.example", Did: "hold", About: "J1", Detail: "Zinn\n<b>", Outcome: access.DeedBegun}
	y := x
	y.ID, y.At = "2", noon().Add(time.Minute)
	for _, v := range []access.Deed{x, y} {
		if err := d.PutDeed(t.Context(), v); err != nil {
			t.Fatal(err)
		}
	}
	if err := d.PutDeed(t.Context(), x); err == nil {
		t.Fatal("recorded twice")
	}
	if err := d.EndDeed(t.Context(), uid, "1", access.DeedDone); err != nil {
		t.Fatal(err)
	}
	if d.EndDeed(t.Context(), uid, "1", "again") == nil || d.EndDeed(t.Context(), "other", "2", access.DeedDone) == nil {
		t.Fatal("ended what was not open")
	}
	x.Outcome = access.DeedDone
	got, err := d.Deeds(t.Context(), uid, 10)
	if err != nil || !reflect.DeepEqual(got, []access.Deed{y, x}) {
		t.Fatalf("%+v, %v", got, err)
	}
	if got, err = d.Deeds(t.Context(), uid, 1); err != nil || len(got) != 1 || got[0].ID != "2" {
		t.Fatalf("%+v, %v", got, err)
	}
	if d.PutDeed(t.Context(), access.Deed{ID: "3", Firm: uid, At: noon(), Did: "hold"}) == nil {
		t.Fatal("nobody did something")
	}
}
