package web

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"laycast/job/access"
	"laycast/notify"
)

// list is who stopped what, in memory.
type list struct {
	stopped map[string]bool
	err     error
	at      time.Time
}

func (l *list) Stopped(_ context.Context, uid, person string, k notify.Kind) (bool, error) {
	return l.stopped[uid+" "+person+" "+string(k)], l.err
}

func (l *list) Stop(_ context.Context, uid, person string, k notify.Kind, stop bool, now time.Time) error {
	l.stopped[uid+" "+person+" "+string(k)], l.at = stop, now
	return l.err
}

// TestWeekMailIsStoppedByOneClick is RFC 8058: one POST without cookies or a
// page between, and a GET changes nothing.
func TestWeekMailIsStoppedByOneClick(t *testing.T) {
	h := openHouse()
	l := link(access.Owner, "", access.Stop)
	h.book.Links = append(h.book.Links, l)
	who := &list{stopped: map[string]bool{}}
	key := uid + " " + h.book.Firm.Email + " week"
	site := h.handler(t, func(c *Config) { c.Stopper = who })
	for range 2 {
		wants(t, "the page", text(t, get(site, pathOf(l))), "Stop the week mail", `value="One-Click"`)
	}
	if who.stopped[key] {
		t.Fatal("looking stopped the mail")
	}
	send := func(v url.Values, headers ...string) *http.Response {
		headers = append([]string{"Content-Type", "application/x-www-form-urlencoded"}, headers...)
		return ask(site, http.MethodPost, pathOf(l), strings.NewReader(v.Encode()), headers...)
	}
	if r := send(url.Values{"x": {"y"}}); r.StatusCode != http.StatusBadRequest || who.stopped[key] {
		t.Errorf("a POST that says nothing: %d", r.StatusCode)
	}
	if r := send(url.Values{"List-Unsubscribe": {"One-Click"}}, "Origin", "https://evil.example"); r.StatusCode != http.StatusForbidden || who.stopped[key] {
		t.Errorf("from another site: %d", r.StatusCode)
	}
	// a mail provider: no Origin, no Sec-Fetch-Site, no cookie, no redirect taken
	r := send(url.Values{"List-Unsubscribe": {"One-Click"}})
	if r.StatusCode != 200 || !who.stopped[key] || !who.at.Equal(h.clock.Now()) {
		t.Fatalf("one click: %d, %v", r.StatusCode, who)
	}
	wants(t, "the answer", text(t, r), "comes no more", "again")
	if r := send(url.Values{"again": {"yes"}}, "Sec-Fetch-Site", "same-origin"); r.StatusCode != 200 || who.stopped[key] {
		t.Errorf("again: %d, %v", r.StatusCode, who)
	}
	who.err = errBroken
	if r := send(url.Values{"List-Unsubscribe": {"One-Click"}}); r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("with a broken database: %d", r.StatusCode)
	}
	// a link for something else stops nothing, and nobody is told why
	if r := get(site, "/n/"+access.Token(testKey(), link(access.Owner, "", access.Approve))); r.StatusCode != 404 {
		t.Errorf("another link: %d", r.StatusCode)
	}
}
