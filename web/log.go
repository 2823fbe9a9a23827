package web

import (
	"cmp"
	"context"
	"net/http"
	"slices"
	"strings"
	"time"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// Records reads what was sent and what was not.
type Records interface {
	// NewestMessages gives messages without their bytes, newest first.
	NewestMessages(ctx context.Context, uid string, most int) ([]notify.Message, error)
	NewestUntold(ctx context.Context, uid string, most int) ([]notify.Untold, error)
	// OneMessage gives a message whole; false where the firm has none of that id.
	OneMessage(ctx context.Context, uid, id string) (notify.Message, bool, error)
}

// How much the log shows: a fortnight of calls, and so many rows of the rest.
// Ours.
const (
	logDays = 14
	logRows = 100
)

type logPage struct {
	Calls    []callRow
	Messages []messageLine
	Untold   []untoldLine
	Deeds    []deedLine
}

type messageLine struct{ ID, When, To, Subject, Why, State, Tone, Note string }

type untoldLine struct{ When, Who, About, Why string }

type deedLine struct {
	When, Who, Did, About, Detail, Outcome string
	Failed                                 bool
}

// log shows calls, messages with why, and who changed what.
func (s *site) log(w http.ResponseWriter, r *http.Request, v viewer) {
	ctx, uid := r.Context(), s.firmUID()
	b, at, err := s.bookFrom(ctx, uid, -logDays)
	if err != nil {
		s.unavailable(w, "log", err)
		return
	}
	p := logPage{Calls: pastCalls(b, at)}
	ms, err := s.Records.NewestMessages(ctx, uid, logRows)
	if err != nil {
		s.unavailable(w, "log", err)
		return
	}
	for _, m := range ms {
		p.Messages = append(p.Messages, messageLineOf(m, at))
	}
	us, err := s.Records.NewestUntold(ctx, uid, logRows)
	if err != nil {
		s.unavailable(w, "log", err)
		return
	}
	for _, u := range us {
		p.Untold = append(p.Untold, untoldLine{When: at.stamp(u.At), Who: notify.Clean(u.Person), About: notify.Clean(aboutWords(u.Job, u.Date)), Why: notify.Clean(u.Reason)})
	}
	if s.Deeds != nil {
		ds, err := s.Deeds.Deeds(ctx, uid, logRows)
		if err != nil {
			s.unavailable(w, "log", err)
			return
		}
		for _, d := range ds {
			p.Deeds = append(p.Deeds, deedLine{When: at.stamp(d.At), Who: notify.Clean(d.Who), Did: notify.Clean(d.Did), About: notify.Clean(d.About),
				Detail: notify.Clean(d.Detail), Outcome: notify.Clean(d.Outcome), Failed: d.Outcome != access.DeedDone})
		}
	}
	s.show(w, http.StatusOK, "log", frame{Title: "Log", Firm: notify.Clean(b.Firm.Name), Viewer: &v, Credit: s.creditFor(b), Body: p})
}

// pastCalls gives every call of the fortnight, superseded ones too, newest first.
func pastCalls(b ledger.Book, at moment) []callRow {
	var out []callRow
	for _, k := range b.Calls {
		zone := at.zone
		if j, ok := booking(b, k.Job); ok {
			zone = siteZone(j.Job, zone)
		}
		out = append(out, callRow{When: k.Date.Words(), Crew: crewName(b, k.Crew), Job: notify.Clean(k.Job), Roof: roofOf(b, k.Job), Call: callLineOf(k, zone)})
	}
	slices.Reverse(out) // the book has the oldest first
	return out
}

func messageLineOf(m notify.Message, at moment) messageLine {
	l := messageLine{ID: m.ID, When: at.stamp(m.Created), To: notify.Clean(m.Recipient), Subject: notify.Clean(m.Subject), Why: notify.Clean(m.Reason),
		State: stateWords(m, at), Note: notify.Clean(m.Note)}
	switch m.State {
	case notify.Sent:
		l.Tone = "go"
	case notify.Refused, notify.Unknown:
		l.Tone = "no-go"
	case notify.Expired:
		l.Tone = "hold"
	}
	return l
}

// stateWords says where a message stands.
func stateWords(m notify.Message, at moment) string {
	switch m.State {
	case notify.Sent:
		return "sent " + at.stamp(m.Settled)
	case notify.Pending:
		if m.NotBefore.After(at.now) {
			return "waits until " + at.stamp(m.NotBefore)
		}
		return "on its way"
	case notify.Begun:
		return "on its way"
	case notify.Refused:
		return "refused"
	case notify.Withdrawn:
		return "withdrawn, a newer one took its place"
	case notify.Expired:
		return "too late to be of use, not sent"
	case notify.Unknown:
		return "may or may not have arrived"
	}
	return string(m.State)
}

func aboutWords(id string, d job.Date) string {
	if d.IsZero() {
		return id
	}
	return strings.TrimSpace(id + " " + d.Words())
}

// stamp gives a moment on the firm's clock.
func (m moment) stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.In(m.zone).Format("2 Jan 15:04")
}

// messagePage is one message as it was sent.
type messagePage struct {
	Line messageLine
	Text []segment
	Hide string // why the text is not shown
}

// message shows one message's text. A sign-in link is for whom it was sent to, and
// the owner's yes is the owner's.
func (s *site) message(w http.ResponseWriter, r *http.Request, v viewer) {
	ctx, uid := r.Context(), s.firmUID()
	m, ok, err := s.Records.OneMessage(ctx, uid, r.PathValue("id"))
	if err != nil {
		s.unavailable(w, "message", err)
		return
	}
	if !ok {
		notFound(w)
		return
	}
	b, at, err := s.book(ctx, uid)
	if err != nil {
		s.unavailable(w, "message", err)
		return
	}
	p := messagePage{Line: messageLineOf(m, at)}
	switch {
	case m.Kind == notify.KindSignIn:
		p.Hide = "A sign-in link is not shown here."
	case m.Audience == notify.ToOwner && !v.Owner():
		p.Hide = "What goes to the owner is shown to the owner alone."
	default:
		plain, err := PlainText(m.Wire)
		if err != nil {
			s.unavailable(w, "message", err)
			return
		}
		p.Text = linked(plain)
	}
	s.show(w, http.StatusOK, "message", frame{Title: cmp.Or(p.Line.Subject, "A message"), Firm: notify.Clean(b.Firm.Name), Viewer: &v, Body: p})
}
