package web

import (
	"net/http"
	"strconv"
	"strings"
	"testing"

	"laycast/job/access"
	"laycast/notify/calendar"
)

func annFeed() string { return pathOf(link(access.Customer, "ann@mail.example", access.Feed)) }

func TestFeedIsServedWithItsHeaders(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	r := get(site, annFeed())
	body := text(t, r)
	if r.StatusCode != http.StatusOK {
		t.Fatalf("status %d: %s", r.StatusCode, body)
	}
	for k, want := range map[string]string{
		"Content-Type": "text/calendar; charset=utf-8", "Cache-Control": "private, max-age=300", "X-Content-Type-Options": "nosniff",
		"Referrer-Policy": "no-referrer", "Last-Modified": "Fri, 09 Apr 2027 16:30:00 GMT",
	} {
		if got := r.Header.Get(k); got != want {
			t.Errorf("%s is %q, want %q", k, got, want)
		}
	}
	wants(t, "X-Robots-Tag", r.Header.Get("X-Robots-Tag"), "noindex")
	if tag := r.Header.Get("ETag"); !strings.HasPrefix(tag, `"`) || !strings.HasSuffix(tag, `"`) || len(tag) < 20 {
		t.Errorf("the ETag is %s: not strong and quoted", tag)
	}
	if len(r.Cookies()) > 0 {
		t.Error("a cookie is set")
	}
	wants(t, "the feed", body, "BEGIN:VCALENDAR\r\n", "BEGIN:VTIMEZONE", "BEGIN:VEVENT", "NAME:Your roof\\, Quay & Roofs", "A1 Pier Road")
	hides(t, "the feed", body, "B2", "Bob", access.Token(testKey(), link(access.Customer, "ann@mail.example", access.Feed)))

	head := ask(site, http.MethodHead, annFeed(), nil)
	if head.StatusCode != http.StatusOK || head.Header.Get("ETag") != r.Header.Get("ETag") || head.Header.Get("Content-Type") != r.Header.Get("Content-Type") || text(t, head) != "" {
		t.Errorf("HEAD: %d %v", head.StatusCode, head.Header)
	}
	// the clock has no say, nor who asks
	h.clock.set(h.clock.Now().AddDate(1, 0, 0))
	again := get(site, annFeed(), "User-Agent", "Outlook", "Cookie", "a=b")
	if text(t, again) != body || again.Header.Get("ETag") != r.Header.Get("ETag") {
		t.Error("a year later the bytes or the ETag differ")
	}
	for _, m := range []string{http.MethodPost, http.MethodPut, http.MethodDelete, "PROPFIND"} {
		if r := ask(site, m, annFeed(), nil); r.StatusCode != http.StatusMethodNotAllowed || r.Header.Get("Allow") != "GET, HEAD" {
			t.Errorf("%s: %d, Allow %q", m, r.StatusCode, r.Header.Get("Allow"))
		}
	}
}

// RFC 9110 13.1: weak comparison of If-None-Match, lists and *, before
// If-Modified-Since.
func TestFeedIsSentOnlyWhenItChanged(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	first := get(site, annFeed())
	tag, modified := first.Header.Get("ETag"), first.Header.Get("Last-Modified")
	later := "Sat, 01 May 2027 00:00:00 GMT"
	for _, c := range []struct {
		name    string
		headers []string
		want    int
	}{
		{"the tag", []string{"If-None-Match", tag}, 304},
		{"weak", []string{"If-None-Match", "W/" + tag}, 304},
		{"a list", []string{"If-None-Match", `"a", W/"b" , ` + tag}, 304},
		{"any", []string{"If-None-Match", "*"}, 304},
		{"another", []string{"If-None-Match", `"a"`}, 200},
		{"unquoted", []string{"If-None-Match", strings.Trim(tag, `"`)}, 200},
		{"since then", []string{"If-Modified-Since", modified}, 304},
		{"since before", []string{"If-Modified-Since", "Thu, 01 Apr 2027 00:00:00 GMT"}, 200},
		{"another tag outweighs a time", []string{"If-None-Match", `"a"`, "If-Modified-Since", later}, 200},
		{"the tag outweighs a time", []string{"If-None-Match", tag, "If-Modified-Since", "Thu, 01 Apr 2027 00:00:00 GMT"}, 304},
	} {
		r := get(site, annFeed(), c.headers...)
		if r.StatusCode != c.want {
			t.Errorf("%s: %d, want %d", c.name, r.StatusCode, c.want)
		}
		if r.StatusCode == 304 && (r.Header.Get("ETag") != tag || r.Header.Get("Cache-Control") != "private, max-age=300" || text(t, r) != "") {
			t.Errorf("%s: the 304 bears %v", c.name, r.Header)
		}
	}
	if h.reads != 1 {
		t.Errorf("the calendar was made %d times while nothing moved", h.reads)
	}
	h.book.Revision++
	e := &h.rows["customer ann@mail.example"][0].Event
	e.Status, e.Sequence, e.ChangedAt = calendar.Cancelled, 1, at(12, 18, 0)
	r := get(site, annFeed(), "If-None-Match", tag)
	if r.StatusCode != 200 || r.Header.Get("ETag") == tag || r.Header.Get("Last-Modified") != "Mon, 12 Apr 2027 18:00:00 GMT" {
		t.Errorf("after a change: %d %v", r.StatusCode, r.Header)
	}
}

// A calendar that is kept is no way in: its link is looked up first.
func TestKeptFeedIsClosedWithItsLink(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	tag := get(site, annFeed()).Header.Get("ETag")
	for i, l := range h.book.Links {
		if l.Audience == access.Customer && l.ID == "ann@mail.example" && l.Purpose == access.Feed {
			h.book.Links[i] = access.New(testKey(), uid, l.Audience, l.ID, l.Purpose, 2, h.clock.Now())
		}
	}
	for _, headers := range [][]string{nil, {"If-None-Match", tag}, {"If-None-Match", "*"}} {
		if r := get(site, annFeed(), headers...); r.StatusCode != 404 || r.Header.Get("ETag") != "" {
			t.Errorf("revoked, with %v: %d", headers, r.StatusCode)
		}
	}
}

// Thousands of calendars are kept in bounded room.
func TestKeptFeedsAreBounded(t *testing.T) {
	k := newKeptFeeds()
	for i := range feedsKept*2 + 10 {
		k.put(strconv.Itoa(i), rendered{revision: 1})
	}
	if len(k.by) > feedsKept {
		t.Errorf("%d are kept", len(k.by))
	}
	if _, ok := k.get(strconv.Itoa(feedsKept*2+9), 2); ok {
		t.Error("one of another revision was given")
	}
}

func TestFeedsOfTheOthers(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	crew := get(site, pathOf(link(access.Crew, "gull", access.Feed)))
	wants(t, "the crew's feed", text(t, crew), "NAME:Gull\\, Quay & Roofs", "BEGIN:VEVENT")
	if got := crew.Header.Get("Last-Modified"); got != "Sat, 10 Apr 2027 09:00:00 GMT" {
		t.Errorf("Last-Modified %s", got)
	}
	// two empty feeds: whole calendars, and no ETag in common
	owner, dee := get(site, pathOf(link(access.Owner, "", access.Feed))), get(site, pathOf(link(access.Customer, "dee@mail.example", access.Feed)))
	for _, r := range []*http.Response{owner, dee} {
		body := text(t, r)
		wants(t, "an empty feed", body, "BEGIN:VTIMEZONE", "END:VCALENDAR\r\n")
		hides(t, "an empty feed", body, "BEGIN:VEVENT")
		if r.StatusCode != 200 || r.Header.Get("Last-Modified") != "" {
			t.Errorf("an empty feed: %d, Last-Modified %q", r.StatusCode, r.Header.Get("Last-Modified"))
		}
	}
	h.book.Links = append(h.book.Links, link(access.Customer, "eve@mail.example", access.Feed))
	eve := get(site, pathOf(link(access.Customer, "eve@mail.example", access.Feed)))
	if a, b := text(t, eve), eve.Header.Get("ETag"); a == "" || b == dee.Header.Get("ETag") {
		t.Error("two customers with the same bytes share an ETag")
	}
}

// All failures look alike, and the token is looked at first.
func TestDeadLinksOpenNothing(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	token := access.Token(testKey(), link(access.Customer, "ann@mail.example", access.Feed))
	tag := get(site, annFeed()).Header.Get("ETag")
	other := "A"
	if token[0] == 'A' {
		other = "B"
	}
	old := access.New(testKey(), uid, access.Customer, "ann@mail.example", access.Feed, 0, at(1, 8, 0))
	want := text(t, get(site, "/f/"+strings.Repeat("0", 43)+".ics"))
	for name, path := range map[string]string{
		"first letter": "/f/" + other + token[1:] + ".ics", "shorter": "/f/" + token[:42] + ".ics", "longer": "/f/" + token + "A.ics", "no suffix": "/f/" + token,
		"two suffixes": "/f/" + token + ".ics.ics", "upper": "/f/" + strings.ToUpper(token) + ".ics", "empty": "/f/.ics", "folder": "/f/", "folder without slash": "/f",
		"revoked": pathOf(old), "a page's token": "/f/" + access.Token(testKey(), link(access.Customer, "ann@mail.example", access.Page)) + ".ics",
		"as a page": "/p/" + token, "as an approval": "/y/" + token, "dots": "/f/..%2f..%2f" + token + ".ics", "slashes": "/f//" + token + ".ics",
		"climbing": "/f/../f/" + token + ".ics", "percent": "/f/%25.ics", "quote": "/f/'%20OR%20'1'='1.ics", "elsewhere": "/admin", "nul": "/f/%00.ics",
	} {
		for _, headers := range [][]string{nil, {"If-None-Match", tag}, {"If-None-Match", "*"}, {"If-Modified-Since", "Sat, 01 May 2027 00:00:00 GMT"}} {
			r := get(site, path, headers...)
			body := text(t, r)
			if r.StatusCode != http.StatusNotFound || body != want {
				t.Errorf("%s with %v: %d %q", name, headers, r.StatusCode, body)
			}
			if strings.Contains(body, token) || r.Header.Get("ETag") != "" || r.Header.Get("Location") != "" {
				t.Errorf("%s: the answer tells something: %v", name, r.Header)
			}
		}
	}
}

func TestTokensThatCannotBeAreNotLookedUp(t *testing.T) {
	h := openHouse()
	get(h.handler(t), "/f/short.ics")
	if h.lookups != 0 {
		t.Errorf("%d look-ups", h.lookups)
	}
}

// An empty calendar would wipe a customer's dates.
func TestFeedOfABrokenDatabaseIsUnavailable(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	h.broken = errBroken
	for _, path := range []string{annFeed(), pathOf(link(access.Customer, "ann@mail.example", access.Page)), pathOf(link(access.Owner, "", access.Approve))} {
		r := get(site, path, "If-None-Match", "*")
		body := text(t, r)
		if r.StatusCode != http.StatusServiceUnavailable || r.Header.Get("Retry-After") == "" || r.Header.Get("ETag") != "" {
			t.Errorf("%d %v", r.StatusCode, r.Header)
		}
		hides(t, "the failure", body, "BEGIN:VCALENDAR", errBroken.Error())
	}
	h.broken = nil
	h.rows["customer ann@mail.example"][0].Event.UID = "" // a row that no client could read
	if r := get(site, annFeed()); r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("a feed that cannot be rendered: %d", r.StatusCode)
	}
}

func TestManyDeadLinksAreSlowedAndLiveOnesAreNot(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	dead := "/f/" + strings.Repeat("0", 43) + ".ics"
	from := func(addr, path string) int {
		r, err := http.NewRequest(http.MethodGet, path, nil)
		if err != nil {
			t.Fatal(err)
		}
		r.RemoteAddr = addr
		w := newRecorder()
		site.ServeHTTP(w, r)
		return w.Code
	}
	for i := range missesAllowed {
		if got := from("192.0.2.7:1", dead); got != 404 {
			t.Fatalf("try %d: %d", i+1, got)
		}
	}
	if got := from("192.0.2.7:2", dead); got != 429 {
		t.Errorf("one too many: %d", got)
	}
	if got := from("192.0.2.7:3", annFeed()); got != 200 {
		t.Errorf("a live link from there: %d", got)
	}
	if got := from("192.0.2.8:1", dead); got != 404 {
		t.Errorf("somebody else: %d", got)
	}
	h.clock.set(h.clock.Now().Add(missesWindow))
	if got := from("192.0.2.7:1", dead); got != 404 {
		t.Errorf("a minute later: %d", got)
	}
}

func TestMissesAreCountedByNetworkInBoundedMemory(t *testing.T) {
	if a, b := prefixOf("[2001:db8:1:2:aaaa::1]:80"), prefixOf("[2001:db8:1:2:bbbb::9%eth0]:81"); a != b {
		t.Errorf("one network counts as %s and %s", a, b)
	}
	if a, b := prefixOf("192.0.2.1:80"), prefixOf("[::ffff:192.0.2.1]:80"); a != b {
		t.Errorf("one address counts as %s and %s", a, b)
	}
	m := newMisses(&fixedClock{t: at(1, 0, 0)})
	for i := range 3 * missesKept {
		m.tooMany(addressOf(i))
	}
	if len(m.by) > missesKept {
		t.Errorf("%d addresses are kept", len(m.by))
	}
}
