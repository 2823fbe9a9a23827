package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	onsite "laycast/rules/site"
	"laycast/scheduler/ledger"
)

// Crews takes what crews say on site, and gives what they need there.
type Crews interface {
	// Report takes down what a crew says of its day; false where it said the
	// same last.
	Report(ctx context.Context, uid string, r job.Report) (bool, error)
	// Note adds readings and batches.
	Note(ctx context.Context, uid string, x job.Diary) error
	// OnSite gives load list, hours and mix card of a job on a day; false where
	// its crew is not called.
	OnSite(ctx context.Context, b ledger.Book, id string, d job.Date) (ledger.OnSite, bool, error)
	// Answer says what a reading comes to by the forecast that stands now.
	Answer(ctx context.Context, uid string, r job.Reading) (onsite.Answer, error)
}

// crewForm is a form as it was sent and was not taken: shown again with what is
// wrong.
type crewForm struct {
	anchor string // of the job and day it is about
	kind   string // report, reading or batch
	values url.Values
	bad    map[string]string // by field; "" is about the whole
}

// crewRoutes are the forms of a crew's page.
func (s *site) crewRoutes(mux *http.ServeMux) {
	do := func(pattern string, h func(w http.ResponseWriter, r *http.Request, l access.Link)) {
		mux.Handle(pattern, only(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			formHeaders(w)
			l, ok := s.open(w, r, r.PathValue("token"), access.Page)
			switch {
			case !ok:
			case l.Audience != access.Crew:
				s.miss(w, r)
			case readForm(w, r):
				h(w, r, l)
			}
		}), http.MethodPost))
	}
	do("/p/{token}/report", s.report)
	do("/p/{token}/reading", s.reading)
	do("/p/{token}/batch", s.batch)
}

// report takes one of the buttons.
func (s *site) report(w http.ResponseWriter, r *http.Request, l access.Link) {
	f := r.PostForm
	e, bad, err := s.entry(r.Context(), l, "report", f)
	if err != nil {
		s.unavailable(w, "crew", err)
		return
	}
	x := job.Report{Entry: e, What: job.What(f.Get("what"))}
	if x.What == job.Halted {
		x.Cause, x.Because, x.Tight = job.Cause(f.Get("cause")), notify.Clean(f.Get("because")), f.Get("tight") == "yes"
	}
	if err := x.Check(); err != nil {
		bad[""] = err.Error()
	}
	if len(bad) == 0 {
		if _, err := s.Crews.Report(r.Context(), l.Firm, x); err != nil {
			s.Log.Warn().Err(err).Str("crew", l.ID).Str("job", e.Job).Msg("a crew's report was not taken")
			bad[""] = err.Error()
		}
	}
	s.answered(w, r, l, "report", e, bad)
}

// reading takes what was measured.
func (s *site) reading(w http.ResponseWriter, r *http.Request, l access.Link) {
	f := r.PostForm
	e, bad, err := s.entry(r.Context(), l, "reading", f)
	if err != nil {
		s.unavailable(w, "crew", err)
		return
	}
	x := job.Reading{Entry: e, Note: notify.Clean(f.Get(job.FieldNote))}
	for field, into := range map[string]**float64{job.FieldAir: &x.AirC, job.FieldRH: &x.RHPct, job.FieldSurface: &x.SurfaceC, job.FieldMoisture: &x.MoisturePct} {
		if v, ok := number(f, field, bad); ok {
			*into = &v
		}
	}
	s.note(w, r, l, "reading", e, bad, x.Check(), job.Diary{Readings: []job.Reading{x}})
}

// batch takes what was mixed.
func (s *site) batch(w http.ResponseWriter, r *http.Request, l access.Link) {
	f := r.PostForm
	e, bad, err := s.entry(r.Context(), l, "batch", f)
	if err != nil {
		s.unavailable(w, "crew", err)
		return
	}
	x := job.Batch{Entry: e, Topcoat: f.Get("for") == "topcoat", Lot: notify.Clean(f.Get(job.FieldLot)), ResinLot: notify.Clean(f.Get(job.FieldResinLot)), Note: notify.Clean(f.Get(job.FieldNote))}
	for field, into := range map[string]*float64{job.FieldResin: &x.ResinKg, job.FieldDose: &x.DosePct, job.FieldArea: &x.AreaM2} {
		if v, ok := number(f, field, bad); ok {
			*into = v
		}
	}
	s.note(w, r, l, "batch", e, bad, x.Check(), job.Diary{Batches: []job.Batch{x}})
}

// note keeps a reading or a batch where nothing is wrong with it.
func (s *site) note(w http.ResponseWriter, r *http.Request, l access.Link, kind string, e job.Entry, bad map[string]string, wrong []job.FieldError, x job.Diary) {
	for _, p := range wrong {
		if bad[p.Field] == "" {
			bad[p.Field] = p.Reason
		}
	}
	if len(bad) == 0 {
		if err := s.Crews.Note(r.Context(), l.Firm, x); err != nil {
			s.Log.Warn().Err(err).Str("crew", l.ID).Str("job", e.Job).Msg("a crew's " + kind + " was not taken")
			bad[""] = err.Error()
		}
	}
	s.answered(w, r, l, kind, e, bad)
}

// answered leads back to the page, or shows it again with what is wrong.
func (s *site) answered(w http.ResponseWriter, r *http.Request, l access.Link, kind string, e job.Entry, bad map[string]string) {
	anchor := job.Anchor(e.Job, e.Date)
	if len(bad) == 0 {
		to := s.base + "/p/" + r.PathValue("token") + "?noted=" + e.ID + "#" + anchor
		http.Redirect(w, r, to, http.StatusSeeOther)
		return
	}
	s.crewPage(w, r, l, http.StatusUnprocessableEntity, &crewForm{anchor: anchor, kind: kind, values: r.PostForm, bad: bad})
}

// entry reads what every form bears. Its id is made of what the form says and of
// how many lines its page had seen, so that a form sent twice is one line.
func (s *site) entry(ctx context.Context, l access.Link, kind string, f url.Values) (job.Entry, map[string]string, error) {
	bad := map[string]string{}
	e := job.Entry{Job: f.Get("job"), Crew: l.ID, By: "crew"}
	var err error
	if e.Date, err = job.ParseDate(f.Get("date")); err != nil || e.Job == "" || len(e.Job) > mostID {
		bad[""] = "the form does not say which roof and day; please open the page anew"
	}
	parts := []string{kind, l.ID, e.Job, e.Date.String()}
	for _, k := range []string{"after", "what", "cause", "because", "tight", "time", "for", job.FieldAir, job.FieldRH, job.FieldSurface,
		job.FieldMoisture, job.FieldNote, job.FieldResin, job.FieldResinLot, job.FieldLot, job.FieldDose, job.FieldArea} {
		parts = append(parts, f.Get(k))
	}
	e.ID = job.EntryID(parts...)
	if t := strings.TrimSpace(f.Get("time")); t != "" && len(bad) == 0 {
		firm, err := s.Feeds.Firm(ctx, l.Firm)
		if err != nil {
			return e, bad, err
		}
		if e.At, err = timeOf(t, e.Date, firm, s.Clock.Now()); err != nil {
			bad["time"] = err.Error()
		}
	}
	return e, bad, nil
}

// timeOf reads a time of a day that is over.
func timeOf(t string, d job.Date, f job.Firm, now time.Time) (time.Time, error) {
	zone, err := job.LoadZone(f.Zone)
	if err != nil {
		return time.Time{}, fmt.Errorf("the firm's zone: %w", err)
	}
	clock, err := job.ParseTimeOfDay(t)
	if err != nil {
		return time.Time{}, errors.New("write a time such as 08:20")
	}
	at := job.Instant(d, clock, zone)
	if at.After(now) {
		return time.Time{}, errors.New("that time is still ahead")
	}
	return at, nil
}

// number reads a field, with a comma or a point; false where it is empty or none.
func number(f url.Values, field string, bad map[string]string) (float64, bool) {
	t := strings.TrimSpace(f.Get(field))
	if t == "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(strings.Replace(t, ",", ".", 1), 64)
	if err != nil || len(t) > 20 {
		bad[field] = "write a number such as 14.5"
		return 0, false
	}
	return v, true
}
