package web

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"strings"

	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

// Judge looks at one job by the newest forecast.
type Judge interface {
	// JobOutlook judges a job on each day ahead.
	JobOutlook(ctx context.Context, uid, id string) (notify.JobOutlook, error)
	// JobWhy says why a job stands where it does and what each other day costs.
	JobWhy(ctx context.Context, uid, id string) (plan.JobWhy, error)
}

// JobRecords reads what was said about one job.
type JobRecords interface {
	// JobMessages gives messages without their bytes, newest first.
	JobMessages(ctx context.Context, uid, id string, most int) ([]notify.Message, error)
	// JobChances gives the chances of its calls, scored or not.
	JobChances(ctx context.Context, uid, id string) ([]ledger.Chance, error)
}

// Ender changes how one job stands, beside Desk and Pinner.
type Ender interface {
	Done(ctx context.Context, uid, id string) error
	Cancel(ctx context.Context, uid, id string) error
	Allow(ctx context.Context, uid, id string, d job.Date) error
	AskFirst(ctx context.Context, uid, id string, ask bool) error
}

// JobPages are what the job book and the pages of single jobs need beside Desk.
type JobPages struct {
	Judge   Judge
	Records JobRecords
	Ender   Ender  // nil: the pages neither end nor cancel a job
	Editor  Editor // nil: orders and crews are shown only
	Places  Places // nil: coordinates are typed by hand
	// PlaceCredit says whose places they are.
	PlaceCredit string
}

// jobRoutes are the job book and the pages of single jobs.
func (s *site) jobRoutes(mux *http.ServeMux) {
	see := func(pattern string, h insidePage) {
		mux.Handle(pattern, only(s.inside(h), http.MethodGet, http.MethodHead))
	}
	see("/jobs", s.jobs)
	see("/jobs.csv", s.exportJobs)
	see("/crews", s.crews)
	see("/job/{id}", s.jobPage)
	see("/job/{id}/why", s.jobWhy)
	if s.Desk != nil && s.Jobs.Ender != nil {
		mux.Handle("/jobs/do", only(s.inside(s.change(s.endJob)), http.MethodPost))
	}
	if !s.edits() {
		return
	}
	both := func(pattern string, show, take insidePage) {
		h := func(w http.ResponseWriter, r *http.Request, v viewer) {
			switch {
			case v.Looks:
				plain(w, http.StatusForbidden, "From here the demonstration may be looked at only.")
			case r.Method == http.MethodPost:
				take(w, r, v)
			default:
				show(w, r, v)
			}
		}
		mux.Handle(pattern, only(s.inside(h), http.MethodGet, http.MethodHead, http.MethodPost))
	}
	both("/jobs/new", s.newJob, s.saveJob)
	both("/job/{id}/edit", s.editJob, s.saveJob)
	both("/jobs/import", s.askImport, s.takeImport)
	both("/crews/edit", s.editCrew, s.saveCrew)
}

// edits reports whether orders may be changed by the pages at all.
func (s *site) edits() bool { return s.Jobs != nil && s.Jobs.Editor != nil && s.Deeds != nil }

// jobPath is where the page of a job is found.
func jobPath(id string) string { return "/job/" + url.PathEscape(id) }

// jobsPage is the job book.
type jobsPage struct {
	Q     string
	Which []choice
	Rows  []jobRow
	Of    int // jobs in the book
	Acts  bool
}

type jobRow struct {
	Path, ID, Roof, Customer, Place string
	Stands, Tone                    string
	Chance                          string
}

// jobs lists the jobs of the book, those asked for.
func (s *site) jobs(w http.ResponseWriter, r *http.Request, v viewer) {
	b, at, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "jobs", err)
		return
	}
	q, which := r.URL.Query().Get("q"), cmp.Or(r.URL.Query().Get("which"), "open")
	p := jobsPage{Q: q, Of: len(b.Jobs), Acts: s.edits() && !v.Looks}
	for _, c := range []choice{{"open", "to be laid", false}, {"held", "on hold", false}, {"over", "done or cancelled", false}, {"all", "all", false}} {
		c.On = c.Value == which
		p.Which = append(p.Which, c)
	}
	for _, j := range b.Jobs {
		if among(j, which) && matches(j, q) {
			p.Rows = append(p.Rows, jobRowOf(b, j, at))
		}
	}
	s.show(w, http.StatusOK, "jobs", frame{Title: "Jobs", Firm: notify.Clean(b.Firm.Name), Viewer: &v, Credit: s.creditFor(b), Body: p})
}

// among reports whether a job is one of those asked for.
func among(j job.Booking, which string) bool {
	held := cmp.Or(j.Held, j.HoldReason) != ""
	switch which {
	case "held":
		return j.State == job.Booked && held
	case "over":
		return j.State != job.Booked
	case "all":
		return true
	}
	return j.State == job.Booked
}

// matches reports whether every word of a search stands somewhere in a job.
func matches(j job.Booking, q string) bool {
	text := strings.ToLower(strings.Join([]string{j.ID, j.Title, j.Customer.Name, j.Customer.Email, j.Site.Address, j.Phone}, "\n"))
	for _, w := range strings.Fields(strings.ToLower(q)) {
		if !strings.Contains(text, w) {
			return false
		}
	}
	return true
}

func jobRowOf(b ledger.Book, j job.Booking, at moment) jobRow {
	row := jobRow{Path: jobPath(j.ID), ID: notify.Clean(j.ID), Roof: notify.Roof(j.Job), Customer: notify.Clean(j.Customer.Name), Place: notify.Clean(j.Site.Address)}
	row.Stands, row.Tone = standsWords(b, j, at)
	if b.Week != nil && j.State == job.Booked {
		for _, v := range b.Week.Visits {
			if v.Job == j.ID && v.Chance > 0 && rules.Basis(v.Basis) != rules.FromClimate {
				row.Chance = notify.Percent(v.Chance)
			}
		}
	}
	return row
}

// standsWords says in a line where a job stands, and in which tone.
func standsWords(b ledger.Book, j job.Booking, at moment) (words, tone string) {
	held := cmp.Or(j.Held, j.HoldReason)
	switch {
	case j.State != job.Booked:
		return string(j.State), "none"
	case held != "":
		return "on hold: " + notify.Clean(held), "hold"
	case j.Asked:
		return "you were asked how its last day went", "hold"
	}
	for _, v := range b.Visits {
		first := v.First()
		if v.Job != j.ID || first.IsZero() || v.State != job.Planned && v.State != job.Started {
			continue
		}
		words = first.Words() + ", " + crewName(b, v.Crew)
		if v.Told != first {
			words += ", provisional"
		}
		if k := standing(b.Calls, j.ID, first); k != nil && !first.Before(at.today) {
			return words + ", called " + string(k.Outcome), string(k.Outcome)
		}
		return words, ""
	}
	if b.Week != nil {
		for _, l := range b.Week.Left {
			if l.Job == j.ID {
				return "no place on the plan: " + notify.Clean(l.Reason), "none"
			}
		}
	}
	return "no place on the plan yet", "none"
}

// endJob does what ends a job, or lifts a word of the owner's.
func (s *site) endJob(form url.Values, _ viewer) (change, string) {
	id, uid, e := form.Get("job"), s.firmUID(), s.Jobs.Ender
	c := change{about: id}
	switch form.Get("do") {
	case "done":
		c.did, c.do = "record as done", func(ctx context.Context) error { return e.Done(ctx, uid, id) }
	case "cancel":
		c.did, c.do = "cancel", func(ctx context.Context) error { return e.Cancel(ctx, uid, id) }
	case "ask":
		c.did, c.do = "ask before any move", func(ctx context.Context) error { return e.AskFirst(ctx, uid, id, true) }
	case "noask":
		c.did, c.do = "do not ask before a move", func(ctx context.Context) error { return e.AskFirst(ctx, uid, id, false) }
	case "allow":
		d, err := job.ParseDate(form.Get("day"))
		if err != nil {
			return change{}, "The form does not say which day."
		}
		c.did, c.detail, c.do = "allow a day again", d.Words(), func(ctx context.Context) error { return e.Allow(ctx, uid, id, d) }
	default:
		return change{}, "The form does not say what to do with the job."
	}
	return c, ""
}
