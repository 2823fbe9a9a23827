package web

import (
	"context"
	"net/http"
	"time"

	"laycast/job/access"
	"laycast/notify"
)

// Stopper keeps who wants which mail no more.
type Stopper interface {
	Stopped(ctx context.Context, uid, person string, kind notify.Kind) (bool, error)
	// Stop notes that a person wants no more mails of a kind, or wants them
	// again.
	Stop(ctx context.Context, uid, person string, kind notify.Kind, stop bool, now time.Time) error
}

// stopPage is where the owner stops the week mail, or has it sent again.
type stopPage struct{ Stopped, Done bool }

// stop shows whether the week mail comes, and changes it. Looking changes
// nothing: mail programs follow links by themselves. A mail program that was
// told to stop the mail sends the one field of RFC 8058 and no more.
func (s *site) stop(w http.ResponseWriter, r *http.Request) {
	formHeaders(w)
	l, ok := s.open(w, r, r.PathValue("token"), access.Stop)
	if !ok {
		return
	}
	firm, err := s.Feeds.Firm(r.Context(), l.Firm)
	if err != nil {
		s.unavailable(w, "stop", err)
		return
	}
	p := stopPage{}
	if p.Stopped, err = s.Stopper.Stopped(r.Context(), l.Firm, firm.Email, notify.KindWeek); err != nil {
		s.unavailable(w, "stop", err)
		return
	}
	if r.Method == http.MethodPost {
		r.Body = http.MaxBytesReader(w, r.Body, 4<<10)
		var want bool
		switch {
		case r.PostFormValue("List-Unsubscribe") == "One-Click":
			want = true
		case r.PostFormValue("again") == "yes":
			want = false
		default:
			plain(w, http.StatusBadRequest, "Nothing was changed: the request does not say what to do.")
			return
		}
		if err := s.Stopper.Stop(r.Context(), l.Firm, firm.Email, notify.KindWeek, want, s.Clock.Now()); err != nil {
			s.unavailable(w, "stop", err)
			return
		}
		p.Stopped, p.Done = want, true
	}
	s.show(w, http.StatusOK, "stop", frame{Title: "The week mail", Firm: notify.Clean(firm.Name), Body: p})
}
