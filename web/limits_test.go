package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"laycast/job"
	"laycast/rules"
)

// TestLimitsOfTheFirmsOwn: the owner makes, mends and drops a profile; what is
// wrong is named by its line, and a stale form undoes nothing.
func TestLimitsOfTheFirmsOwn(t *testing.T) {
	h, b := openHouse(), &bench{}
	site, owner, d := benched(t, h, b)
	body := text(t, get(site, "/settings/limits", "Cookie", owner))
	wants(t, "new limits", body, "name: my own", "built-in text to begin from")
	mine := strings.Replace(string(rules.PolyesterYAML()), "name: polyester", "name: cold & windy", 1)
	post := func(kv ...string) *http.Response {
		form := url.Values{}
		for i := 0; i < len(kv); i += 2 {
			form.Set(kv[i], kv[i+1])
		}
		return send(site, "/settings/limits", form, "Cookie", owner)
	}
	for name, c := range map[string]struct{ text, want string }{
		"a taken name": {string(rules.PolyesterYAML()), "already"},
		"a wrong key":  {mine + "\nhurry: yes\n", "Line "},
		"a wrong text": {strings.Replace(mine, "at_most: ", "at_most: x", 1), "Line "},
		"hostile":      {evil, "Nothing was saved"},
	} {
		r := post("seen", "0", "text", c.text)
		if body := text(t, r); r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(body, c.want) || strings.Contains(body, "<script") || d.edits != nil {
			t.Errorf("%s: %d", name, r.StatusCode)
		}
	}
	r := post("seen", "0", "text", strings.ReplaceAll(mine, "\n", "\r\n"))
	if r.StatusCode != http.StatusSeeOther || h.book.Firm.Profiles["cold & windy"] != mine || len(d.deeds) != 1 || d.deeds[0].About != "cold & windy" || d.deeds[0].Detail != "new" {
		t.Fatalf("%d %s, %v, recorded %+v", r.StatusCode, text(t, r), h.book.Firm.Profiles, d.deeds)
	}
	body = text(t, get(site, "/settings", "Cookie", owner))
	wants(t, "settings", body, "cold &amp; windy, made here", "polyester, built in", "/settings/limits?profile=cold%20%26%20windy")
	wants(t, "an order", text(t, get(site, "/job/A1/edit", "Cookie", owner)), `<option value="cold &amp; windy"`)

	next := strings.Replace(mine, "strip:", "strip:", 1)
	next = strings.Replace(next, "at_most: 10", "at_most: 8", 1)
	if next == mine {
		t.Fatal("the profile has no wind limit of 10")
	}
	if r := post("seen", "0", "profile", "cold & windy", "text", next); r.StatusCode != http.StatusConflict || h.book.Firm.Profiles["cold & windy"] != mine {
		t.Errorf("stale: %d", r.StatusCode)
	}
	if r := post("seen", "1", "profile", "cold & windy", "text", next); r.StatusCode != http.StatusSeeOther || h.book.Firm.Profiles["cold & windy"] != next {
		t.Errorf("changed: %d", r.StatusCode)
	}
	if last := d.deeds[len(d.deeds)-1]; !strings.Contains(last.Detail, "wind at most 10 m/s to at most 8 m/s") {
		t.Errorf("recorded %+v", last)
	}
	if r := post("seen", "2", "profile", "cold & windy", "text", strings.Replace(next, "cold & windy", "other", 1)); r.StatusCode != http.StatusUnprocessableEntity {
		t.Errorf("renamed: %d", r.StatusCode)
	}
	h.book.Jobs[0].Profile = "cold & windy"
	wants(t, "its page", text(t, get(site, "/settings/limits?profile=cold+%26+windy", "Cookie", owner)), "Laid by these limits: A1.")
	if r := post("seen", "2", "profile", "cold & windy", "do", "drop"); r.StatusCode != http.StatusConflict || len(h.book.Firm.Profiles) != 1 {
		t.Errorf("dropped under a job: %d", r.StatusCode)
	}
	h.book.Jobs[0].State = job.Done
	if r := post("seen", "2", "profile", "cold & windy", "do", "drop"); r.StatusCode != http.StatusSeeOther || len(h.book.Firm.Profiles) != 0 {
		t.Errorf("dropped: %d, %v", r.StatusCode, h.book.Firm.Profiles)
	}
	if r := get(site, "/settings/limits?profile=none", "Cookie", owner); r.StatusCode != http.StatusNotFound {
		t.Errorf("none: %d", r.StatusCode)
	}
	other, _, office := insideOf(t, h, &desk{})
	if r := get(other, "/settings/limits", "Cookie", office); r.StatusCode != http.StatusForbidden {
		t.Errorf("the office: %d", r.StatusCode)
	}
	if r := send(other, "/settings/limits", url.Values{"seen": {"0"}, "text": {mine}}, "Cookie", office); r.StatusCode != http.StatusForbidden || len(h.book.Firm.Profiles) != 0 {
		t.Errorf("the office makes limits: %d", r.StatusCode)
	}
}
