package web

import (
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

// desk stands in for the scheduler and the database behind the firm's own pages.
type desk struct {
	did      []string
	deeds    []access.Deed
	fail     error
	noRecord error
	outlooks int
	outlook  map[string]rules.Day
	weeks    []plan.Week
	messages []notify.Message
	untold   []notify.Untold
	edits    job.Edits
	firm     *job.Firm
	settings int64 // revision
	links    []access.Link
}

func (d *desk) note(words ...string) error {
	d.did = append(d.did, strings.Join(words, " "))
	return d.fail
}

func (d *desk) Hold(_ context.Context, _, id, reason string) error {
	return d.note("hold", id, reason)
}
func (d *desk) Release(_ context.Context, _, id string) error { return d.note("release", id) }
func (d *desk) AnswerMove(_ context.Context, _, id string, to job.Date, yes bool) error {
	return d.note("move", id, to.String(), map[bool]string{true: "yes", false: "no"}[yes])
}

func (d *desk) Pin(_ context.Context, _, id string, on job.Date, crew string) error {
	return d.note("pin", id, on.String(), crew)
}
func (d *desk) Unpin(_ context.Context, _, id string) error { return d.note("unpin", id) }
func (d *desk) Forbid(_ context.Context, _, id string, on job.Date) error {
	return d.note("forbid", id, on.String())
}

func (d *desk) PutDeed(_ context.Context, x access.Deed) error {
	if d.noRecord == nil {
		d.deeds = append(d.deeds, x)
	}
	return d.noRecord
}

func (d *desk) EndDeed(_ context.Context, _, id, outcome string) error {
	for i := range d.deeds {
		if d.deeds[i].ID == id {
			d.deeds[i].Outcome = outcome
		}
	}
	return nil
}
func (d *desk) Deeds(context.Context, string, int) ([]access.Deed, error) { return d.deeds, nil }
func (d *desk) Outlook(context.Context, string) (map[string]rules.Day, error) {
	d.outlooks++
	return d.outlook, nil
}
func (d *desk) WeeksSince(context.Context, string, time.Time) ([]plan.Week, error) {
	return d.weeks, nil
}
func (d *desk) NewestMessages(context.Context, string, int) ([]notify.Message, error) {
	return d.messages, nil
}
func (d *desk) NewestUntold(context.Context, string, int) ([]notify.Untold, error) {
	return d.untold, nil
}
func (d *desk) OneMessage(_ context.Context, _, id string) (notify.Message, bool, error) {
	for _, m := range d.messages {
		if m.ID == id {
			return m, true, nil
		}
	}
	return notify.Message{}, false, nil
}
func (d *desk) Settings(context.Context, string) (job.Edits, error)     { return d.edits, nil }
func (d *desk) SettingsRevision(context.Context, string) (int64, error) { return d.settings, nil }
func (d *desk) PutSettings(_ context.Context, f job.Firm, e job.Edits, seen int64, _ string, _ time.Time) error {
	if seen != d.settings {
		return ledger.ErrMoved
	}
	d.settings++
	d.edits, *d.firm = e, f
	return nil
}
func (d *desk) PutLink(_ context.Context, l access.Link) error {
	d.links = append(d.links, l)
	return nil
}

// insideOf gives the firm's own pages, and the cookies of its owner and office.
func insideOf(t testing.TB, h *house, d *desk, change ...func(*Config)) (site http.Handler, owner, office string) {
	t.Helper()
	h.book.Firm.Office = []string{"ann@quay.example"}
	d.firm = &h.book.Firm
	l := newLobby()
	all := append([]func(*Config){func(c *Config) {
		c.Desk, c.Pinner, c.Deeds, c.Plans, c.Records, c.Setter, c.Maker = d, d, d, d, d, d, d
	}}, change...)
	site = h.office(t, l, all...)
	return site, enter(t, site, l, "office@quay.example"), enter(t, site, l, "ann@quay.example")
}

func TestWeekTellsHoursLimitsChangesAndIdleDays(t *testing.T) {
	h := openHouse()
	// C3 has a day on the plan whose newest verdict is known
	d := &desk{outlook: map[string]rules.Day{"C3": {Job: "C3", Date: day(15), Members: 51, Best: 0, Starts: make([]rules.Start, 1), SealedBy: at(15, 13, 5),
		Failing: []rules.Failing{{Limit: rules.LimitRain, Members: 1, From: at(15, 6, 0), To: at(15, 7, 0)}, {Limit: rules.LimitGust, Members: 9, From: at(15, 12, 0), To: at(15, 14, 0)}}}},
		weeks: []plan.Week{{Visits: []plan.WeekVisit{{Job: "C3", Days: []job.Date{day(14)}}, {Job: "A1", Days: []job.Date{day(13)}}}},
			{Visits: h.book.Week.Visits, Changes: []plan.WeekChange{{Job: "C3", From: day(14), To: day(15), Reason: "its chance on Wednesday is now 31 %"}}}},
	}
	h.book.Week.CrewDays = []plan.CrewDay{{Crew: "gull", Day: day(15), Cost: plan.WeekPrice{Amount: 123450}}}
	h.book.Crews[1].Absences = []job.Date{day(15)}
	h.book.Jobs[2].Pinned.Day = day(15)
	h.book.Visits[1].AskedFor = day(16) // B2: told the 13th, now the 16th
	site, owner, _ := insideOf(t, h, d)
	body := text(t, get(site, "/week", "Cookie", owner))
	wants(t, "the week", body, "08:00 to 14:05", "binds: gust", "13:00 to 15:00", "Since this time yesterday", "Thursday 15 April, was Wednesday 14 April", "its chance on Wednesday is now 31",
		"away", "free", "without the crew the plan loses about 1\u00a0235\u00a0EUR", "New dates that wait for your yes", "It gains 0\u00a0EUR", "told Tuesday 13 April, now Friday 16 April", `value="2027-04-16"`, `action="/week/hold"`, "It gains", "GO", "pinned by you", "Take the pin out", "Not on this day")
	hides(t, "the week", body, "<script", "style=", "ZgotmplZ", "binds: rain")
	get(site, "/week", "Cookie", owner)
	if d.outlooks != 1 {
		t.Errorf("judged %d times while the book stood still", d.outlooks)
	}
	h.book.Revision++
	get(site, "/week", "Cookie", owner)
	if d.outlooks != 2 {
		t.Errorf("judged %d times after the book moved", d.outlooks)
	}
	// the secret link of the owner shows, and changes nothing
	byLink := text(t, get(site, pageOf(access.Owner, "")))
	wants(t, "by the link", byLink, "Porch A1")
	hides(t, "by the link", byLink, "/week/hold", "/week/move", "Sign out")
}

func TestChangesAreRecorded(t *testing.T) {
	h, d := openHouse(), &desk{}
	site, owner, office := insideOf(t, h, d)
	post := func(path, cookie string, kv ...string) *http.Response {
		form := url.Values{}
		for i := 0; i < len(kv); i += 2 {
			form.Set(kv[i], kv[i+1])
		}
		return send(site, path, form, "Cookie", cookie)
	}
	for i, c := range []struct {
		r    *http.Response
		want string
	}{
		{post("/week/hold", office, "job", "A1", "reason", " deposit\r\nX: 1 "), "hold A1 deposit X: 1"},
		{post("/week/release", owner, "job", "A1"), "release A1"},
		{post("/week/move", owner, "job", "B2", "to", "2027-04-16", "answer", "yes"), "move B2 2027-04-16 yes"},
		{post("/week/move", owner, "job", "B2", "to", "2027-04-16", "answer", "no"), "move B2 2027-04-16 no"},
		{post("/week/day", owner, "job", "C3", "day", "2027-04-15", "crew", "gull", "do", "pin"), "pin C3 2027-04-15 gull"},
		{post("/week/day", owner, "job", "C3", "day", "2027-04-15", "do", "unpin"), "unpin C3"},
		{post("/week/day", office, "job", "C3", "day", "2027-04-15", "do", "forbid"), "forbid C3 2027-04-15"},
	} {
		if got := d.did[i]; c.r.StatusCode != http.StatusSeeOther || c.r.Header.Get("Location") != "/week" || got != c.want {
			t.Errorf("%d, did %q; want %q", c.r.StatusCode, got, c.want)
		}
	}
	if n := len(d.deeds); n != 7 || d.deeds[0].Who != "ann@quay.example" || d.deeds[0].Detail != "deposit X: 1" || d.deeds[3].Outcome != access.DeedDone || !d.deeds[0].At.Equal(h.clock.Now()) {
		t.Errorf("recorded %+v", d.deeds)
	}
	done := len(d.did)
	for name, r := range map[string]*http.Response{
		"no reason": post("/week/hold", owner, "job", "A1", "reason", "  "), "a long one": post("/week/hold", owner, "job", "A1", "reason", strings.Repeat("x", 501)),
		"no day": post("/week/day", owner, "job", "C3", "do", "pin"), "nothing to do": post("/week/day", owner, "job", "C3", "day", "2027-04-15"),
		"no date": post("/week/move", owner, "job", "B2", "to", "soon", "answer", "yes"), "no answer": post("/week/move", owner, "job", "B2", "to", "2027-04-16"),
		"a long id": post("/week/release", owner, "job", strings.Repeat("x", 65)),
	} {
		if r.StatusCode != http.StatusBadRequest {
			t.Errorf("%s: %d", name, r.StatusCode)
		}
	}
	if r := post("/week/release", "", "job", "A1"); r.StatusCode != http.StatusForbidden {
		t.Errorf("signed out: %d", r.StatusCode)
	}
	if r := ask(site, http.MethodPost, "https://lay.quay.example/week/release", strings.NewReader("job=A1"), "Cookie", owner,
		"Content-Type", "application/x-www-form-urlencoded", "Sec-Fetch-Site", "cross-site"); r.StatusCode != http.StatusForbidden {
		t.Errorf("from another site: %d", r.StatusCode)
	}
	d.noRecord = errBroken
	if r := post("/week/release", owner, "job", "A1"); r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("without a record: %d", r.StatusCode)
	}
	if len(d.did) != done {
		t.Errorf("something was done: %v", d.did[done:])
	}
	d.noRecord, d.fail = nil, errors.New(`job <b>A1</b> is done already`)
	r := post("/week/release", owner, "job", "A1")
	if body := text(t, r); r.StatusCode != http.StatusConflict || !strings.Contains(body, "job &lt;b&gt;A1&lt;/b&gt; is done already") {
		t.Errorf("%d %s", r.StatusCode, body)
	}
	if last := d.deeds[len(d.deeds)-1]; !strings.HasPrefix(last.Outcome, "failed: ") {
		t.Errorf("recorded %+v", last)
	}
}

const evil = "\"><script>alert(1)</script>\r\nX-Evil: 1"

// TestHostileTextStaysText: whatever field it stands in, on every page.
func TestHostileTextStaysText(t *testing.T) {
	h := openHouse()
	j := &h.book.Jobs[0]
	j.Title, j.Customer.Name, j.Site.Address, j.Phone, j.Held = evil, evil, evil, evil, evil
	j.Notes = job.Notes{Access: evil, Parking: evil, PowerWater: evil, Neighbours: evil, RoomBelow: evil}
	h.book.Crews[0].Name, h.book.Firm.Name, h.book.Firm.Phone, h.book.Firm.Costs.Currency = evil, evil, evil, evil
	h.book.Week.Left = []plan.WeekLeft{{Job: "A1", Reason: evil}}
	h.book.Calls[1].Reasons = []string{evil}
	m := notify.Message{ID: "m1", State: notify.Refused, Audience: notify.ToCrew, Subject: evil, Reason: evil, Note: evil, Name: notify.Name{Recipient: evil, Kind: notify.KindCall},
		Wire: []byte("Subject: x\r\n\r\n\"><script>alert(1)</script>\r\n")}
	d := &desk{messages: []notify.Message{m}, untold: []notify.Untold{{Person: evil, Reason: evil, Job: evil}},
		deeds: []access.Deed{{ID: "1", Who: evil, Did: evil, About: evil, Detail: evil, Outcome: evil}},
		weeks: []plan.Week{{}, {Visits: h.book.Week.Visits, Changes: []plan.WeekChange{{Job: "A1", To: day(13), Reason: evil}}}}}
	site, owner, _ := insideOf(t, h, d)
	for _, path := range []string{"/week", "/log", "/log/message/m1", "/settings", "/links", pageOf(access.Crew, "gull"), pageOf(access.Owner, ""), pageOf(access.Customer, "ann@mail.example")} {
		r := get(site, path, "Cookie", owner)
		body := text(t, r)
		if r.StatusCode != http.StatusOK || r.Header.Get("X-Evil") != "" {
			t.Errorf("%s: %d %v", path, r.StatusCode, r.Header)
		}
		hides(t, path, body, "<script", "ZgotmplZ")
		if csp := r.Header.Get("Content-Security-Policy"); strings.Contains(csp, "unsafe") || strings.Contains(csp, "script-src") || !strings.HasPrefix(csp, "default-src 'none'") {
			t.Errorf("%s: CSP %q", path, csp)
		}
	}
}

func TestLogTellsWhyAndKeepsSecrets(t *testing.T) {
	h := openHouse()
	wire := []byte("Subject: x\r\nContent-Type: text/plain; charset=utf-8\r\n\r\nhttps://lay.quay.example/sign-in/SECRET\r\n")
	msg := func(id string, k notify.Kind, a notify.Audience, s notify.State) notify.Message {
		return notify.Message{ID: id, Name: notify.Name{Kind: k, Recipient: id + "@mail.example"}, Audience: a, State: s, Subject: "Subject " + id, Reason: "you look after the roof", Wire: wire, Created: at(12, 17, 0), Settled: at(12, 17, 1)}
	}
	d := &desk{messages: []notify.Message{msg("s1", notify.KindSignIn, notify.ToOwner, notify.Sent), msg("o1", notify.KindTrouble, notify.ToOwner, notify.Refused), msg("c1", notify.KindCall, notify.ToCrew, notify.Unknown)},
		untold: []notify.Untold{{Person: "bob@mail.example", Job: "B2", At: at(12, 17, 0), Reason: "no address"}}}
	site, owner, office := insideOf(t, h, d)
	body := text(t, get(site, "/log", "Cookie", office))
	wants(t, "the log", body, "42 of 51 seal", "first thoughts", "Subject c1", "because you look after the roof", "may or may not have arrived", "sent 12 Apr 18:01", "refused", "no address", "Nothing was changed")
	for who, cookie := range map[string]string{"owner": owner, "office": office} {
		hides(t, who, text(t, get(site, "/log/message/s1", "Cookie", cookie)), "SECRET")
		wants(t, who, text(t, get(site, "/log/message/c1", "Cookie", cookie)), "SECRET")
	}
	wants(t, "the owner's mail", text(t, get(site, "/log/message/o1", "Cookie", owner)), "SECRET")
	hides(t, "the owner's mail to the office", text(t, get(site, "/log/message/o1", "Cookie", office)), "SECRET")
	if r := get(site, "/log/message/zz", "Cookie", owner); r.StatusCode != http.StatusNotFound {
		t.Errorf("a message that is not there: %d", r.StatusCode)
	}
	for _, path := range []string{"/log", "/log/message/c1", "/settings", "/links"} {
		if r := get(site, path); r.StatusCode != http.StatusSeeOther {
			t.Errorf("%s without a sign-in: %d", path, r.StatusCode)
		}
	}
}

func TestSettingsAreTheOwnersToChange(t *testing.T) {
	h, d := openHouse(), &desk{}
	site, owner, office := insideOf(t, h, d, func(c *Config) { c.Locked = []string{"tell_ahead"} })
	body := text(t, get(site, "/settings", "Cookie", owner))
	wants(t, "settings", body, `name="bounds.go" value="70"`, `name="bounds.after_hold" value="50"`, "a go asks for 60 % then and allows 14 % risk of rain", "set in the configuration file", "Europe/Dublin", "18:00", "polyester", "no source", "Weather by the Met Example")
	hides(t, "settings", body, `name="tell_ahead"`)
	hides(t, "settings of the office", text(t, get(site, "/settings", "Cookie", office)), "<input", "/links")
	form := func(kv ...string) url.Values {
		v := url.Values{}
		for i := 0; i < len(kv); i += 2 {
			v.Set(kv[i], kv[i+1])
		}
		return v
	}
	if r := send(site, "/settings", form("seen", "0", "bounds.go", "10"), "Cookie", office); r.StatusCode != http.StatusForbidden || d.edits != nil {
		t.Errorf("the office changed settings: %d", r.StatusCode)
	}
	r := send(site, "/settings", form("seen", "0", "bounds.go", "40", "costs.km", evil), "Cookie", owner)
	if body := text(t, r); r.StatusCode != http.StatusUnprocessableEntity || d.edits != nil || !strings.Contains(body, "Nothing was saved") || strings.Contains(body, "<script") || !strings.Contains(body, `aria-invalid="true"`) {
		t.Errorf("%d %s", r.StatusCode, body)
	}
	r = send(site, "/settings", form("seen", "0", "bounds.go", "75", "costs.km", "0.60", "tell_ahead", "1"), "Cookie", owner)
	if r.StatusCode != http.StatusSeeOther || len(d.edits) != 1 || d.edits["bounds.go"] != "75" || h.book.Firm.Bounds.Go != 0.75 || h.book.Firm.TellAhead != 3 {
		t.Errorf("%d, edits %v, firm %+v", r.StatusCode, d.edits, h.book.Firm.Bounds)
	}
	if len(d.deeds) != 1 || d.deeds[0].Detail != "bounds.go 70 % to 75 %" || d.deeds[0].Who != "office@quay.example" {
		t.Errorf("recorded %+v", d.deeds)
	}
	r = send(site, "/settings", form("seen", "0", "bounds.go", "60"), "Cookie", owner)
	if body := text(t, r); r.StatusCode != http.StatusConflict || d.edits["bounds.go"] != "75" || !strings.Contains(body, "while you had it open") {
		t.Errorf("from settings that are no more: %d %s", r.StatusCode, body)
	}
	d.deeds = d.deeds[:1]
	send(site, "/settings", form("seen", "1", "bounds.go", "75"), "Cookie", owner)
	if len(d.deeds) != 1 {
		t.Error("the same settings were recorded as a change")
	}
}

func TestLinksAreTheOwnersToMakeAndEnd(t *testing.T) {
	h, d := openHouse(), &desk{}
	site, owner, office := insideOf(t, h, d)
	r := get(site, "/links", "Cookie", owner, "Accept-Encoding", "gzip")
	if r.Header.Get("Content-Encoding") != "" {
		t.Error("secrets are compressed")
	}
	body := text(t, r)
	wants(t, "links", body, pageOf(access.Crew, "gull"), annFeed(), "Crew Gull", "customer ann@mail.example")
	hides(t, "links", body, pathOf(link(access.Owner, "", access.Approve)))
	if r := get(site, "/links", "Cookie", office); r.StatusCode != http.StatusForbidden {
		t.Errorf("the office sees links: %d", r.StatusCode)
	}
	gull := link(access.Crew, "gull", access.Page)
	if r := send(site, "/links/revoke", url.Values{"link": {gull.Hash}}, "Cookie", office); r.StatusCode != http.StatusBadRequest {
		t.Errorf("the office revokes: %d", r.StatusCode)
	}
	if r := get(site, pathOf(gull)); r.StatusCode != http.StatusOK {
		t.Fatalf("the link: %d", r.StatusCode)
	}
	if r := send(site, "/links/revoke", url.Values{"link": {gull.Hash}}, "Cookie", owner); r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/links" {
		t.Errorf("revoke: %d", r.StatusCode)
	}
	if r := get(site, pathOf(gull)); r.StatusCode != http.StatusNotFound {
		t.Errorf("the revoked link: %d", r.StatusCode)
	}
	if r := send(site, "/links/revoke", url.Values{"link": {gull.Hash}}, "Cookie", owner); r.StatusCode != http.StatusConflict {
		t.Errorf("revoked twice: %d", r.StatusCode)
	}
	for who, want := range map[string]int{"crew gull": 303, "customer BOB@mail.example": 303, "owner": 303, "crew nobody": 409, "customer ": 409, "owner x": 409, "": 409} {
		if r := send(site, "/links/new", url.Values{"who": {who}}, "Cookie", owner); r.StatusCode != want {
			t.Errorf("%q: %d", who, r.StatusCode)
		}
	}
	if len(d.links) != 6 {
		t.Errorf("%d links were made", len(d.links))
	}
}

func TestDemoIsLookedAtFromAfarAndChangedFromHere(t *testing.T) {
	h, d := openHouse(), &desk{}
	site := h.handler(t, func(c *Config) {
		c.Demo = &DemoPages{Firm: uid, MailDir: t.TempDir()}
		c.Desk, c.Deeds, c.Maker, c.Setter, c.Records = d, d, d, d, d
		d.firm = &h.book.Firm
	})
	far := text(t, get(site, "/week")) // the test's requests come from 192.0.2.1
	hides(t, "from afar", far, "/week/hold", "/links")
	if r := get(site, "/links"); r.StatusCode != http.StatusNotFound {
		t.Errorf("links from afar: %d", r.StatusCode)
	}
	for _, path := range []string{"/week/release", "/links/new", "/settings"} {
		if r := send(site, path, url.Values{"job": {"A1"}, "who": {"owner"}}); r.StatusCode != http.StatusForbidden {
			t.Errorf("%s from afar: %d", path, r.StatusCode)
		}
	}
	if len(d.did)+len(d.links)+len(d.deeds) > 0 {
		t.Error("something was done from afar")
	}
	here := h.handler(t, func(c *Config) {
		c.Demo = &DemoPages{Firm: uid, MailDir: t.TempDir()}
		c.Desk, c.Deeds = d, d
	})
	r := httptestPost("/week/release", "job=A1", "127.0.0.1:5555")
	w := newRecorder()
	here.ServeHTTP(w, r)
	if w.Code != http.StatusSeeOther || len(d.did) != 1 || d.deeds[0].Who != "demo" {
		t.Errorf("from here: %d %v", w.Code, d.did)
	}
}

// TestPagesAreSmall: the first page after a sign-in, with its style, on the wire.
func TestPagesAreSmall(t *testing.T) {
	site, owner, _ := insideOf(t, busyHouse(), &desk{})
	r := get(site, "/week", "Cookie", owner, "Accept-Encoding", "gzip")
	wire, err := io.ReadAll(r.Body)
	if err != nil || r.Header.Get("Content-Encoding") != "gzip" {
		t.Fatalf("%v %v", err, r.Header)
	}
	z, err := gzip.NewReader(strings.NewReader(string(wire)))
	if err != nil {
		t.Fatal(err)
	}
	page, err := io.ReadAll(z)
	if err != nil || !strings.HasSuffix(strings.TrimSpace(string(page)), "</html>") {
		t.Fatalf("%v, %d bytes", err, len(page))
	}
	if sum := len(wire) + len(styleSheet); sum > 60_000 {
		t.Errorf("%d bytes on the wire", sum)
	}
	t.Logf("100 visits: %d bytes, %d on the wire, style %d", len(page), len(wire), len(styleSheet))
}

// busyHouse is a firm with 100 jobs, each with a visit on the plan.
func busyHouse() *house {
	h := openHouse()
	for i := range 100 {
		j, v := h.book.Jobs[0], h.book.Week.Visits[0]
		j.ID = fmt.Sprintf("B%03d", i+1)
		v.Job, v.Days = j.ID, []job.Date{day(13 + i%10)}
		h.book.Jobs, h.book.Week.Visits = append(h.book.Jobs, j), append(h.book.Week.Visits, v)
	}
	return h
}

// The week page of 100 jobs, as it is made when the book has moved (the frame is
// kept otherwise), and squeezed for the wire: the aim is under 50 ms.
func BenchmarkWeekPageOf100Jobs(b *testing.B) {
	h := busyHouse()
	site, owner, _ := insideOf(b, h, &desk{})
	for b.Loop() {
		h.book.Revision++
		if r := get(site, "/week", "Cookie", owner, "Accept-Encoding", "gzip"); r.StatusCode != http.StatusOK {
			b.Fatal(r.Status)
		}
	}
}
