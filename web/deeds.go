package web

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"unicode/utf8"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// change is one change that a form asks for: what it is, as it goes into the
// record, and how it is done.
type change struct {
	did, about, detail string
	do                 func(ctx context.Context) error
	back               string // where it leads; "" is the week
	// again shows the form once more, with what was typed, where the book is not as it
	// was seen; nil: the refusal is a page of its own
	again func(why error)
}

// deed reads a form; a text that is not "" says why it asks for nothing.
type deed func(form url.Values, v viewer) (change, string)

// mostReason is the longest reason, as long as imported text may be.
const mostReason = 500

// mostID is the longest id of a job, as long as imported ones may be.
const mostID = 64

// change makes a page of a deed: it records what is about to be done, does it,
// records what came of it, and goes back to the week. Without the record nothing
// is done.
func (s *site) change(read deed) insidePage {
	return func(w http.ResponseWriter, r *http.Request, v viewer) {
		if v.Looks {
			plain(w, http.StatusForbidden, "From here the demonstration may be looked at only.")
			return
		}
		if !readForm(w, r) {
			return
		}
		c, why := read(r.PostForm, v)
		if utf8.RuneCountInString(c.about) > mostID {
			why = "There is no such job."
		}
		if why != "" {
			s.refuse(w, v, http.StatusBadRequest, why)
			return
		}
		if c.back == "" && r.PostForm.Get("back") == "job" {
			c.back = jobPath(c.about)
		}
		s.recorded(w, r, v, c)
	}
}

// who names the viewer in the record.
func (v viewer) who() string { return cmp.Or(v.Person, "demo") }

// recorded does a change between the two halves of its record, and answers.
func (s *site) recorded(w http.ResponseWriter, r *http.Request, v viewer, c change) {
	d := access.Deed{ID: rand.Text(), Firm: s.firmUID(), At: s.Clock.Now(), Who: v.who(), Did: c.did, About: c.about, Detail: c.detail, Outcome: access.DeedBegun}
	if err := s.Deeds.PutDeed(r.Context(), d); err != nil {
		s.unavailable(w, "record", err)
		return
	}
	err := c.do(r.Context())
	outcome := access.DeedDone
	if err != nil {
		outcome = "failed: " + err.Error()
		s.Log.Warn().Err(err).Str("did", c.did).Str("about", c.about).Msg("a change by the pages failed")
	}
	if e := s.Deeds.EndDeed(context.WithoutCancel(r.Context()), d.Firm, d.ID, outcome); e != nil {
		s.Log.Error().Err(e).Str("deed", d.ID).Msg("what a change came to could not be recorded")
	}
	switch stale := (staleError{}); {
	case errors.As(err, &stale) && c.again != nil:
		c.again(err)
		return
	case err != nil:
		s.refuse(w, v, http.StatusConflict, err.Error())
		return
	}
	http.Redirect(w, r, s.base+cmp.Or(c.back, "/week"), http.StatusSeeOther)
}

// refusal is the page that says why nothing was done.
type refusal struct{ Why string }

func (s *site) refuse(w http.ResponseWriter, v viewer, status int, why string) {
	s.show(w, status, "refusal", frame{Title: "Nothing was done", Viewer: &v, Body: refusal{Why: notify.Clean(why)}})
}

// hold keeps a job out of the plan.
func (s *site) hold(form url.Values, _ viewer) (change, string) {
	id, reason := form.Get("job"), strings.TrimSpace(notify.Clean(form.Get("reason")))
	if n := utf8.RuneCountInString(reason); n == 0 || n > mostReason {
		return change{}, "Say in 1 to 500 characters why the job is held: deposit, colour, access."
	}
	return change{did: "hold", about: id, detail: reason, do: func(ctx context.Context) error {
		return s.Desk.Hold(ctx, s.firmUID(), id, reason)
	}}, ""
}

// release puts a held job back into the plan.
func (s *site) release(form url.Values, _ viewer) (change, string) {
	id := form.Get("job")
	return change{did: "release", about: id, do: func(ctx context.Context) error {
		return s.Desk.Release(ctx, s.firmUID(), id)
	}}, ""
}

// answerMove says yes or no to one new date.
func (s *site) answerMove(form url.Values, _ viewer) (change, string) {
	id, answer := form.Get("job"), form.Get("answer")
	to, err := job.ParseDate(form.Get("to"))
	if err != nil || answer != "yes" && answer != "no" {
		return change{}, "The form does not say which date or which answer."
	}
	return change{did: "say " + answer + " to a new date", about: id, detail: to.Words(), do: func(ctx context.Context) error {
		return s.Desk.AnswerMove(ctx, s.firmUID(), id, to, answer == "yes")
	}}, ""
}

// day pins a job to the day that it stands on, lets it go again, or forbids the
// day.
func (s *site) day(form url.Values, _ viewer) (change, string) {
	id, crew, uid := form.Get("job"), form.Get("crew"), s.firmUID()
	d, err := job.ParseDate(form.Get("day"))
	if err != nil || utf8.RuneCountInString(crew) > mostID {
		return change{}, "The form does not say which day."
	}
	c := change{about: id, detail: d.Words()}
	switch form.Get("do") {
	case "pin":
		c.did, c.do = "pin to a day", func(ctx context.Context) error { return s.Pinner.Pin(ctx, uid, id, d, crew) }
	case "unpin":
		c.did, c.do = "take a pin out", func(ctx context.Context) error { return s.Pinner.Unpin(ctx, uid, id) }
	case "forbid":
		c.did, c.do = "forbid a day", func(ctx context.Context) error { return s.Pinner.Forbid(ctx, uid, id, d) }
	default:
		return change{}, "The form does not say what to do with the day."
	}
	return c, ""
}

// staleError says in words that what somebody changes is not as they saw it.
type staleError struct {
	words string
	err   error
}

func (e staleError) Error() string { return e.words }
func (e staleError) Unwrap() error { return e.err }

// unstale puts into words that what somebody changes is not as they saw it.
func unstale(err error) error {
	switch {
	case errors.Is(err, ledger.ErrMoved):
		return staleError{"somebody else changed this while you had it open, so yours was not kept; look at what is new, and save again to put yours in its place", err}
	case errors.Is(err, ledger.ErrTaken):
		return staleError{"there is one of that id already; give the new one another", err}
	}
	return err
}
