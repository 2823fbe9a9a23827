package web

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// crewsPage lists the crews.
type crewsPage struct {
	Rows []crewRow
	Acts bool
}

type crewRow struct {
	ID, Query, Name, Hands, Email, Skills, Depot string
	Away                                         []string
}

// crews lists the crews with the days that they are away.
func (s *site) crews(w http.ResponseWriter, r *http.Request, v viewer) {
	b, at, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "crews", err)
		return
	}
	p := crewsPage{Acts: s.edits() && !v.Looks}
	for _, c := range b.Crews {
		row := crewRow{ID: c.ID, Name: notify.Clean(c.Name), Email: notify.Clean(c.Email), Hands: fmt.Sprintf("%d hands", c.Size), Skills: notify.Clean(strings.Join(c.Skills, ", "))}
		if c.Depot != (job.Point{}) {
			row.Depot = fmt.Sprintf("%.4f, %.4f", c.Depot.Lat, c.Depot.Lon)
		}
		days := slices.SortedFunc(slices.Values(c.Absences), job.Date.Compare)
		for _, d := range days {
			if !d.Before(at.today) {
				row.Away = append(row.Away, d.Words())
			}
		}
		p.Rows = append(p.Rows, row)
	}
	s.show(w, http.StatusOK, "crews", frame{Title: "Crews", Firm: notify.Clean(b.Firm.Name), Viewer: &v, Body: p})
}

// editCrew shows a crew's form; without an id, an empty one.
func (s *site) editCrew(w http.ResponseWriter, r *http.Request, v viewer) {
	b, _, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "crew", err)
		return
	}
	id := r.URL.Query().Get("crew")
	if id == "" {
		s.showCrewForm(w, http.StatusOK, v, b.Firm, job.Crew{}, map[string]string{"size": "2"}, nil, "", job.Crew{})
		return
	}
	c, ok := crewOf(b, id)
	if !ok {
		notFound(w)
		return
	}
	s.showCrewForm(w, http.StatusOK, v, b.Firm, c, c.Cells(), nil, "", job.Crew{})
}

func crewOf(b ledger.Book, id string) (job.Crew, bool) {
	i := slices.IndexFunc(b.Crews, func(c job.Crew) bool { return c.ID == id })
	if i < 0 {
		return job.Crew{}, false
	}
	return b.Crews[i], true
}

// showCrewForm shows a crew as typed; stale says that it is not as it was when typed
// was.
func (s *site) showCrewForm(w http.ResponseWriter, status int, v viewer, f job.Firm, seen job.Crew, values map[string]string, problems job.Problems, stale string, typed job.Crew) {
	raw, err := json.Marshal(seen) // what the form was made from: a stale one is told by it
	if err != nil {
		s.unavailable(w, "crew", err)
		return
	}
	p := editPage{To: "/crews/edit", Back: "/crews", Seen: string(raw), What: "crew", New: seen.ID == "", Groups: crewFields(), Stale: stale}
	p.Rest = filled(p.Groups, values, problems)
	p.Wrong = wrongOf(p.Groups)
	if stale != "" {
		compared(p.Groups, typed.Cells(), seen.Cells())
	}
	p.Groups[0].Fields[0].Fixed = !p.New
	title := "Crew " + notify.Clean(cmp.Or(seen.Name, values["name"]))
	if p.New {
		title = "New crew"
	}
	s.show(w, status, "edit", frame{Title: title, Firm: notify.Clean(f.Name), Viewer: &v, Body: p})
}

// saveCrew takes a crew from its form.
func (s *site) saveCrew(w http.ResponseWriter, r *http.Request, v viewer) {
	if !readForm(w, r) {
		return
	}
	ctx, uid := r.Context(), s.firmUID()
	f, err := s.Feeds.Firm(ctx, uid)
	if err != nil {
		s.unavailable(w, "crew", err)
		return
	}
	var seen job.Crew
	if err := json.Unmarshal([]byte(r.PostForm.Get("seen")), &seen); err != nil {
		s.refuse(w, v, http.StatusBadRequest, "The form does not say which crew it was made from. Open it again.")
		return
	}
	values := typedOf(crewFields(), r.PostForm)
	if seen.ID != "" {
		values["id"] = seen.ID
	}
	c, problems := job.DecodeCrewCells(values, f)
	if len(problems) > 0 {
		s.showCrewForm(w, http.StatusUnprocessableEntity, v, f, seen, values, problems, "", job.Crew{})
		return
	}
	did, detail := "change a crew", changedWords(seen.Cells(), c.Cells())
	if seen.ID == "" {
		did, detail = "add a crew", c.Name
	}
	made := change{did: did, about: c.ID, detail: detail, back: "/crews"}
	made.do = func(ctx context.Context) error { return unstale(s.Jobs.Editor.EditCrew(ctx, uid, c, seen)) }
	made.again = func(why error) { s.crewAgain(w, r, v, seen.ID, values, c, why) }
	s.recorded(w, r, v, made)
}

// crewAgain shows a crew as typed beside the one that is in the book now; id "" is a
// new one whose short name is taken.
func (s *site) crewAgain(w http.ResponseWriter, r *http.Request, v viewer, id string, values map[string]string, typed job.Crew, why error) {
	b, _, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "crew", err)
		return
	}
	if id == "" {
		s.showCrewForm(w, http.StatusConflict, v, b.Firm, job.Crew{}, values, job.Problems{{Field: "id", Reason: why.Error()}}, "", job.Crew{})
		return
	}
	now, ok := crewOf(b, id)
	if !ok {
		notFound(w)
		return
	}
	s.showCrewForm(w, http.StatusConflict, v, b.Firm, now, values, nil, notify.Sentence(why.Error()), typed)
}
