package main

import (
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler"
	"laycast/web"
)

// TestJobsByThePages: the pages of jobs beside the real scheduler and database. A
// changed order and changed laying limits count from the next verdict on, in this
// process and in every other.
func TestJobsByThePages(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(3, "2027-05-03"))
	o.rehearse("2027-05-03T00:00:00Z", "2027-05-05T10:00:00Z")
	h := o.house()
	defer h.close()
	ask := asker(t, h, time.Date(2027, 5, 5, 10, 0, 0, 0, time.UTC))
	see := func(path string, words ...string) {
		t.Helper()
		body := ask(http.MethodGet, path, nil, http.StatusOK)
		for _, w := range words {
			if !strings.Contains(body, w) {
				t.Errorf("%s does not say %q:\n%s", path, w, body)
			}
		}
	}
	see("/job/Q-01", `class="ribbon"`, "Deck above the dew point", "Load list", "Mix card", "Forecast from open-meteo")
	see("/job/Q-01/why", "The other days", "it stands here")
	see("/jobs", "Roof 1, Pier Road")
	see("/reliability", "roof of 20 m²")

	mine := strings.Replace(string(rules.PolyesterYAML()), "name: polyester", "name: still", 1)
	mine = strings.ReplaceAll(mine, "limit: wind, at_most: 10", "limit: wind, at_most: 0.1")
	ask(http.MethodPost, "/settings/limits", url.Values{"seen": {"0"}, "text": {mine}}, http.StatusSeeOther)

	b, err := h.db.Book(t.Context(), h.firm.UID, job.Date{})
	if err != nil {
		t.Fatal(err)
	}
	form := url.Values{"seen": {"1"}}
	for k, v := range b.Jobs[0].Cells() {
		form.Set(k, v)
	}
	form.Set("title", "Quiet roof")
	form.Set("profile", "still")
	ask(http.MethodPost, "/job/Q-01/edit", form, http.StatusSeeOther)
	see("/job/Q-01", "Quiet roof", "still", "wind stops") // never so still
	ask(http.MethodPost, "/job/Q-01/edit", form, http.StatusConflict)
	see("/log", "change the order", "title Roof 1, Pier Road to Quiet roof", "while you had it open", "change laying limits")

	found := decode[struct {
		Days []struct {
			Date   string   `json:"date"`
			Chance *float64 `json:"chance"`
		} `json:"days"`
	}](t, o.must("check", "Q-01", "--json"))
	for _, d := range found.Days {
		if d.Chance != nil && *d.Chance > 0.01 {
			t.Errorf("on %s the other process gives %v", d.Date, *d.Chance)
		}
	}
	o.rehearse("2027-05-03T00:00:00Z", "2027-05-05T11:00:00Z")
	see("/jobs", "no place on the plan")
}

// asker asks a house's pages at a time, from the machine itself, and wants a status.
func asker(t *testing.T, h *house, now time.Time) func(method, path string, form url.Values, want int) string {
	t.Helper()
	sched, err := h.scheduler(scheduler.NewVirtualClock(now), true, post{}, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	site, err := h.pages(t.Context(), web.NewHealth(watched{h, sched.Clock}, sched.Clock), sched, &web.DemoPages{Firm: h.firm.UID}, zerolog.Nop())
	if err != nil {
		t.Fatal(err)
	}
	return func(method, path string, form url.Values, want int) string {
		t.Helper()
		r := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
		r.RemoteAddr = "127.0.0.1:4711"
		if method == http.MethodPost {
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		}
		w := httptest.NewRecorder()
		site.ServeHTTP(w, r)
		if w.Code != want {
			t.Fatalf("%s %s: %d, want %d: %s", method, path, w.Code, want, w.Body)
		}
		return w.Body.String()
	}
}

// TestJobPagesBeforeTheFirstForecast: a firm that was just set up sees its jobs,
// and that nothing is known of their days.
func TestJobPagesBeforeTheFirstForecast(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(1, "2027-05-03"))
	h := o.house()
	defer h.close()
	ask := asker(t, h, time.Date(2027, 5, 5, 10, 0, 0, 0, time.UTC))
	for path, want := range map[string]string{"/job/Q-01": "not known", "/job/Q-01/why": "no place", "/week": "no plan yet", "/reliability": "No chance has been scored yet", "/jobs": "no place on the plan yet"} {
		if body := ask(http.MethodGet, path, nil, http.StatusOK); !strings.Contains(body, want) || strings.Contains(body, "GO</span>") {
			t.Errorf("%s does not say %q:\n%s", path, want, body)
		}
	}
}
