package main

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"laycast/notify"
	"laycast/web"
)

// mailedSignIn gives the link of the one sign-in mail in the outbox.
func (o *office) mailedSignIn() string {
	o.t.Helper()
	h := o.house()
	all, err := h.db.Messages(o.t.Context(), h.firm.UID)
	if err != nil {
		o.t.Fatal(err)
	}
	for _, m := range all {
		if m.Kind != notify.KindSignIn {
			continue
		}
		if m, err = h.db.Message(o.t.Context(), h.firm.UID, m.ID); err != nil {
			o.t.Fatal(err)
		}
		plain, err := web.PlainText(m.Wire)
		if err != nil {
			o.t.Fatal(err)
		}
		return regexp.MustCompile(`https?://\S+/sign-in/[A-Z2-7]{26}`).FindString(plain)
	}
	o.t.Fatal("no sign-in mail is in the outbox")
	return ""
}

// TestSignInByMailAndByCommand: the owner asks on the first page, the mail comes
// through the outbox, one press opens the week; the command line gives a link
// too, and to nobody who may not sign in.
func TestSignInByMailAndByCommand(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(1, "2027-05-03"))
	addr, _ := o.serve("--pretend-now", "2027-05-05T10:00:00Z", "--mail-dir", o.mail)
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	browser := &http.Client{Jar: jar}
	read := func(r *http.Response, err error) string {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		b, err := io.ReadAll(r.Body)
		if err != nil {
			t.Fatal(err)
		}
		return r.Request.URL.Path + "\n" + string(b)
	}
	base := "http://" + addr
	if first := read(browser.Get(base + "/week")); !strings.HasPrefix(first, "/\n") || !strings.Contains(first, "Send me a link") {
		t.Fatalf("the week without a sign-in is\n%s", first)
	}
	config, err := LoadConfig(o.config, nil)
	if err != nil {
		t.Fatal(err)
	}
	read(browser.PostForm(base+"/sign-in", url.Values{"email": {config.Firm.Email}}))
	press := func(link string) string {
		u, err := url.Parse(link)
		if err != nil {
			t.Fatal(err)
		}
		return read(browser.PostForm(base+u.Path, nil)) // the port was not known when the address was set
	}
	mailed := o.mailedSignIn()
	if week := press(mailed); !strings.HasPrefix(week, "/week\n") || !strings.Contains(week, "Sign out") {
		t.Fatalf("the press gives\n%s", week)
	}
	if again := press(mailed); !strings.Contains(again, "signs nobody in") {
		t.Errorf("a second press gives\n%s", again)
	}
	if out := read(browser.PostForm(base+"/sign-out", nil)); !strings.HasPrefix(out, "/\n") {
		t.Errorf("signing out gives\n%s", out)
	}
	var made struct{ URL string }
	if err := json.Unmarshal([]byte(o.must("link", "sign-in", "--json")), &made); err != nil {
		t.Fatal(err)
	}
	if week := press(made.URL); !strings.HasPrefix(week, "/week\n") {
		t.Errorf("the command's link gives\n%s", week)
	}
	o.fails(exitFail, []string{"may not sign in", "users.office"}, "link", "sign-in", "--email", "stranger@x.example")
}
