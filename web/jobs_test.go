package web

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"math"
	"mime/multipart"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"laycast/forecast/skill"
	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/rules/load"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

// bench stands in for the scheduler, the database and the search of places behind
// the pages of jobs.
type bench struct {
	outlook notify.JobOutlook
	why     plan.JobWhy
	chances []ledger.Chance
	said    []notify.Message
	did     []string
	jobs    []job.Job
	seen    []int64
	crews   [][2]job.Crew // new, seen
	imports []job.Import
	places  []Place
	fail    error
}

func (b *bench) JobOutlook(context.Context, string, string) (notify.JobOutlook, error) {
	return b.outlook, b.fail
}
func (b *bench) JobWhy(context.Context, string, string) (plan.JobWhy, error) { return b.why, b.fail }
func (b *bench) JobMessages(context.Context, string, string, int) ([]notify.Message, error) {
	return b.said, b.fail
}
func (b *bench) JobChances(context.Context, string, string) ([]ledger.Chance, error) {
	return b.chances, b.fail
}
func (b *bench) note(words ...string) error {
	b.did = append(b.did, strings.Join(words, " "))
	return b.fail
}
func (b *bench) Done(_ context.Context, _, id string) error   { return b.note("done", id) }
func (b *bench) Cancel(_ context.Context, _, id string) error { return b.note("cancel", id) }
func (b *bench) Allow(_ context.Context, _, id string, d job.Date) error {
	return b.note("allow", id, d.String())
}
func (b *bench) AskFirst(_ context.Context, _, id string, ask bool) error {
	return b.note("ask", id, map[bool]string{true: "yes", false: "no"}[ask])
}
func (b *bench) EditJob(_ context.Context, _ string, j job.Job, seen int64) error {
	if b.fail == nil {
		b.jobs, b.seen = append(b.jobs, j), append(b.seen, seen)
	}
	return b.fail
}
func (b *bench) EditCrew(_ context.Context, _ string, c, seen job.Crew) error {
	if b.fail == nil {
		b.crews = append(b.crews, [2]job.Crew{c, seen})
	}
	return b.fail
}
func (b *bench) Import(_ context.Context, _ string, in job.Import) error {
	b.imports = append(b.imports, in)
	return b.fail
}
func (b *bench) Find(_ context.Context, name string) ([]Place, error) {
	b.did = append(b.did, "find "+name)
	return b.places, b.fail
}

// order is the job A1 of openHouse as an order that every check lets through.
func order() job.Job {
	return job.Job{ID: "A1", Title: "Porch A1", Customer: job.Customer{Name: "Ann Reed", Email: "ann@mail.example"}, Phone: "+353 1 555 0100",
		Site:  job.Site{Address: "1 Pier Road", Lat: 53.34, Lon: -6.26, ElevationM: 12, Zone: "Europe/Dublin"},
		Roof:  job.Roof{AreaM2: 12, Work: job.Replace, Deck: job.NewBoard, Edges: []job.Edge{{Kind: job.Drip, LengthM: 14}}},
		Value: 180000, Earliest: day(10), Promised: day(20), Deadline: day(30), Profile: "polyester"}
}

// benched gives the pages with those of jobs behind them.
func benched(t testing.TB, h *house, b *bench, change ...func(*Config)) (site http.Handler, owner string, d *desk) {
	t.Helper()
	h.book.Jobs[0].Job, h.book.Jobs[0].Revision = order(), 3
	h.book.Crews[0] = job.Crew{ID: "gull", Name: "Gull", Size: 2, Email: "gull@quay.example", Absences: []job.Date{day(20)}, Depot: job.Point{Lat: 53.3, Lon: -6.2}}
	d = &desk{}
	all := append([]func(*Config){func(c *Config) {
		c.Jobs = &JobPages{Judge: b, Records: b, Ender: b, Editor: b}
	}}, change...)
	site, owner, _ = insideOf(t, h, d, all...)
	return site, owner, d
}

// outlookOf gives an outlook of one known and one unknown day.
func outlookOf(j job.Job) notify.JobOutlook {
	hours := []rules.Hour{{At: at(13, 8, 0), Air: 11, Dew: 6, Surface: 12.5, DewMargin: 6.5, RH: 71, Rain: 0, Wind: 4, Gust: 7, Water: 0, CureRate: 0.6, Daylight: true},
		{At: at(13, 9, 0), Air: math.NaN(), Dew: 6, Surface: 13, DewMargin: 7, RH: 70, Rain: 0.2, Wind: 4, Gust: 7, CureRate: 0.7}}
	band := func(h int, v float64) rules.Band {
		return rules.Band{At: at(13, h, 0), Tenth: v, Quarter: v + 1, Middle: v + 2, Upper: v + 3, Ninth: v + 4, Known: 200}
	}
	known := rules.Day{Job: j.ID, Date: day(13), Members: 200, Basis: rules.FromDressed, Best: 0, Starts: []rules.Start{{At: at(13, 7, 0), Sealed: 0.83, Full: 0.4, RainOpen: 0.05}},
		SealedBy: at(13, 14, 0), SealedByLate: at(13, 15, 0), NoReturn: at(13, 10, 0),
		Failing: []rules.Failing{{Limit: rules.LimitRain, Members: 34, From: at(13, 12, 0), To: at(13, 14, 0)}},
		Stages:  []rules.Span{{Stage: rules.Laminate, From: at(13, 9, 0), To: at(13, 11, 0), Tightest: rules.Check{Limit: rules.LimitWind, At: at(13, 9, 0), Value: 8.9, Bound: 10, Margin: 1.1}}}}
	view := func(d rules.Day) notify.DayView {
		return notify.DayView{Job: j, Date: d.Date, Day: d, Zone: time.UTC, Now: at(12, 18, 30)}
	}
	l := load.BuiltIn().Whole(j.Roof, rules.Polyester(), 2, 1)
	return notify.JobOutlook{Hands: 2, DewLeast: 3, Load: &l, MixDay: day(13), Mix: load.BuiltIn().Recipe().Card(rules.Polyester(), 2, hours[:1], known.Stages), Source: "open-meteo", Fetched: at(12, 17, 0),
		Days: []notify.DayAhead{
			{DayView: view(known), Hours: hours, Rain: []rules.Band{band(8, 0), band(9, 0.5)}, Dew: []rules.Band{band(8, 1), band(9, -1)}, Outcome: call.Go, Reasons: []string{"166 of 200 seal"}},
			{DayView: view(rules.Day{Job: j.ID, Date: day(14), Best: -1}), Outcome: call.Hold, Reasons: []string{"no forecast reaches the day"}},
		}}
}

func TestJobPageTellsTheDaysAheadAndWhatCameOfCalls(t *testing.T) {
	h, b := openHouse(), &bench{}
	b.outlook = outlookOf(order())
	h.book.Week.Visits = append(h.book.Week.Visits[:0:0], plan.WeekVisit{Job: "A1", Crew: "gull", Days: []job.Date{day(13)}, Start: 7*60 + 30, Told: day(13), Chance: 0.83, Adds: &plan.WeekPrice{Amount: 43210, Exact: true}})
	h.book.Calls = append([]call.Call{{Job: "A1", Crew: "gull", Date: day(8), Occasion: call.Evening, Outcome: call.Go, Made: at(7, 17, 0), Known: true, Chance: 0.75}}, h.book.Calls...)
	b.chances = []ledger.Chance{{Job: "A1", Date: day(8), Lead: 1, Told: skill.Chances{Sealed: 0.75}, State: ledger.Scored, Rained: true, How: ledger.ModelRows}}
	e := func(id, crew string, d int, t time.Time) job.Entry {
		return job.Entry{ID: id, Job: "A1", N: 1, Date: day(d), Crew: crew, By: "crew", At: t, Noted: t}
	}
	h.book.Diary = job.Diary{Reports: []job.Report{{Entry: e("r1", "gull", 8, at(8, 7, 5)), What: job.Begun}, {Entry: e("r2", "gull", 8, at(7, 19, 0)), What: job.Seen}},
		Batches: []job.Batch{{Entry: e("b1", "gull", 8, at(8, 9, 30)), ResinKg: 5, DosePct: 2, Lot: "K7 " + evil}}}
	b.said = []notify.Message{{ID: "m9", State: notify.Sent, Subject: "Your roof on Tuesday", Reason: "the date was told", Name: notify.Name{Recipient: "ann@mail.example"}}}
	site, owner, _ := benched(t, h, b)
	r := get(site, "/job/A1", "Cookie", owner)
	body := text(t, r)
	wants(t, "the job", body, "Tomorrow, Tuesday 13 April with Gull from 07:30", "its customer holds the date", "Called go", "adds 432\u00a0EUR", "if called now: GO", "chance <span class=\"num\">83", "166 of 200 seal.",
		`class="ribbon"`, `class="spread"`, "dashed: the least, 3", "Hour by hour", "not known", "No forecast reaches the day", "Mix card", "Load list", "strip-plan", "53.3400° north, 6.2600° west, 12 m above the sea",
		"km from the depot of Gull", "It rained on the open roof, by past rows of the weather model, which are no gauge.", "What crews noted", "7 Apr 20:00 has seen the call", "08:05 started", "10:30 ", "K7", "Your roof on Tuesday", `href="/job/A1/why"`, `href="/job/A1/edit"`, "Forecast from open-meteo", "worth 1\u00a0800\u00a0EUR")
	hides(t, "the job", body, "<script", "style=", "ZgotmplZ", "NaN")
	if n := strings.Count(body, "<details class=\"ahead"); n != 2 {
		t.Errorf("%d days", n)
	}
	if r := get(site, "/job/none", "Cookie", owner); r.StatusCode != http.StatusNotFound {
		t.Errorf("no job: %d", r.StatusCode)
	}
	if r := get(site, "/job/A1"); r.StatusCode != http.StatusSeeOther {
		t.Errorf("signed out: %d", r.StatusCode)
	}
	b.fail = errBroken
	if r := get(site, "/job/A1", "Cookie", owner); r.StatusCode != http.StatusServiceUnavailable {
		t.Errorf("without a forecast store: %d", r.StatusCode)
	}
}

// TestCameWords: what a day came to, by outcome.
func TestCameWords(t *testing.T) {
	for _, c := range []struct {
		outcome        call.Outcome
		occasion       call.Occasion
		state          ledger.ChanceState
		sealed, rained bool
		how, want      string
	}{
		{call.Go, call.Evening, ledger.Scored, true, false, ledger.CrewReport, "was sealed, by the crew's own report"},
		{call.NoGo, call.Evening, ledger.Scored, true, false, ledger.ModelRows, "could have been sealed"},
		{call.Go, call.SecondLook, ledger.Scored, false, false, ledger.ModelRows, "was not sealed"},
		{call.NoGo, call.Evening, ledger.Scored, false, true, ledger.ModelRows, "would have rained"},
		{call.Hold, call.Evening, ledger.Open, false, false, "", "Not scored yet"},
		{call.Go, call.Evening, ledger.Lost, false, false, "", "Nothing tells"},
	} {
		k := call.Call{Job: "A1", Date: day(8), Occasion: c.occasion, Outcome: c.outcome}
		lead := map[call.Occasion]int{call.Evening: 1, call.SecondLook: 0}[c.occasion]
		got, _ := cameWords(k, []ledger.Chance{{Date: day(8), Lead: lead, State: c.state, Sealed: c.sealed, Rained: c.rained, How: c.how}})
		if !strings.Contains(got, c.want) {
			t.Errorf("%+v: %q", c, got)
		}
	}
}

func TestWhyTellsTheOtherDays(t *testing.T) {
	h, b := openHouse(), &bench{}
	c := func(v float64) *float64 { return &v }
	b.why = plan.JobWhy{Job: "A1", Day: day(13), Stands: "it stands on Tuesday", Adds: &plan.WeekPrice{Amount: 40000, Exact: true}, Days: []plan.WhyDay{
		{Day: day(13), Can: true, Here: true, Crew: "gull", Chance: c(0.8), Cost: &plan.WeekPrice{Exact: true}, Words: "it stands here"},
		{Day: day(14), Can: true, Crew: "tern", Chance: c(0.6), Cost: &plan.WeekPrice{Amount: 12300}, Words: "Tern: costs 123.00 EUR at the most"},
		{Day: day(15), Words: "you forbade it"}}}
	site, owner, _ := benched(t, h, b)
	body := text(t, get(site, "/job/A1/why", "Cookie", owner))
	wants(t, "why", body, "It stands on Tuesday.", "adds 400\u00a0EUR", "at most 123\u00a0EUR", "you forbade it", `value="2027-04-14"`, "Pin to Wednesday 14 April")
	if n := strings.Count(body, `value="pin"`); n != 2 {
		t.Errorf("%d days to pin to", n)
	}
	r := send(site, "/week/day", url.Values{"back": {"job"}, "job": {"A1"}, "day": {"2027-04-14"}, "crew": {"tern"}, "do": {"pin"}}, "Cookie", owner)
	if r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/job/A1" {
		t.Errorf("a pin leads to %d %s", r.StatusCode, r.Header.Get("Location"))
	}
}

func TestJobBookIsSearched(t *testing.T) {
	h, b := openHouse(), &bench{}
	h.book.Jobs[1].Held, h.book.Jobs[2].State = "colour not chosen", job.Done
	site, owner, _ := benched(t, h, b)
	for _, c := range []struct{ query, has, not string }{
		{"", "Porch A1", "Porch C3"}, {"?which=over", "Porch C3", "Porch A1"}, {"?which=held", "on hold: colour not chosen", "Porch A1"},
		{"?which=all&q=pier+ANN", "Porch A1", "Porch B2"}, {"?which=all&q=bob@mail", "Porch B2", "Porch A1"}, {"?q=zzz", "None of the 3 jobs", "Porch A1"},
	} {
		body := text(t, get(site, "/jobs"+c.query, "Cookie", owner))
		wants(t, c.query, body, c.has)
		hides(t, c.query, body, c.not)
	}
	body := text(t, get(site, "/jobs?which="+url.QueryEscape(evil)+"&q="+url.QueryEscape(evil), "Cookie", owner))
	hides(t, "a hostile search", body, "<script")
}

// formOf reads back the fields that a page's form shows.
func formOf(t *testing.T, body string) url.Values {
	t.Helper()
	out := url.Values{}
	for _, m := range regexp.MustCompile(`<(?:input|textarea|select)[^>]* name="([^"]+)"[^>]*>`).FindAllStringSubmatch(body, -1) {
		if v := regexp.MustCompile(` value="([^"]*)"`).FindStringSubmatch(m[0]); v != nil {
			out.Set(m[1], unescape(v[1]))
		} else {
			out.Set(m[1], "")
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<select[^>]* name="([^"]+)".*?</select>`).FindAllStringSubmatch(body, -1) {
		if v := regexp.MustCompile(`value="([^"]*)" selected`).FindStringSubmatch(m[0]); v != nil {
			out.Set(m[1], v[1])
		}
	}
	for _, m := range regexp.MustCompile(`(?s)<textarea[^>]* name="([^"]+)"[^>]*>\n?(.*?)</textarea>`).FindAllStringSubmatch(body, -1) {
		out.Set(m[1], unescape(m[2]))
	}
	if !strings.Contains(body, `name="invite" value="true" checked`) {
		out.Del("invite")
	}
	return out
}

func unescape(s string) string {
	return strings.NewReplacer("&#34;", `"`, "&#39;", "'", "&lt;", "<", "&gt;", ">", "&#43;", "+", "&amp;", "&").Replace(s)
}

func TestOrderIsChangedByItsForm(t *testing.T) {
	h, b := openHouse(), &bench{}
	site, owner, d := benched(t, h, b)
	form := formOf(t, text(t, get(site, "/job/A1/edit", "Cookie", owner)))
	same := func(x, y job.Job) bool { return sameJSON(x, y) }
	r := send(site, "/job/A1/edit", form, "Cookie", owner)
	if r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/job/A1" || len(b.jobs) != 1 || !same(b.jobs[0], order()) || b.seen[0] != 3 {
		t.Fatalf("untouched: %d, %+v seen at %v", r.StatusCode, b.jobs, b.seen)
	}
	form.Set("title", "Porch, \"new\"")
	form.Set("blackout", "2027-04-15 2027-04-16")
	form.Set("id", "B2") // the address says whose form it is
	send(site, "/job/A1/edit", form, "Cookie", owner)
	if len(b.jobs) != 2 || b.jobs[1].ID != "A1" || b.jobs[1].Title != `Porch, "new"` || len(b.jobs[1].Blackout) != 2 {
		t.Fatalf("%+v", b.jobs)
	}
	if last := d.deeds[len(d.deeds)-1]; last.Did != "change the order" || last.About != "A1" || !strings.Contains(last.Detail, `title Porch A1 to Porch, "new"`) || strings.Contains(last.Detail, "customer") {
		t.Errorf("recorded %+v", last)
	}
	for field, value := range map[string]string{"site.lat": evil, "roof.work": "paint", "roof.edges": "drip:long", "deadline": "2027-04-01", "title": "", "profile": "unknown", "needs": "skip|soon"} {
		bad := url.Values{}
		for k, v := range form {
			bad[k] = v
		}
		bad.Set(field, value)
		r := send(site, "/job/A1/edit", bad, "Cookie", owner)
		body := text(t, r)
		if r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(body, `id="`+field+`-wrong"`) || strings.Contains(body, "<script") || len(b.jobs) != 2 {
			t.Errorf("%s = %q: %d", field, value, r.StatusCode)
		}
	}
	form.Del("seen")
	if r := send(site, "/job/A1/edit", form, "Cookie", owner); r.StatusCode != http.StatusBadRequest {
		t.Errorf("no revision: %d", r.StatusCode)
	}
	form.Set("seen", "3")
	b.fail = errors.Join(errors.New("change job"), ledger.ErrMoved)
	r = send(site, "/job/A1/edit", form, "Cookie", owner)
	if body := text(t, r); r.StatusCode != http.StatusConflict || !strings.Contains(body, "omebody else changed this while you had it open") {
		t.Errorf("stale: %d %s", r.StatusCode, body)
	}
}

func TestNewJobIsBooked(t *testing.T) {
	h, b := openHouse(), &bench{}
	site, owner, d := benched(t, h, b)
	form := formOf(t, text(t, get(site, "/jobs/new", "Cookie", owner)))
	for k, v := range order().Cells() {
		form.Set(k, v)
	}
	form.Set("id", "N/7 é")
	r := send(site, "/jobs/new", form, "Cookie", owner)
	if r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/job/N%2F7%20%C3%A9" || len(b.jobs) != 1 || b.seen[0] != 0 || d.deeds[0].Did != "book a job" {
		t.Fatalf("%d %s, %+v", r.StatusCode, r.Header.Get("Location"), b.jobs)
	}
	b.fail = ledger.ErrTaken
	if r := send(site, "/jobs/new", form, "Cookie", owner); r.StatusCode != http.StatusConflict || !strings.Contains(text(t, r), "one of that id already") {
		t.Errorf("taken: %d", r.StatusCode)
	}
}

func TestPlaceIsLookedForOnlyWhereItCanBe(t *testing.T) {
	h, b := openHouse(), &bench{places: []Place{{Name: "Howth " + evil, Point: job.Point{Lat: 53.388, Lon: -6.065}, ElevationM: 26, Zone: "Europe/Dublin"}}}
	site, owner, _ := benched(t, h, b)
	form := formOf(t, text(t, get(site, "/job/A1/edit", "Cookie", owner)))
	if form.Has("place") {
		t.Error("a place can be looked for without anybody to ask")
	}
	site, owner, _ = benched(t, h, b, func(c *Config) { c.Jobs.Places = b })
	form = formOf(t, text(t, get(site, "/job/A1/edit", "Cookie", owner)))
	form.Set("place", "Howth")
	form.Set("find", "1")
	form.Set("title", "not lost")
	r := send(site, "/job/A1/edit", form, "Cookie", owner)
	body := text(t, r)
	wants(t, "found", body, "Howth", `value="53.388|-6.065|26|Europe/Dublin"`, "not lost", "A place is not a street")
	hides(t, "found", body, "<script")
	if len(b.jobs) != 0 || b.did[0] != "find Howth" {
		t.Errorf("looking kept something: %v %v", b.jobs, b.did)
	}
	form.Del("find")
	form.Set("pin", "53.388|-6.065|26|Europe/Dublin")
	body = text(t, send(site, "/job/A1/edit", form, "Cookie", owner))
	wants(t, "pinned", body, `name="site.lat" value="53.388"`, "53.3880° north", "km from the depot of Gull")
	form.Del("pin")
	form.Set("find", "1")
	b.fail = errBroken
	wants(t, "no answer", text(t, send(site, "/job/A1/edit", form, "Cookie", owner)), "The search does not answer")
	if len(b.jobs) != 0 {
		t.Error("something was kept")
	}
}

func TestCrewsAndTheirDaysAway(t *testing.T) {
	h, b := openHouse(), &bench{}
	site, owner, d := benched(t, h, b)
	wants(t, "crews", text(t, get(site, "/crews", "Cookie", owner)), "Gull", "2 hands", "Away on Tuesday 20 April.", `href="/crews/edit?crew=gull"`)
	body := text(t, get(site, "/crews/edit?crew=gull", "Cookie", owner))
	form := formOf(t, body)
	form.Set("absences", "2027-04-20 2027-04-21")
	r := send(site, "/crews/edit", form, "Cookie", owner)
	if r.StatusCode != http.StatusSeeOther || len(b.crews) != 1 || len(b.crews[0][0].Absences) != 2 || !sameJSON(b.crews[0][1], h.book.Crews[0]) {
		t.Fatalf("%d, %+v", r.StatusCode, b.crews)
	}
	if !strings.Contains(d.deeds[0].Detail, "absences 2027-04-20 to 2027-04-20 2027-04-21") {
		t.Errorf("recorded %+v", d.deeds[0])
	}
	form.Set("size", "none")
	if r := send(site, "/crews/edit", form, "Cookie", owner); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(text(t, r), `id="size-wrong"`) {
		t.Errorf("no size: %d", r.StatusCode)
	}
	form.Set("size", "2")
	b.fail = ledger.ErrMoved
	if r := send(site, "/crews/edit", form, "Cookie", owner); r.StatusCode != http.StatusConflict {
		t.Errorf("stale: %d", r.StatusCode)
	}
	if r := get(site, "/crews/edit?crew=none", "Cookie", owner); r.StatusCode != http.StatusNotFound {
		t.Errorf("no crew: %d", r.StatusCode)
	}
}

// sendFile posts a form with a file, or a field in its place.
func sendFile(t *testing.T, site http.Handler, cookie, field, content string) *http.Response {
	t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	if field == "file" {
		w, err := m.CreateFormFile("file", evil+".csv")
		if err != nil {
			t.Fatal(err)
		}
		_, _ = w.Write([]byte(content))
	} else if err := m.WriteField(field, content); err != nil {
		t.Fatal(err)
	}
	_ = m.Close()
	return ask(site, http.MethodPost, "https://lay.quay.example/jobs/import", &b, "Cookie", cookie, "Content-Type", m.FormDataContentType(), "Sec-Fetch-Site", "same-origin")
}

func TestFileIsLookedAtAndTakenWholeOrNotAtAll(t *testing.T) {
	h, b := openHouse(), &bench{}
	site, owner, d := benched(t, h, b)
	out := get(site, "/jobs.csv", "Cookie", owner)
	sheet := text(t, out)
	if ct := out.Header.Get("Content-Disposition"); !strings.HasPrefix(ct, "attachment") || !strings.Contains(sheet, "'+353 1 555 0100") {
		t.Fatalf("%q %s", ct, sheet)
	}
	only, _, _ := strings.Cut(sheet, "job,B2") // the others of the house are no whole orders
	good := strings.Replace(only, "Porch A1", "Porch new", 1)
	bad := strings.Replace(good, "53.34", "north", 1)
	r := sendFile(t, site, owner, "file", bad)
	body := text(t, r)
	if r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(body, "site.lat") || !strings.Contains(body, "Nothing is taken in") {
		t.Errorf("a bad file: %d %s", r.StatusCode, body)
	}
	r = sendFile(t, site, owner, "sent", base64.StdEncoding.EncodeToString([]byte(bad)))
	if r.StatusCode != http.StatusUnprocessableEntity || len(b.imports) != 0 {
		t.Errorf("a bad file sent as if looked at: %d, %v", r.StatusCode, b.imports)
	}
	crew, _, _ := strings.Cut(good, "\ncrew,tern")
	_, jobs, _ := strings.Cut(good, "\njob,")
	good = crew + "\njob," + jobs
	r = sendFile(t, site, owner, "file", good)
	body = text(t, r)
	wants(t, "a good file", body, "0 new, 1 changed, 1 as they are", "Porch new", "Take it in")
	if len(b.imports) != 0 {
		t.Fatal("looking took something in")
	}
	sent := regexp.MustCompile(`name="sent" value="([^"]+)"`).FindStringSubmatch(body)
	r = sendFile(t, site, owner, "sent", unescape(sent[1]))
	if r.StatusCode != http.StatusSeeOther || len(b.imports) != 1 || b.imports[0].Jobs[0].Title != "Porch new" || b.imports[0].Jobs[0].Phone != order().Phone {
		t.Fatalf("%d %+v", r.StatusCode, b.imports)
	}
	if d.deeds[0].Did != "take a file in" || d.deeds[0].Detail != "0 new, 1 changed, 1 as they are" {
		t.Errorf("recorded %+v", d.deeds[0])
	}
	for name, content := range map[string]string{"empty": "", "none": "hello", "hostile": evil, "large": strings.Repeat("x", mostFile+1)} {
		r := sendFile(t, site, owner, "file", content)
		if body := text(t, r); r.StatusCode < 400 || strings.Contains(body, "<script") || len(b.imports) != 1 {
			t.Errorf("%s: %d", name, r.StatusCode)
		}
	}
}

// TestHostileOrdersStayText on every page about jobs, whatever field it stands in.
func TestHostileOrdersStayText(t *testing.T) {
	h, b := openHouse(), &bench{}
	site, owner, _ := benched(t, h, b)
	j := &h.book.Jobs[0]
	j.ID, j.Title, j.Customer.Name, j.Customer.Email, j.Site.Address, j.Phone, j.Held, j.Skill = evil, evil, evil, evil, evil, evil, evil, evil
	j.Notes, j.Needs = job.Notes{Access: evil, Parking: evil, PowerWater: evil, Neighbours: evil, RoomBelow: evil}, []job.Need{{What: evil}}
	h.book.Crews[0].Name, h.book.Crews[0].Email, h.book.Crews[0].Skills = evil, evil, []string{evil}
	h.book.Firm.Name, h.book.Firm.Costs.Currency = evil, evil
	h.book.Calls = []call.Call{{Job: evil, Crew: evil, Date: day(8), Outcome: call.Go, Reasons: []string{evil}, Made: at(7, 17, 0)}}
	b.outlook = outlookOf(j.Job)
	b.outlook.Source, b.outlook.Note = evil, evil
	b.outlook.Days[1].Reasons = []string{evil}
	b.outlook.Load.Items[0].Note = evil
	b.why = plan.JobWhy{Job: evil, Stands: evil, Needs: evil, Days: []plan.WhyDay{{Day: day(14), Can: true, Crew: evil, Words: evil}}}
	b.said = []notify.Message{{ID: evil, Subject: evil, Reason: evil, Note: evil, State: notify.Refused, Name: notify.Name{Recipient: evil}}}
	for _, path := range []string{"/jobs?which=all", jobPath(evil), jobPath(evil) + "/why", jobPath(evil) + "/edit", "/jobs/new", "/crews", "/crews/edit?crew=gull", "/jobs/import", "/jobs.csv", "/week"} {
		r := get(site, path, "Cookie", owner)
		body := text(t, r)
		if r.StatusCode != http.StatusOK || r.Header.Get("X-Evil") != "" {
			t.Errorf("%s: %d %v", path, r.StatusCode, r.Header)
		}
		if path != "/jobs.csv" {
			hides(t, path, body, "<script", "ZgotmplZ")
		}
	}
}

// TestJobIsEndedFromItsPage; the back field leads nowhere but to a job's own page.
func TestJobIsEndedFromItsPage(t *testing.T) {
	h, b := openHouse(), &bench{}
	site, owner, d := benched(t, h, b)
	for do, want := range map[string]string{"done": "done A1", "cancel": "cancel A1", "ask": "ask A1 yes", "noask": "ask A1 no", "allow": "allow A1 2027-04-15"} {
		b.did = nil
		r := send(site, "/jobs/do", url.Values{"job": {"A1"}, "do": {do}, "day": {"2027-04-15"}, "back": {"job"}}, "Cookie", owner)
		if r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != "/job/A1" || len(b.did) != 1 || b.did[0] != want {
			t.Errorf("%s: %d, %v", do, r.StatusCode, b.did)
		}
	}
	if len(d.deeds) != 5 {
		t.Errorf("%d deeds", len(d.deeds))
	}
	r := send(site, "/week/release", url.Values{"job": {"//evil.example"}, "back": {"job"}}, "Cookie", owner)
	if l := r.Header.Get("Location"); l != "/job/%2F%2Fevil.example" {
		t.Errorf("leads to %q", l)
	}
}
