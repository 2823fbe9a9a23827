package web

import (
	"context"
	"errors"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/notify/calendar"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

const uid = "quay-roofs"

func testKey() []byte { return []byte("0123456789abcdef0123456789abcdef") }

func day(d int) job.Date { return job.Date{Year: 2027, Month: time.April, Day: d} }

func at(d, h, m int) time.Time { return time.Date(2027, 4, d, h, m, 0, 0, time.UTC) }

// fixedClock stands until it is set.
type fixedClock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *fixedClock) Now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.t }

func (c *fixedClock) set(t time.Time) { c.mu.Lock(); defer c.mu.Unlock(); c.t = t }

// house is what stands behind the pages in a test.
type house struct {
	mu       sync.Mutex
	clock    *fixedClock
	book     ledger.Book
	rows     map[string][]ledger.Published // by "reader person"
	broken   error                         // what every reading answers
	unheard  []time.Time                   // when the calls were made that no crew heard
	lookups  int
	reads    int // of what calendars are made from
	waiting  []string
	approved int
	spendErr error
}

func (h *house) Ping(context.Context) error { return h.broken }

func (h *house) Unheard(_ context.Context, madeBefore time.Time) (int, error) {
	n := 0
	for _, k := range h.unheard {
		if k.Before(madeBefore) {
			n++
		}
	}
	return n, h.broken
}

func (h *house) Forecast(context.Context) (time.Time, error) { return time.Time{}, h.broken }

// TestHealth: a call that has not reached its crew after 20 minutes makes the
// daemon unwell, one made just now does not; so does a silent scheduler.
func TestHealth(t *testing.T) {
	ask := func(h *house) (int, string) {
		w := httptest.NewRecorder()
		h.handler(t).ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/healthz", nil))
		return w.Code, w.Body.String()
	}
	h := openHouse()
	now := h.clock.Now()
	h.unheard = []time.Time{now.Add(-5 * time.Minute)}
	if code, body := ask(h); code != http.StatusOK {
		t.Errorf("a call of five minutes ago: %d %s", code, body)
	}
	h.unheard = append(h.unheard, now.Add(-25*time.Minute))
	if code, body := ask(h); code != http.StatusServiceUnavailable || !strings.Contains(body, "1 calls have not reached") {
		t.Errorf("a call of 25 minutes ago: %d %s", code, body)
	}
	h.unheard = nil
	h.broken = errors.New("gone")
	if code, body := ask(h); code != http.StatusServiceUnavailable || !strings.Contains(body, "database") {
		t.Errorf("no database: %d %s", code, body)
	}
}

func (h *house) FindLink(_ context.Context, hash string) (access.Link, bool, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.lookups++
	for _, l := range h.book.Links {
		if l.Hash == hash && h.broken == nil {
			return l, true, nil
		}
	}
	return access.Link{}, false, h.broken
}

func (h *house) SpendLink(_ context.Context, _, hash string, next access.Link) (bool, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for i, l := range h.book.Links {
		if l.Hash == hash && h.spendErr == nil {
			h.book.Links[i] = next
			return true, nil
		}
	}
	return false, h.spendErr
}

func (h *house) FindFeed(ctx context.Context, hash string) (access.Link, int64, bool, error) {
	l, ok, err := h.FindLink(ctx, hash)
	return l, h.book.Revision, ok, err
}

func (h *house) Revision(context.Context, string) (int64, error) { return h.book.Revision, h.broken }

func (h *house) Firm(context.Context, string) (job.Firm, error) { return h.book.Firm, h.broken }

func (h *house) CrewName(_ context.Context, _, id string) (string, error) {
	return crewName(h.book, id), h.broken
}

func (h *house) PublishedFor(_ context.Context, _, reader, person string) ([]ledger.Published, error) {
	h.reads++
	return h.rows[reader+" "+person], h.broken
}

func (h *house) Book(_ context.Context, _ string, from job.Date) (ledger.Book, error) {
	b := h.book
	b.Calls = nil
	for _, k := range h.book.Calls {
		if !k.Date.Before(from) {
			b.Calls = append(b.Calls, k)
		}
	}
	return b, h.broken
}

func (h *house) Waiting(context.Context, string) ([]string, error) { return h.waiting, h.broken }

func (h *house) Approve(context.Context, string) (int, error) {
	n := len(h.waiting)
	h.approved += n
	h.waiting = nil
	return n, h.broken
}

func link(a access.Audience, id string, p access.Purpose) access.Link {
	return access.New(testKey(), uid, a, id, p, 1, at(1, 8, 0))
}

func pathOf(l access.Link) string { return access.Path(testKey(), l) }

// event is one visit as published.
func event(id string, a notify.Audience, s calendar.Status, from, to time.Time) calendar.Event {
	return calendar.Event{
		UID: calendar.UID(uid, id, 1, a), ChangedAt: at(9, 16, 30), Status: s, Summary: "Roof " + id, Location: id + " Pier Road",
		Description: []string{"Reference: " + id + "/1"}, Start: from, End: to,
	}
}

// openHouse has two customers, two crews, a go and a no-go for the 13th, today
// being the 12th.
func openHouse() *house {
	f := job.DefaultFirm()
	f.UID, f.Name, f.Zone, f.Email = uid, "Quay & Roofs", "Europe/Dublin", "office@quay.example"
	booking := func(id, name, mail string) job.Booking {
		return job.Booking{State: job.Booked, Job: job.Job{
			ID: id, Title: "Porch " + id, Customer: job.Customer{Name: name, Email: mail}, Phone: "555-" + id,
			Site: job.Site{Address: id + " Pier Road", Zone: "Europe/Dublin"}, Roof: job.Roof{AreaM2: 12, Work: job.Replace}, Value: 987600,
			Notes: job.Notes{Access: "code 17 at gate " + id},
		}}
	}
	ann, bob, cy := booking("A1", "Ann <b>Reed</b>", "ann@mail.example"), booking("B2", "Bob Stone", "bob@mail.example"), booking("C3", "Cy Moss", "cy@mail.example")
	visit := func(id, crew string, told job.Date, days ...job.Date) job.Visit {
		return job.Visit{Job: id, N: 1, State: job.Planned, Crew: crew, Days: days, Start: 7*60 + 30, Told: told}
	}
	b := ledger.Book{
		Firm: f, Jobs: []job.Booking{ann, bob, cy},
		Crews:  []job.Crew{{ID: "gull", Name: "Gull"}, {ID: "tern", Name: "Tern"}},
		Visits: []job.Visit{visit("A1", "gull", day(13), day(13)), visit("B2", "tern", day(13), day(16)), visit("C3", "gull", job.Date{}, day(15), day(16))},
		Calls: []call.Call{
			{Job: "A1", Visit: 1, Crew: "gull", Date: day(13), Occasion: call.Evening, Outcome: call.Hold, Made: at(12, 17, 0), Reasons: []string{"first thoughts"}},
			{Job: "A1", Visit: 1, Crew: "gull", Date: day(13), Occasion: "change-1", Outcome: call.Go, Made: at(12, 18, 0), Known: true, Chance: 0.83,
				Reasons: []string{"42 of 51 seal"}, Start: at(13, 6, 30), SealedBy: at(13, 13, 40),
				Stages: []rules.Span{{Stage: rules.Laminate, From: at(13, 8, 0), To: at(13, 10, 0), Tightest: rules.Check{Limit: rules.LimitWind, At: at(13, 9, 0), Value: 8.9, Bound: 10, Margin: 1.1}}}},
			{Job: "B2", Visit: 1, Crew: "tern", Date: day(13), Occasion: call.Evening, Outcome: call.NoGo, Made: at(12, 17, 0), Known: true, Chance: 0.31, Reasons: []string{"rain 14:00 to 16:00"}},
		},
		Week: &plan.Week{Made: at(12, 12, 0), Gap: 0.02, Visits: []plan.WeekVisit{
			{Job: "A1", N: 1, Crew: "gull", Days: []job.Date{day(13)}, Start: 7*60 + 30, Chance: 0.83, Told: day(13)},
			{Job: "C3", N: 1, Crew: "gull", Days: []job.Date{day(15), day(16)}, Start: 8 * 60, Chance: 0.64},
		}, Left: []plan.WeekLeft{{Job: "B2", Reason: "other jobs are worth more"}}},
		Links: []access.Link{
			link(access.Customer, "ann@mail.example", access.Page), link(access.Customer, "ann@mail.example", access.Feed),
			link(access.Customer, "bob@mail.example", access.Page), link(access.Customer, "bob@mail.example", access.Feed),
			link(access.Customer, "dee@mail.example", access.Feed), link(access.Customer, "dee@mail.example", access.Page),
			link(access.Crew, "gull", access.Page), link(access.Crew, "gull", access.Feed), link(access.Crew, "tern", access.Page),
			link(access.Owner, "", access.Page), link(access.Owner, "", access.Feed), link(access.Owner, "", access.Approve),
		},
	}
	row := func(id, reader, person string, e calendar.Event) ledger.Published {
		over := job.DateOf(e.End)
		return ledger.Published{Job: id, N: 1, Reader: reader, Person: person, Digest: e.Digest(), Over: over, Event: e}
	}
	annE := event("A1", notify.ToCustomer, calendar.Confirmed, at(13, 6, 30), at(13, 17, 0))
	bobE := event("B2", notify.ToCustomer, calendar.Cancelled, at(13, 6, 30), at(13, 17, 0))
	crewE := event("A1", notify.ToCrew, calendar.Confirmed, at(13, 6, 30), at(13, 17, 0))
	crewE.ChangedAt = at(10, 9, 0)
	return &house{clock: &fixedClock{t: at(12, 18, 30)}, book: b, rows: map[string][]ledger.Published{
		"customer ann@mail.example": {row("A1", "customer", "ann@mail.example", annE)},
		"customer bob@mail.example": {row("B2", "customer", "bob@mail.example", bobE)},
		"crew/gull gull":            {row("A1", "crew/gull", "gull", crewE)},
	}}
}

// handler gives the pages of a house.
func (h *house) handler(t testing.TB, change ...func(*Config)) http.Handler {
	t.Helper()
	c := Config{
		Health: NewHealth(h, h.clock), Clock: h.clock, Links: h, Feeds: h, Books: h, Approver: h,
		Key: testKey(), PublicURL: "https://lay.quay.example", Credit: func([]string) string { return "Weather by the Met Example" }, Log: zerolog.Nop(),
	}
	for _, f := range change {
		f(&c)
	}
	handler, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return handler
}

// ask sends one request; headers are pairs.
func ask(h http.Handler, method, target string, body io.Reader, headers ...string) *http.Response {
	r := httptest.NewRequest(method, target, body)
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Add(headers[i], headers[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w.Result()
}

func get(h http.Handler, target string, headers ...string) *http.Response {
	return ask(h, http.MethodGet, target, nil, headers...)
}

func text(t testing.TB, r *http.Response) string {
	t.Helper()
	b, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func wants(t testing.TB, what, body string, words ...string) {
	t.Helper()
	for _, w := range words {
		if !strings.Contains(body, w) {
			t.Errorf("%s lacks %q in\n%s", what, w, body)
		}
	}
}

func hides(t testing.TB, what, body string, words ...string) {
	t.Helper()
	for _, w := range words {
		if strings.Contains(body, w) {
			t.Errorf("%s shows %q in\n%s", what, w, body)
		}
	}
}

var errBroken = errors.New("the disk is gone")

func TestNewRefusesWhatCannotServe(t *testing.T) {
	h := openHouse()
	for name, spoil := range map[string]func(*Config){
		"a short key":       func(c *Config) { c.Key = c.Key[:31] },
		"no public address": func(c *Config) { c.PublicURL = "lay.quay.example" },
		"no books":          func(c *Config) { c.Books = nil },
	} {
		c := Config{Health: NewHealth(h, h.clock), Clock: h.clock, Links: h, Feeds: h, Books: h, Key: testKey(), PublicURL: "https://lay.quay.example"}
		spoil(&c)
		if _, err := New(c); err == nil {
			t.Errorf("%s is taken", name)
		}
	}
}

func TestHealthSaysWhatIsWrong(t *testing.T) {
	h := openHouse()
	site := h.handler(t)
	r := get(site, "/healthz")
	if body := text(t, r); r.StatusCode != http.StatusOK || !strings.Contains(body, `"ok":true`) {
		t.Fatalf("%d %s", r.StatusCode, body)
	}
	h.clock.set(h.clock.Now().Add(stuckAfter + time.Second))
	h.broken = errBroken
	r = get(site, "/healthz")
	body := text(t, r)
	if r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("status %d", r.StatusCode)
	}
	wants(t, "health", body, "the database does not answer", "has not looked at its clock")
}
