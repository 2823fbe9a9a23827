package main

import (
	"context"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"laycast/forecast"
	"laycast/forecast/openmeteo"
	"laycast/job"
	"laycast/scheduler"
)

func TestDemoTellsTheWholeStory(t *testing.T) {
	if raceOn {
		t.Skip("the demo's two weeks take minutes under the race detector: run go test ./cmd/laycast without -race for them")
	}
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "demo")
	o := &office{t: t, dir: t.TempDir(), config: "none.yaml"} // the demo needs no configuration
	out := o.must("demo", "--once", "--dir", dir)
	for _, want := range []string{
		"THE WEEK", "THE EVENING CALL", "THE SECOND LOOK", "THE MAIL TO CREW",
		"From: ", "Subject: ", "is invented", "data sheet",
	} {
		if !strings.Contains(out, want) {
			t.Errorf("the demo does not say %q", want)
		}
	}
	if !regexp.MustCompile(`This plan is (proven best|within [\d.e-]+ % of the best possible)\.`).MatchString(out) {
		t.Error("the plan's bound is not told")
	}
	_, evening, _ := strings.Cut(out, "THE EVENING CALL")
	for _, crew := range []string{"Heron", "Plover"} {
		if !regexp.MustCompile(`\n  ` + crew + ` +(GO|NO-GO|HOLD) +SB-\d\d: .*%`).MatchString(evening) {
			t.Errorf("crew %s has no call", crew)
		}
	}
	mails, err := os.ReadDir(filepath.Join(dir, "mail"))
	if err != nil || len(mails) < 2 {
		t.Errorf("%d mails, %v", len(mails), err)
	}
	secret := regexp.MustCompile(`/p/[\w-]{43}`) // each run has its own link key
	if !secret.MatchString(out) {
		t.Error("the crew's mail has no link to its page")
	}
	pages := filepath.Join(dir, "pages")
	again := o.must("demo", "--once", "--mails", pages)
	story, told, ok := strings.Cut(again, pages)
	if !ok || secret.ReplaceAllString(story, "") != secret.ReplaceAllString(out, "") {
		t.Error("the demo tells another story the second time")
	}
	for _, name := range []string{"crew-go", "crew-no-go", "customer-moved"} {
		b, err := os.ReadFile(filepath.Join(pages, name+".html"))
		picture := strings.Contains(string(b), `src="data:image/png;base64,`)
		if err != nil || !strings.Contains(told, name) || picture == (name == "customer-moved") {
			t.Errorf("%s: %v, with a picture %v", name, err, picture)
		}
	}
}

// what DESIGN section 13 fixes of the JSON
var (
	checkKeys = []string{"job", "issue", "days"}
	issueKeys = []string{"source", "issued", "fetched", "members"}
	dayKeys   = []string{"date", "best_start", "chance", "p_rain_open", "outcome_if_called_now", "windows", "stages", "failing", "hours"}
	stageKeys = []string{"stage", "from", "to", "tightest"}
	tightKeys = []string{"limit", "at", "value", "bound", "margin"}
	hourKeys  = []string{"at", "air_c", "dew_c", "surface_c", "dew_margin_k", "rh_pct", "rain_mm", "wind_ms", "gust_ms", "water_mm", "cure_rate", "daylight"}
	planKeys  = []string{"made", "objective", "bound", "gap", "visits", "left", "changes"}
	visitKeys = []string{"job", "crew", "days", "start", "chance", "told"}
	callKeys  = []string{"job", "crew", "date", "occasion", "revision", "outcome", "chance", "full", "p_rain_open", "basis", "made", "late", "reasons"}
	msgKeys   = []string{"id", "to", "kind", "job", "state", "message_id", "created", "sent", "reason"}
)

type object = map[string]any

func has(t *testing.T, what string, o object, keys []string) {
	t.Helper()
	for _, k := range keys {
		if _, ok := o[k]; !ok {
			t.Errorf("%s lacks %q: it has %v", what, k, o)
		}
	}
}

func objects(v any) []object {
	var out []object
	list, _ := v.([]any)
	for _, x := range list {
		out = append(out, x.(object))
	}
	return out
}

func TestLookingStoresNothing(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(3, "2027-06-01"))
	const now = "2027-06-07T16:20:00Z" // a Monday, 17:20 in Dublin
	c := decode[object](t, o.must("check", "Q-01", "--now", now, "--json"))
	has(t, "check", c, checkKeys)
	has(t, "its issue", c["issue"].(object), issueKeys)
	days := objects(c["days"])
	if len(days) < 7 {
		t.Fatalf("%d days", len(days))
	}
	stages := 0
	for _, d := range days {
		has(t, "a day", d, dayKeys)
		for _, s := range objects(d["stages"]) {
			has(t, "a stage", s, stageKeys)
			has(t, "its tightest", s["tightest"].(object), tightKeys)
			stages++
		}
		for _, h := range objects(d["hours"]) {
			has(t, "an hour", h, hourKeys)
		}
	}
	tomorrow := days[1]
	if stages == 0 || len(objects(tomorrow["hours"])) != 24 || tomorrow["date"] != "2027-06-08" {
		t.Errorf("tomorrow is %v", tomorrow)
	}
	if !slices.Contains([]any{"go", "no-go", "hold"}, tomorrow["outcome_if_called_now"]) {
		t.Errorf("the outcome is %v", tomorrow["outcome_if_called_now"])
	}
	for _, kind := range []string{"svg", "png"} {
		file := filepath.Join(t.TempDir(), "hours."+kind)
		o.must("check", "Q-01", "--now", now, "--on", "2027-06-08", "--ribbon", file)
		b, err := os.ReadFile(file)
		begin := map[string]string{"svg": "<svg ", "png": "\x89PNG"}[kind]
		if err != nil || !strings.HasPrefix(string(b), begin) || len(b) < 5000 || kind == "svg" && !strings.Contains(string(b), "<desc id=\"hours-d\">Rain: ") {
			t.Errorf("the hour ribbon as %s: %d bytes, %v", kind, len(b), err)
		}
	}
	if text := o.must("check", "Q-01", "--now", now, "--on", "2027-06-08"); !strings.Contains(text, "Tuesday 8 June") || !strings.Contains(text, "data sheet") {
		t.Errorf("check says %s", text)
	}
	p := decode[object](t, o.must("plan", "--now", now, "--json"))
	has(t, "plan", p, planKeys)
	visits := objects(p["visits"])
	if len(visits)+len(objects(p["left"])) != 3 {
		t.Errorf("3 jobs, but %v", p)
	}
	for _, v := range visits {
		has(t, "a visit", v, visitKeys)
	}
	o.storedNothing()
}

// storedNothing verifies that there is no forecast, plan, call or message.
func (o *office) storedNothing() {
	o.t.Helper()
	ctx := context.Background()
	h := o.house()
	defer h.close()
	b, err := h.db.Book(ctx, h.firm.UID, job.Date{})
	if err != nil {
		o.t.Fatal(err)
	}
	var cells []forecast.Cell
	for _, j := range b.Jobs {
		cells = append(cells, scheduler.CellOf(j.Site))
	}
	runs, err := h.db.Runs(ctx, openmeteo.Source, cells)
	if err != nil || len(runs) > 0 {
		o.t.Errorf("%d runs are kept, %v", len(runs), err)
	}
	states, err := h.db.SourceStates(ctx)
	if err != nil || len(states) > 0 {
		o.t.Errorf("states %v are kept, %v", states, err)
	}
	messages, err := h.db.Messages(ctx, h.firm.UID)
	if err != nil || len(messages) > 0 {
		o.t.Errorf("%d messages, %v", len(messages), err)
	}
	tasks, err := h.db.Tasks(ctx, h.firm.UID)
	if err != nil || len(tasks) > 0 || b.Week != nil || len(b.Calls) > 0 || b.Life != "new" {
		o.t.Errorf("tasks %v, week %v, calls %v, life %s, %v", tasks, b.Week, b.Calls, b.Life, err)
	}
	for _, v := range b.Visits {
		if len(v.Days) > 0 {
			o.t.Errorf("visit %+v has a place", v)
		}
	}
}
