package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/job/access"
	"laycast/rules"
	"laycast/rules/load"
	onsite "laycast/rules/site"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// foreman takes what crews say, as the scheduler does, into a book.
type foreman struct {
	h   *house
	err error
}

func (f *foreman) Report(_ context.Context, _ string, r job.Report) (bool, error) {
	r.Noted, r.N = f.h.clock.Now(), 1
	if r.At.IsZero() {
		r.At = r.Noted
	}
	for _, x := range f.h.book.Diary.Reports {
		if x.ID == r.ID {
			return false, nil
		}
	}
	if f.err == nil {
		f.h.book.Diary.Reports = append(f.h.book.Diary.Reports, r)
	}
	return f.err == nil, f.err
}

func (f *foreman) Note(_ context.Context, _ string, x job.Diary) error {
	for _, r := range x.Readings {
		if r.At.IsZero() {
			r.At = f.h.clock.Now()
		}
		f.h.book.Diary.Readings = append(f.h.book.Diary.Readings, r)
	}
	for _, b := range x.Batches {
		if b.At.IsZero() {
			b.At = f.h.clock.Now()
		}
		f.h.book.Diary.Batches = append(f.h.book.Diary.Batches, b)
	}
	return f.err
}

func (f *foreman) OnSite(_ context.Context, b ledger.Book, id string, d job.Date) (ledger.OnSite, bool, error) {
	k := standing(b.Calls, id, d)
	if k == nil || k.Outcome == call.NoGo {
		return ledger.OnSite{}, false, nil
	}
	r := load.BuiltIn().Recipe()
	hours := []rules.Hour{{At: at(13, 8, 0), Air: 14, Dew: 7, Surface: 16, DewMargin: 9, RH: 62, Wind: 3, Gust: 5, Daylight: true}}
	return ledger.OnSite{Bay: rules.Bay{AreaM2: 12}, Hands: 2, Profile: rules.Polyester(), Recipe: r, Load: []load.Item{{Item: "board", Qty: 9, Unit: "pieces"}},
		Hours: hours, Mix: r.Card(rules.Polyester(), 2, hours, k.Stages), Seen: at(13, 5, 15)}, true, nil
}

// Answer answers by one hour of a forecast after another, all alike.
func (f *foreman) Answer(_ context.Context, _ string, r job.Reading) (onsite.Answer, error) {
	v := onsite.Visit{Stage: rules.Laminate, WorkEnd: at(13, 17, 0), Work: 2 * time.Hour, Profile: rules.Polyester(), Recipe: load.BuiltIn().Recipe(), Hands: 2}
	for i := range 30 {
		v.Hours = append(v.Hours, rules.Hour{At: r.At.Truncate(time.Hour).Add(time.Duration(i-1) * time.Hour), Air: 14, Dew: 7, Surface: 16, DewMargin: 9, RH: 62, Wind: 3, Gust: 5, Daylight: true})
	}
	return v.Answer(r), nil
}

// onTheDay is the house on the morning of the go, with crews that may speak.
func onTheDay(t *testing.T) (*house, *foreman, http.Handler) {
	h := openHouse()
	h.clock.set(at(13, 8, 20))
	h.book.Firm.Phone = "+353 1 555 0100"
	f := &foreman{h: h}
	return h, f, h.handler(t, func(c *Config) { c.Crews = f })
}

func aForm(more ...string) url.Values {
	v := url.Values{"job": {"A1"}, "date": {"2027-04-13"}, "after": {"0"}}
	for i := 0; i+1 < len(more); i += 2 {
		v.Set(more[i], more[i+1])
	}
	return v
}

// follow reads the page that an answer leads to.
func followed(t *testing.T, site http.Handler, r *http.Response) string {
	t.Helper()
	to := r.Header.Get("Location")
	if r.StatusCode != http.StatusSeeOther || !strings.Contains(to, "?noted=") || !strings.HasSuffix(to, "#"+job.Anchor("A1", day(13))) {
		t.Fatalf("%d to %q: %s", r.StatusCode, to, text(t, r))
	}
	path, _, _ := strings.Cut(to, "#")
	return text(t, get(site, path))
}

func TestCrewSaysHowItStands(t *testing.T) {
	h, _, site := onTheDay(t)
	page := pageOf(access.Crew, "gull")
	r := get(site, page)
	wants(t, "the page of the day", text(t, r), "I have seen this", "Started", "Sealed", "Topcoated", "Stopped, because", "Note a reading", "Note a batch", "board: 9 pieces",
		"Mix now, by the forecast", "deck 16", `<a href="tel:&#43;35315550100">`, "Never mix neat peroxide")
	if csp := r.Header.Get("Content-Security-Policy"); !strings.Contains(csp, "form-action 'self'") || strings.Contains(csp, "unsafe") {
		t.Errorf("CSP %q", csp)
	}
	for _, what := range []string{"seen", "started", "sealed"} {
		body := followed(t, site, send(site, page+"/report", aForm("what", what)))
		wants(t, what, body, map[string]string{"seen": "Noted: you have seen the call.", "started": "Noted for 09:20: started.", "sealed": "Noted for 09:20: sealed."}[what])
	}
	send(site, page+"/report", aForm("what", "sealed")) // a double tap
	if n := len(h.book.Diary.Reports); n != 3 || h.book.Diary.Reports[2].Crew != "gull" || h.book.Diary.Reports[2].By != "crew" {
		t.Errorf("%d reports: %+v", n, h.book.Diary.Reports)
	}
	wants(t, "after sealing", text(t, get(site, page)), "only the topcoat is left", "09:20 sealed")
	hides(t, "after sealing", text(t, get(site, page)), "I have seen this")

	r = send(site, page+"/report", aForm("what", "stopped", "cause", "rain", "because", `"><script>alert(1)</script>`, "time", "08:40"))
	body := followed(t, site, r)
	wants(t, "stopped", body, "Noted for 08:40: stopped: rain, &#34;&gt;&lt;script&gt;")
	hides(t, "stopped", body, "<script>")
	if x := h.book.Diary.Reports[3]; !x.At.Equal(at(13, 7, 40)) || x.Tight {
		t.Errorf("%+v", x)
	}
}

func TestCrewNotesReadingsAndBatches(t *testing.T) {
	h, _, site := onTheDay(t)
	page := pageOf(access.Crew, "gull")
	body := followed(t, site, send(site, page+"/reading", aForm("surface", "16,5", "air", "15", "rh", "60", "note", "<i>shade</i>")))
	wants(t, "a good reading", body, "deck 16.5 °C, air 15 °C, humidity 60 %, &lt;i&gt;shade&lt;/i&gt;", "Go on: by this reading", "Mix now: deck 16", "The lead hand decides on site")
	hides(t, "a good reading", body, "<i>")
	body = followed(t, site, send(site, page+"/reading", aForm("after", "1", "surface", "8", "air", "10", "rh", "84", "time", "09:20")))
	wants(t, "dew", body, "Not today", "Dew margin 0.6 K")
	body = followed(t, site, send(site, page+"/batch", aForm("after", "2", "for", "resin", "resin", "2.5", "dose", "2", "area", "1.1", "lot", "K-7 <b>")))
	wants(t, "a batch", body, "2.5 kg of resin, 2 %, 1.1 m², catalyst lot K-7 &lt;b&gt;", "2.27 kg/m²")

	before := len(h.book.Diary.Readings)
	r := send(site, page+"/reading", aForm("surface", "warm", "air", "99", "rh", "60", "note", `"><b>kept`))
	body = text(t, r)
	if r.StatusCode != http.StatusUnprocessableEntity || len(h.book.Diary.Readings) != before {
		t.Errorf("a bad reading: %d", r.StatusCode)
	}
	wants(t, "a bad reading", body, "write a number such as 14.5", "give -40 to 55", `value="warm"`, `value="&#34;&gt;&lt;b&gt;kept"`, `aria-invalid="true"`, "<details open>")
	for name, f := range map[string]url.Values{
		"ahead": aForm("surface", "12", "time", "23:00"), "no time": aForm("surface", "12", "time", "soon"), "empty": aForm(),
		"no day": {"job": {"A1"}, "surface": {"12"}}, "long": aForm("surface", strings.Repeat("1", 300)), "infinite": aForm("surface", "Inf"), "none": aForm("surface", "NaN"),
	} {
		if r := send(site, page+"/reading", f); r.StatusCode != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d", name, r.StatusCode)
		}
	}
	if len(h.book.Diary.Readings) != before {
		t.Error("one of them was kept")
	}
}

// A crew's forms open to its own secret alone, and to no other site.
func TestCrewFormsAreTheCrewsAlone(t *testing.T) {
	h, f, site := onTheDay(t)
	page := pageOf(access.Crew, "gull")
	started := aForm("what", "started")
	for name, path := range map[string]string{
		"a customer": pageOf(access.Customer, "ann@mail.example"), "the owner": pageOf(access.Owner, ""), "a dead link": page[:len(page)-1] + "A", "a calendar": pathOf(link(access.Crew, "gull", access.Feed)),
	} {
		if r := send(site, path+"/report", started); r.StatusCode != http.StatusNotFound {
			t.Errorf("%s: %d", name, r.StatusCode)
		}
	}
	if r := ask(site, http.MethodPost, page+"/report", strings.NewReader(started.Encode()), "Content-Type", "application/x-www-form-urlencoded",
		"Origin", "https://evil.example", "Sec-Fetch-Site", "cross-site"); r.StatusCode != http.StatusForbidden {
		t.Errorf("from another site: %d", r.StatusCode)
	}
	if r := get(site, page+"/report"); r.StatusCode != http.StatusMethodNotAllowed {
		t.Errorf("a look at the form's address: %d", r.StatusCode)
	}
	if r := send(site, page+"/report", url.Values{"job": {strings.Repeat("x", 1<<20)}}); r.StatusCode != http.StatusRequestEntityTooLarge {
		t.Errorf("a large form: %d", r.StatusCode)
	}
	f.err = errors.New(`there is no go for Porch A1 on "><script>`)
	r := send(site, page+"/report", started)
	body := text(t, r)
	wants(t, "refused", body, "This was not noted: there is no go for Porch A1", "&lt;script&gt;")
	if r.StatusCode != http.StatusUnprocessableEntity || len(h.book.Diary.Reports) != 0 {
		t.Errorf("%d, %d reports", r.StatusCode, len(h.book.Diary.Reports))
	}
	if body := text(t, get(h.handler(t), page)); strings.Contains(body, "<form") {
		t.Error("without anybody to take it there is a form")
	}
	if body := text(t, get(site, page+"?noted=%3Cscript%3E")); strings.Contains(body, "<script") || strings.Contains(body, `role="status"`) {
		t.Error("what was never noted is shown as noted")
	}
}

// Yesterday's roof stays on the page until its crew has said how it ended.
func TestYesterdayIsAskedAfter(t *testing.T) {
	h, _, site := onTheDay(t)
	h.clock.set(at(14, 7, 0))
	page := pageOf(access.Crew, "gull")
	wants(t, "the morning after", text(t, get(site, page)), "Yesterday, Tuesday 13 April", "Sealed")
	h.book.Diary.Reports = []job.Report{{Entry: job.Entry{Job: "A1", N: 1, Date: day(13), Crew: "gull", At: at(13, 13, 0), Noted: at(13, 13, 0).Add(time.Second)}, What: job.Sealed}}
	hides(t, "once it is said", text(t, get(site, page)), "Tuesday 13 April")
}
