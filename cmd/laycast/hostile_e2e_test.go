package main

import (
	"bytes"
	"encoding/json"
	"net/http"
	"net/mail"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"laycast/job"
)

// TestHostileTextsStayText: what is typed into every text field of the pages, a script
// and a header among it, comes out of pages, mails, calendars and files as text.
func TestHostileTextsStayText(t *testing.T) {
	t.Parallel()
	const evil = "\"><script>alert(1)</script>\r\nX-Evil: 1\r\nBcc: x@evil.example\r\n\r\n=HYPERLINK(1) {{.}} %0d%0a ${x} \u202e"
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(3, "2027-05-03"))
	o.rehearse("2027-05-03T00:00:00Z", "2027-05-03T10:00:00Z")
	h := o.house()
	defer h.close()
	ask := asker(t, h, time.Date(2027, 5, 3, 10, 0, 0, 0, time.UTC))
	b, err := h.db.Book(t.Context(), h.firm.UID, job.Date{})
	if err != nil {
		t.Fatal(err)
	}
	fill := func(cells map[string]string, seen string, fields ...string) url.Values {
		form := url.Values{"seen": {seen}}
		for k, v := range cells {
			form.Set(k, v)
		}
		for _, f := range fields {
			form.Set(f, f+evil)
		}
		return form
	}
	for _, j := range b.Jobs {
		form := fill(j.Cells(), "1", "title", "customer.name", "site.address", "notes.access", "notes.parking", "notes.power_water", "notes.neighbours", "notes.room_below")
		ask(http.MethodPost, "/job/"+j.ID+"/edit", form, http.StatusSeeOther)
	}
	for _, c := range b.Crews {
		seen, err := json.Marshal(c)
		if err != nil {
			t.Fatal(err)
		}
		ask(http.MethodPost, "/crews/edit", fill(c.Cells(), string(seen), "name", "skills", "plan_b"), http.StatusSeeOther)
	}
	ask(http.MethodPost, "/week/hold", url.Values{"job": {"Q-03"}, "reason": {evil}}, http.StatusSeeOther)
	ask(http.MethodPost, "/settings", url.Values{"seen": {"0"}, "firm.phone": {evil}}, http.StatusUnprocessableEntity)
	ask(http.MethodPost, "/settings", url.Values{"seen": {"0"}, "firm.phone": {`"><script>alert(1)</script>`}}, http.StatusSeeOther)
	ask(http.MethodPost, "/settings/limits", url.Values{"seen": {"1"}, "text": {"name: " + evil}}, http.StatusUnprocessableEntity)
	ask(http.MethodPost, "/job/Q-02/edit", url.Values{"seen": {"2"}, "title": {evil}, "site.lat": {evil}, "roof.edges": {evil}}, http.StatusUnprocessableEntity)
	o.rehearse("2027-05-03T00:00:00Z", "2027-05-06T12:00:00Z")

	late := asker(t, h, time.Date(2027, 5, 6, 12, 0, 0, 0, time.UTC))
	pages := []string{"/week", "/jobs?which=all", "/crews", "/log", "/settings", "/reliability", "/jobs/import", "/links", "/job/Q-01", "/job/Q-01/why", "/job/Q-01/edit", "/job/Q-01/record", "/job/Q-03", "/crews/edit?crew=gull"}
	for _, who := range [][]string{{"--crew", "gull"}, {"--crew", "tern"}, {"--customer", "customer1@mail.example"}, {"--owner"}} {
		made := decode[linkOut](t, o.must(append([]string{"link", "new", "--json"}, who...)...))
		u, err := url.Parse(made.URL)
		if err != nil {
			t.Fatal(err)
		}
		pages = append(pages, u.Path)
	}
	shown := 0
	for _, path := range pages {
		body := late(http.MethodGet, path, nil, http.StatusOK)
		if strings.Contains(body, "<script") || strings.Contains(body, "ZgotmplZ") || strings.Contains(body, "\u202e") {
			t.Errorf("%s takes a text for its own:\n%s", path, body)
		}
		shown += strings.Count(body, "&lt;script&gt;")
	}
	if shown < 20 {
		t.Errorf("the texts are shown %d times only", shown)
	}
	for _, line := range strings.Split(late(http.MethodGet, "/jobs.csv", nil, http.StatusOK), "\n") {
		for _, cell := range strings.Split(line, ",") {
			if strings.HasPrefix(strings.Trim(cell, `"`), "=") {
				t.Errorf("a cell begins with a formula: %s", cell)
			}
		}
	}
	o.mailsBearNoHeaderOf(t, "X-Evil", "Bcc")
}

// mailsBearNoHeaderOf fails where a mail bears a header that was put into it, or a
// script in its HTML.
func (o *office) mailsBearNoHeaderOf(t *testing.T, names ...string) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(o.mail, "*.eml"))
	if err != nil {
		t.Fatal(err)
	}
	marked := 0
	for _, f := range files {
		raw, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		m, err := mail.ReadMessage(bytes.NewReader(raw))
		if err != nil {
			t.Errorf("%s: %v", f, err)
			continue
		}
		for _, n := range names {
			if m.Header.Get(n) != "" {
				t.Errorf("%s bears %s: %s", f, n, m.Header.Get(n))
			}
		}
		if to, err := m.Header.AddressList("To"); err != nil || len(to) != 1 || strings.Contains(to[0].Address, "evil") {
			t.Errorf("%s goes to %v, %v", f, m.Header["To"], err)
		}
		plain := strings.ReplaceAll(string(raw), "=\r\n", "")
		if at := strings.Index(plain, "<html"); at >= 0 && strings.Contains(plain[at:], "<script") {
			t.Errorf("%s has a script", f)
		}
		if strings.Contains(plain, "alert(1)") {
			marked++
		}
	}
	if len(files) < 5 || marked < 3 {
		t.Errorf("%d mails, %d with the texts", len(files), marked)
	}
}
