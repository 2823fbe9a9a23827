package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"laycast/job"
	"laycast/scheduler/ledger"
)

// TestSettingsAreTypedInPlainWords: times, days and prices as the owner types them;
// what is wrong is told beside its field, with what was typed still in it, and a
// change is on record.
func TestSettingsAreTypedInPlainWords(t *testing.T) {
	h, d := openHouse(), &desk{}
	site, owner, office := insideOf(t, h, d, func(c *Config) { c.Locked = []string{"times.tell"} })
	body := text(t, get(site, "/settings", "Cookie", owner))
	wants(t, "settings", body, `name="times.call" value="18:00"`, `name="times.week_mail" value="Monday 06:00"`, `value="mon" checked`, `name="costs.move.days" value="2"`, `name="costs.move.cost" value="200.00"`,
		"09:00 16:00</span> <span class=\"small\">set in the configuration file, which comes before this page", `<textarea id="work.off"`)
	hides(t, "settings", body, `name="times.tell"`)
	wants(t, "for the office", text(t, get(site, "/settings", "Cookie", office)), "18:00", "mon tue wed thu fri", "up to 2 days ahead 200.00 EUR")

	form := formOf(t, body)
	form["work.days"] = []string{"", "mon", "tue", "wed", "thu", "fri"}
	form["costs.move.days"] = []string{"2", "4", "7", "14", "99", ""}
	form["costs.move.cost"] = []string{"200.00", "120.00", "70.00", "30.00", "10.00", ""}
	post := func(change func(url.Values)) (int, string) {
		t.Helper()
		next := url.Values{}
		for k, v := range form {
			next[k] = append([]string{}, v...)
		}
		change(next)
		r := send(site, "/settings", next, "Cookie", owner)
		return r.StatusCode, text(t, r)
	}
	if status, _ := post(func(url.Values) {}); status != http.StatusSeeOther || len(d.deeds) != 0 {
		t.Fatalf("nothing changed: %d, recorded %+v", status, d.deeds)
	}
	for name, c := range map[string]struct {
		change func(url.Values)
		want   []string
	}{
		"no time":     {func(v url.Values) { v.Set("times.call", "at six") }, []string{`name="times.call" value="at six"`, `id="times.call-wrong">Write a time of day such as 18:00.`}},
		"too early":   {func(v url.Values) { v.Set("times.call", "17:00") }, []string{`value="17:00"`, `id="times.call-wrong">The fetch (17:15) has to come before the evening call (17:00).`}},
		"no day":      {func(v url.Values) { v["work.days"] = []string{""} }, []string{`id="work.days-wrong">Nobody would ever work; choose at least one day.`}},
		"no date":     {func(v url.Values) { v.Set("work.off", "Christmas "+evil) }, []string{"Christmas &#34;&gt;&lt;script&gt;", `id="work.off-wrong"`}},
		"a bad price": {func(v url.Values) { v["costs.move.cost"][1] = "a lot" }, []string{`name="costs.move.cost" value="a lot"`, `id="costs.move-wrong">&#34;a lot&#34; for 4 days is not an amount`}},
	} {
		status, body := post(c.change)
		if status != http.StatusUnprocessableEntity || d.edits != nil || strings.Contains(body, "<script") {
			t.Errorf("%s: %d, kept %v", name, status, d.edits)
		}
		wants(t, name, body, append(c.want, "Nothing was saved")...)
	}
	status, _ := post(func(v url.Values) {
		v.Set("times.call", "18:30")
		v.Set("times.absence", "18:50")
		v.Set("times.tell", "11:00") // the file's
		v["work.days"] = append(v["work.days"], "sat")
		v.Set("work.off", "2027-12-24")
		v["costs.move.days"][5], v["costs.move.cost"][5] = "200", "5"
	})
	f := h.book.Firm
	if status != http.StatusSeeOther || len(d.edits) != 5 || f.Times.Call != "30 18 * * *" || f.Times.Absence != "50 18 * * *" || f.Times.Tell != "0 9,16 * * *" || len(f.Work.Days) != 6 || len(f.Work.Off) != 1 || len(f.Costs.Move) != 6 {
		t.Fatalf("%d %v, %+v", status, d.edits, f)
	}
	if len(d.deeds) != 1 {
		t.Fatalf("recorded %+v", d.deeds)
	}
	wants(t, "the record", d.deeds[0].Detail, "times.call 18:00 to 18:30", "work.off nothing to 2027-12-24", "up to 99 days ahead 10.00 EUR, up to 200 days ahead 5.00 EUR")
}

// TestStaleFormsKeepWhatWasTyped: where somebody else was first, the form comes back
// with what was typed, what is in the book beside it, and saves when sent once more.
func TestStaleFormsKeepWhatWasTyped(t *testing.T) {
	t.Run("settings", func(t *testing.T) {
		h, d := openHouse(), &desk{settings: 3}
		site, owner, _ := insideOf(t, h, d)
		form := url.Values{"seen": {"2"}, "bounds.go": {"66"}, "tell_ahead": {"3"}}
		r := send(site, "/settings", form, "Cookie", owner)
		body := text(t, r)
		if r.StatusCode != http.StatusConflict || d.edits != nil {
			t.Fatalf("%d, kept %v", r.StatusCode, d.edits)
		}
		wants(t, "stale", body, "Nothing was saved. Somebody else changed this", `name="bounds.go" value="66"`, "In force now: 70 %", `name="seen" value="3"`)
		if strings.Count(body, "In force now") != 1 {
			t.Error("what nobody changed is shown as changed")
		}
		form.Set("seen", "3")
		if r := send(site, "/settings", form, "Cookie", owner); r.StatusCode != http.StatusSeeOther || d.edits["bounds.go"] != "66" {
			t.Errorf("%d, kept %v", r.StatusCode, d.edits)
		}
	})
	t.Run("job", func(t *testing.T) {
		h, b := openHouse(), &bench{}
		site, owner, _ := benched(t, h, b)
		form := formOf(t, text(t, get(site, "/job/A1/edit", "Cookie", owner)))
		form.Set("title", "Mine "+evil)
		form.Set("value", "1850.0")
		h.book.Jobs[0].Title, h.book.Jobs[0].Value, h.book.Jobs[0].Revision = "Theirs", 185000, 9
		b.fail = ledger.ErrMoved
		r := send(site, "/job/A1/edit", form, "Cookie", owner)
		body := text(t, r)
		if r.StatusCode != http.StatusConflict || strings.Contains(body, "<script") {
			t.Fatalf("%d %s", r.StatusCode, body)
		}
		wants(t, "stale", body, `value="Mine &#34;&gt;`, "In the book now: Theirs", `name="seen" value="9"`, `action="/job/A1/edit"`)
		if strings.Count(body, "In the book now") != 1 {
			t.Error("a value that is written otherwise is shown as another")
		}
		b.fail = nil
		again := formOf(t, body)
		if r := send(site, "/job/A1/edit", again, "Cookie", owner); r.StatusCode != http.StatusSeeOther || b.seen[len(b.seen)-1] != 9 || !strings.HasPrefix(b.jobs[len(b.jobs)-1].Title, "Mine") {
			t.Errorf("%d, seen %v", r.StatusCode, b.seen)
		}
	})
	t.Run("new job", func(t *testing.T) {
		b := &bench{fail: ledger.ErrTaken}
		site, owner, _ := benched(t, openHouse(), b)
		form := url.Values{"seen": {"0"}}
		for k, v := range order().Cells() {
			form.Set(k, v)
		}
		form.Set("title", "Typed with care")
		wants(t, "taken", text(t, send(site, "/jobs/new", form, "Cookie", owner)), `value="Typed with care"`, `id="id-wrong">There is one of that id already`, `name="seen" value="0"`)
	})
	t.Run("crew", func(t *testing.T) {
		h, b := openHouse(), &bench{}
		site, owner, _ := benched(t, h, b)
		form := formOf(t, text(t, get(site, "/crews/edit?crew=gull", "Cookie", owner)))
		form.Set("plan_b", "sharpen the rollers")
		h.book.Crews[0].Name = "Herring gull"
		b.fail = ledger.ErrMoved
		body := text(t, send(site, "/crews/edit", form, "Cookie", owner))
		wants(t, "stale", body, "sharpen the rollers</textarea>", "In the book now: Herring gull", "In the book now: nothing")
		var seen job.Crew
		b.fail = nil
		send(site, "/crews/edit", formOf(t, body), "Cookie", owner)
		if seen = b.crews[len(b.crews)-1][1]; seen.Name != "Herring gull" {
			t.Errorf("saved over %+v", seen)
		}
	})
	t.Run("limits", func(t *testing.T) {
		h, b := openHouse(), &bench{}
		site, owner, d := benched(t, h, b)
		form := formOf(t, text(t, get(site, "/settings/limits", "Cookie", owner)))
		d.settings = 5
		body := text(t, send(site, "/settings/limits", form, "Cookie", owner))
		wants(t, "stale", body, "Nothing was saved. Somebody else", "name: my own", `name="seen" value="5"`)
	})
}
