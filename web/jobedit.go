package web

import (
	"cmp"
	"context"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"laycast/job"
	"laycast/notify"
)

// Editor changes orders and crews. Errors that are ledger.ErrMoved or ErrTaken
// say that the book is not as it was seen.
type Editor interface {
	// EditJob puts in an order that was seen at a revision; 0: it is new.
	EditJob(ctx context.Context, uid string, j job.Job, seen int64) error
	// EditCrew puts in a crew that was seen as it then was; a seen without an id:
	// it is new.
	EditCrew(ctx context.Context, uid string, c, seen job.Crew) error
	// Import takes in all of a file or none of it.
	Import(ctx context.Context, uid string, in job.Import) error
}

// editPage is the form of an order or a crew.
type editPage struct {
	To     string // where the form goes
	Back   string
	Seen   string
	Groups []formGroup
	Rest   []string // complaints about no field
	Wrong  []wrongField
	Stale  string            // why what was typed has to be looked at once more
	typed  map[string]string // as it was read
	now    map[string]string // what stands in the book then
	New    bool
	What   string // "job", "crew"

	Search bool        // places can be looked for
	Place  string      // that is looked for
	Found  []placeLine // what was found
	Nobody string      // why nothing was
	Credit string      // whose places they are
	Pin    string      // the coordinates typed, and how far they are from the depots
}

// newJob shows an empty order.
func (s *site) newJob(w http.ResponseWriter, r *http.Request, v viewer) {
	b, at, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "job", err)
		return
	}
	values := map[string]string{"profile": "polyester", "earliest": at.today.String(), "roof.exposure": "1"}
	s.showJobForm(w, http.StatusOK, v, b.Firm, editPage{To: "/jobs/new", Back: "/jobs", Seen: "0", New: true}, values, nil)
}

// editJob shows the order as it stands.
func (s *site) editJob(w http.ResponseWriter, r *http.Request, v viewer) {
	b, _, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "job", err)
		return
	}
	j, ok := booking(b, r.PathValue("id"))
	if !ok {
		notFound(w)
		return
	}
	path := jobPath(j.ID)
	p := editPage{To: path + "/edit", Back: path, Seen: strconv.FormatInt(j.Revision, 10), Pin: pinWords(b, j.Site)}
	s.showJobForm(w, http.StatusOK, v, b.Firm, p, j.Cells(), nil)
}

// showJobForm shows an order, with what is wrong with it.
func (s *site) showJobForm(w http.ResponseWriter, status int, v viewer, f job.Firm, p editPage, values map[string]string, problems job.Problems) {
	p.Groups, p.What, p.Search = jobFields(f, s.profileNames(f)), "job", s.Jobs.Places != nil
	p.Credit = s.Jobs.PlaceCredit
	p.Place = cmp.Or(p.Place, values["site.address"])
	p.Rest = filled(p.Groups, values, problems)
	p.Wrong = wrongOf(p.Groups)
	if p.now != nil {
		compared(p.Groups, p.typed, p.now)
	}
	p.Groups[0].Fields[0].Fixed = !p.New
	title := "Change job " + notify.Clean(values["id"])
	if p.New {
		title = "New job"
	}
	s.show(w, status, "edit", frame{Title: title, Firm: notify.Clean(f.Name), Viewer: &v, Body: p})
}

// saveJob takes an order from its form. It is also where the form looks for a
// place, or takes the pin of one that was found, without keeping anything.
func (s *site) saveJob(w http.ResponseWriter, r *http.Request, v viewer) {
	if !readForm(w, r) {
		return
	}
	ctx, uid := r.Context(), s.firmUID()
	b, _, err := s.book(ctx, uid)
	if err != nil {
		s.unavailable(w, "job", err)
		return
	}
	seen, err := strconv.ParseInt(r.PostForm.Get("seen"), 10, 64)
	if err != nil || seen < 0 {
		s.refuse(w, v, http.StatusBadRequest, "The form does not say which order it was made from. Open it again.")
		return
	}
	values := typedOf(jobFields(b.Firm, nil), r.PostForm)
	p := editPage{To: "/jobs/new", Back: "/jobs", Seen: strconv.FormatInt(seen, 10), New: seen == 0}
	if id := r.PathValue("id"); id != "" { // the id in the address counts
		values["id"] = id
		p.To, p.Back, p.New = jobPath(id)+"/edit", jobPath(id), false
	}
	if seen > 0 == p.New {
		s.refuse(w, v, http.StatusBadRequest, "The form does not say which order it was made from. Open it again.")
		return
	}
	if s.placing(ctx, r.PostForm, values, &p) {
		if j, problems := job.DecodeCells(values, b.Firm); !about(problems, "site.") {
			p.Pin = pinWords(b, j.Site)
		}
		s.showJobForm(w, http.StatusOK, v, b.Firm, p, values, nil)
		return
	}
	j, problems := job.DecodeCells(values, b.Firm)
	if known := s.profileNames(b.Firm); !slices.Contains(known, j.Profile) && !about(problems, "profile") {
		problems = append(problems, job.Problem{Field: "profile", Reason: "there are no laying limits of that name; known: " + strings.Join(known, ", ")})
	}
	if len(problems) > 0 {
		s.showJobForm(w, http.StatusUnprocessableEntity, v, b.Firm, p, values, problems)
		return
	}
	did, detail := "change the order", ""
	if p.New {
		did, detail = "book a job", j.Title
	} else if old, ok := booking(b, j.ID); ok {
		detail = changedWords(old.Cells(), j.Cells())
	}
	c := change{did: did, about: j.ID, detail: detail, back: jobPath(j.ID)}
	c.do = func(ctx context.Context) error { return unstale(s.Jobs.Editor.EditJob(ctx, uid, j, seen)) }
	c.again = func(why error) { s.jobAgain(w, r, v, p, values, j, why) }
	s.recorded(w, r, v, c)
}

// jobAgain shows an order as typed beside the one that is in the book now.
func (s *site) jobAgain(w http.ResponseWriter, r *http.Request, v viewer, p editPage, values map[string]string, typed job.Job, why error) {
	b, _, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "job", err)
		return
	}
	var problems job.Problems
	if p.New {
		problems = append(problems, job.Problem{Field: "id", Reason: why.Error()})
	} else if j, ok := booking(b, typed.ID); ok {
		p.Stale, p.typed, p.now, p.Seen = notify.Sentence(why.Error()), typed.Cells(), j.Cells(), strconv.FormatInt(j.Revision, 10)
	} else {
		notFound(w)
		return
	}
	s.showJobForm(w, http.StatusConflict, v, b.Firm, p, values, problems)
}

// about reports whether some complaint is about fields of a name's beginning.
func about(ps job.Problems, prefix string) bool {
	for _, p := range ps {
		if len(p.Field) >= len(prefix) && p.Field[:len(prefix)] == prefix {
			return true
		}
	}
	return false
}

// changedWords names the fields that a change touches, with what was and what is.
func changedWords(was, is map[string]string) string {
	var parts []string
	names := slices.Sorted(maps.Keys(is))
	for n := range was {
		if _, ok := is[n]; !ok {
			names = append(names, n)
		}
	}
	for _, n := range names {
		if was[n] != is[n] {
			parts = append(parts, n+" "+cmp.Or(was[n], "nothing")+" to "+cmp.Or(is[n], "nothing"))
		}
	}
	return cmp.Or(strings.Join(parts, "; "), "nothing in it")
}
