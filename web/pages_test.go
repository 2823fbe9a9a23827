package web

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"laycast/job/access"
	"laycast/notify/calendar"
)

func newRecorder() *httptest.ResponseRecorder { return httptest.NewRecorder() }

func addressOf(i int) string { return fmt.Sprintf("10.%d.%d.%d:80", i>>16&255, i>>8&255, i&255) }

func pageOf(a access.Audience, id string) string { return pathOf(link(a, id, access.Page)) }

func TestCustomerPageShowsWhatIsTheirs(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	r := get(site, pageOf(access.Customer, "ann@mail.example"))
	body := text(t, r)
	if r.StatusCode != 200 || r.Header.Get("Content-Type") != "text/html; charset=utf-8" || r.Header.Get("Cache-Control") != "no-store" {
		t.Fatalf("%d %v", r.StatusCode, r.Header)
	}
	feed := "lay.quay.example" + annFeed()
	wants(t, "Ann's page", body, "We come", "Tuesday 13 April", "from 07:30", "A1 Pier Road", "Crew Gull of Quay &amp; Roofs", "What to clear",
		`href="webcal://`+feed+`"`, "https://"+feed, "office@quay.example")
	hides(t, "Ann's page", body, "B2", "Bob", "bob@", "C3", "tern", "Tern", "83\u00a0%", "9876", "555-", "code 17", "<script", "style=", "ZgotmplZ")

	bob := text(t, get(site, pageOf(access.Customer, "bob@mail.example")))
	wants(t, "Bob's page", bob, "Called off", "Tuesday 13 April")
	hides(t, "Bob's page", bob, "A1", "Ann", "What to clear", "Who comes", "16 April") // the new day is not told yet
	if dee := text(t, get(site, pageOf(access.Customer, "dee@mail.example"))); !strings.Contains(dee, "There is no date for you") {
		t.Errorf("a customer without a visit reads\n%s", dee)
	}
}

func TestCustomerPageSaysHowSureTheDateIs(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	read := func() string { return text(t, get(site, pageOf(access.Customer, "ann@mail.example"))) }
	h.book.Calls = h.book.Calls[:1] // the hold alone
	wants(t, "before the go", read(), "Weather permitting", "Tuesday 13 April")
	hides(t, "before the go", read(), "We come")
	e := &h.rows["customer ann@mail.example"][0].Event
	e.Status, e.Start, e.End, e.From, e.To = calendar.Tentative, time.Time{}, time.Time{}, day(19), day(23)
	h.rows["customer ann@mail.example"][0].Over = day(23)
	wants(t, "a week", read(), "The week of Monday 19 April")
	hides(t, "a week", read(), "Crew Gull", "What to clear")
	h.rows["customer ann@mail.example"][0].Over = day(11)
	hides(t, "what is over", read(), "19 April")
}

func TestCrewPageShowsCallsAndVisits(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	gull := text(t, get(site, pageOf(access.Crew, "gull")))
	wants(t, "Gull's page", gull, "Today, Monday 12 April", "Nothing.", "Tomorrow, Tuesday 13 April", "GO", "07:30", "42 of 51 seal", "14:40",
		"bandage and laminate", "09:00 to 11:00", "wind 8.9 of 10", "code 17 at gate A1", "Ann &lt;b&gt;Reed&lt;/b&gt;", "555-A1",
		"Thursday 15 April", "provisional", "2 days", "webcal://")
	hides(t, "Gull's page", gull, "first thoughts", "B2", "Bob", "9876", "Tern")
	tern := text(t, get(site, pageOf(access.Crew, "tern")))
	wants(t, "Tern's page", tern, "Weather by the Met Example", "NO-GO", "rain 14:00 to 16:00", "Friday 16 April")
	hides(t, "Tern's page", tern, "A1", "Ann", "webcal://", "Start on site")
	h.book.Calls = nil
	gull = text(t, get(site, pageOf(access.Crew, "gull")))
	wants(t, "Gull's page before the call", gull, "No call yet", "Porch A1")
	hides(t, "Gull's page before the call", gull, ">GO<")
}

func TestOwnersPageShowsTheWeek(t *testing.T) {
	h := openHouse()
	body := text(t, get(h.handler(t), pageOf(access.Owner, "")))
	wants(t, "the week", body, "Gull", "Tern", "Porch A1", "83\u00a0%", "64\u00a0%", "day 2 of 2", "other jobs are worth more", "within 2 % of the best possible", "NO-GO", "rain 14:00", "webcal://")
	hides(t, "the week", body, "first thoughts", "Planned on Monday 12 April at 12:00") // 13:00 on the firm's clock
	h.book.Week = nil
	wants(t, "without a plan", text(t, get(h.handler(t), pageOf(access.Owner, ""))), "There is no plan yet")
}

func TestEveryAnswerBearsTheHeadersOfCaution(t *testing.T) {
	h := openHouse()
	site := h.handler(t, func(c *Config) { c.Demo = &DemoPages{Firm: uid, MailDir: t.TempDir()} })
	for _, path := range []string{"/", "/healthz", "/nothing", "/static/nothing.css", annFeed(), pageOf(access.Crew, "gull"), "/week", "/mail", "/mail/a.eml", pathOf(link(access.Owner, "", access.Approve))} {
		r := get(site, path)
		csp := r.Header.Get("Content-Security-Policy")
		if !strings.HasPrefix(csp, "default-src 'none'; style-src 'self'; ") || !strings.Contains(csp, "frame-ancestors 'none'") || strings.Contains(csp, "unsafe") {
			t.Errorf("%s: CSP %q", path, csp)
		}
		if r.Header.Get("X-Content-Type-Options") != "nosniff" || r.Header.Get("X-Frame-Options") != "DENY" || !strings.Contains(r.Header.Get("X-Robots-Tag"), "noindex") || r.Header.Get("Referrer-Policy") == "" {
			t.Errorf("%s: %v", path, r.Header)
		}
		if len(r.Cookies()) > 0 {
			t.Errorf("%s sets a cookie", path)
		}
	}
}

func TestHomeTellsNothing(t *testing.T) {
	h := openHouse()
	body := text(t, get(h.handler(t), "/"))
	wants(t, "the first page", body, "sign-in", "laycast")
	hides(t, "the first page", body, "Quay", "A1", "Gull", "/week", "/mail")
}

// The style sheet is found under the public address's path and may be kept.
func TestStyleSheet(t *testing.T) {
	h := openHouse()
	body := text(t, get(h.handler(t, func(c *Config) { c.PublicURL = "https://quay.example/lay/" }), "/"))
	m := regexp.MustCompile(`href="/lay(/static/laycast-[0-9a-f]+\.css)"`).FindStringSubmatch(body)
	if m == nil {
		t.Fatalf("no style sheet in\n%s", body)
	}
	r := get(h.handler(t), m[1])
	css := text(t, r)
	if r.StatusCode != 200 || r.Header.Get("Content-Type") != "text/css; charset=utf-8" || !strings.Contains(r.Header.Get("Cache-Control"), "immutable") {
		t.Errorf("%d %v", r.StatusCode, r.Header)
	}
	wants(t, "the style sheet", css, "prefers-color-scheme: dark")
	hides(t, "the style sheet", css, "http:", "https:", "@import", "url(")
	if r := get(h.handler(t), m[1], "If-None-Match", r.Header.Get("ETag")); r.StatusCode != 304 {
		t.Errorf("with its ETag: %d", r.StatusCode)
	}
}

func approvePath() string { return pathOf(link(access.Owner, "", access.Approve)) }

func seenIn(t *testing.T, body string) string {
	t.Helper()
	m := regexp.MustCompile(`name="seen" value="([0-9a-f]+)"`).FindStringSubmatch(body)
	if m == nil {
		t.Fatalf("no form in\n%s", body)
	}
	return m[1]
}

func yes(site http.Handler, seen string, headers ...string) *http.Response {
	headers = append([]string{"Content-Type", "application/x-www-form-urlencoded"}, headers...)
	return ask(site, http.MethodPost, approvePath(), strings.NewReader(url.Values{"seen": {seen}}.Encode()), headers...)
}

func TestOwnersYes(t *testing.T) {
	h := openHouse()
	h.waiting = []string{"Porch A1: Thursday 15 April instead of Tuesday 13 April", "Porch <C3>: Friday"}
	site := h.handler(t)
	for range 2 { // looking changes nothing
		wants(t, "the question", text(t, get(site, approvePath())), "Thursday 15 April instead", "Porch &lt;C3&gt;", "these dates", "or in the morning if you say nothing")
	}
	h.book.Firm.AskStrict = true
	wants(t, "a strict firm's question", text(t, get(site, approvePath())), "and not without it")
	if h.approved != 0 {
		t.Fatal("looking said yes")
	}
	if csp := get(site, approvePath()).Header.Get("Content-Security-Policy"); !strings.Contains(csp, "form-action 'self'") {
		t.Errorf("the form may not be sent: %s", csp)
	}
	seen := seenIn(t, text(t, get(site, approvePath())))
	for name, headers := range map[string][]string{
		"another site":          {"Sec-Fetch-Site", "cross-site"},
		"a sister site":         {"Sec-Fetch-Site", "same-site"},
		"another site, old way": {"Origin", "https://evil.example"},
	} {
		if r := yes(site, seen, headers...); r.StatusCode != http.StatusForbidden || h.approved != 0 {
			t.Errorf("from %s: %d, approved %d", name, r.StatusCode, h.approved)
		}
	}
	for _, wrong := range []string{"", "0123"} {
		r := yes(site, wrong)
		if body := text(t, r); r.StatusCode != http.StatusConflict || h.approved != 0 || !strings.Contains(body, "have changed") {
			t.Errorf("for another list: %d, approved %d", r.StatusCode, h.approved)
		}
	}
	r := yes(site, seen, "Sec-Fetch-Site", "same-origin", "Origin", "https://lay.quay.example")
	if body := text(t, r); r.StatusCode != 200 || h.approved != 2 || !strings.Contains(body, "2 new dates are released") {
		t.Fatalf("the yes: %d, approved %d\n%s", r.StatusCode, h.approved, body)
	}
	// it was for one time
	if r := get(site, approvePath()); r.StatusCode != 404 {
		t.Errorf("the spent link: %d", r.StatusCode)
	}
	h.waiting = []string{"Porch B2: Monday"}
	if r := yes(site, seen); r.StatusCode != 404 || h.approved != 2 {
		t.Errorf("a second yes: %d, approved %d", r.StatusCode, h.approved)
	}
	next := access.New(testKey(), uid, access.Owner, "", access.Approve, 2, h.clock.Now())
	wants(t, "the next link", text(t, get(site, pathOf(next))), "Porch B2", "this date")
}

func TestOwnersYesToNothingAndInTrouble(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	wants(t, "an idle link", text(t, get(site, approvePath())), "No new date waits")
	if r := yes(site, "00"); r.StatusCode != 200 || h.approved != 0 {
		t.Errorf("a yes to nothing: %d", r.StatusCode)
	}
	if r := get(site, approvePath()); r.StatusCode != 200 {
		t.Errorf("a yes to nothing ended the link: %d", r.StatusCode)
	}
	// a yes that was taken is a yes, even if its link lives on
	h.waiting, h.spendErr = []string{"Porch A1"}, errBroken
	if r := yes(site, seen(h.waiting)); r.StatusCode != 200 || h.approved != 1 {
		t.Errorf("%d, approved %d", r.StatusCode, h.approved)
	}
	// without an approver there is no such page
	bare := h.handler(t, func(c *Config) { c.Approver = nil })
	if r := get(bare, approvePath()); r.StatusCode != 404 {
		t.Errorf("without an approver: %d", r.StatusCode)
	}
}

// httptestPost is a form sent from an address, as a browser does from a page of
// ours.
func httptestPost(path, form, from string) *http.Request {
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader(form))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	r.RemoteAddr = from
	return r
}
