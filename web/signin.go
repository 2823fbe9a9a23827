package web

import (
	"context"
	"crypto/rand"
	"mime"
	"net/http"
	"strings"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
)

// formBytes bounds what a form may send.
const formBytes = 64 << 10

// signInPage is the first page, and what it says after an address was given.
type signInPage struct {
	Asked bool
	Dead  bool // the link that was followed signs nobody in
	Mins  int
}

// linkPage asks for the one press that uses the link up: mail scanners follow
// links and press nothing.
type linkPage struct{ Action string }

// front is the first page: the sign-in form, or the week for who is signed in.
func (s *site) front(w http.ResponseWriter, r *http.Request) {
	formHeaders(w)
	_, ok, err := s.viewer(r)
	if err != nil {
		s.unavailable(w, "session", err)
		return
	}
	if ok {
		http.Redirect(w, r, s.base+"/week", http.StatusSeeOther)
		return
	}
	s.showSignIn(w, http.StatusOK, signInPage{})
}

func (s *site) showSignIn(w http.ResponseWriter, status int, p signInPage) {
	p.Mins = int(access.SignInLasts.Minutes())
	s.show(w, status, "signin", frame{Title: "Sign in", Body: p})
}

// askSignIn takes an address. The answer is the same whoever asks, and says
// nothing about the address.
func (s *site) askSignIn(w http.ResponseWriter, r *http.Request) {
	formHeaders(w)
	if !s.asks.passes(s.client(r)) {
		tooOften(w)
		return
	}
	if !readForm(w, r) {
		return
	}
	person := strings.ToLower(strings.TrimSpace(r.PostFormValue("email")))
	if job.CheckEmail(person) == nil {
		if err := s.sendSignIn(r.Context(), person); err != nil {
			s.unavailable(w, "sign-in", err)
			return
		}
	}
	s.showSignIn(w, http.StatusOK, signInPage{Asked: true})
}

// sendSignIn makes a link and puts its mail into the outbox. For an address that
// may not sign in the same is done save for the mail, so that it takes as long.
func (s *site) sendSignIn(ctx context.Context, person string) error {
	f, err := s.Feeds.Firm(ctx, s.Office.Firm)
	if err != nil {
		return err
	}
	_, known := roleOf(f, person)
	to := person
	if !known {
		to = f.Email // composed to be thrown away
	}
	token := rand.Text()
	ask := access.NewSignIn(token, f.UID, person, known, s.Clock.Now())
	m, err := s.Office.Letter(f, notify.SignInLetter{Email: to, Link: s.PublicURL + access.SignInPath + token, Now: ask.Created, Expires: ask.Expires})
	if err != nil {
		return err
	}
	taken, err := s.Office.Doors.AskSignIn(ctx, ask, []notify.Message{m})
	if err == nil && !taken {
		s.Log.Warn().Str("firm", f.UID).Msg("too many sign-in links were asked for one address")
	}
	return err
}

// signIn shows the button (GET) and uses the link up (POST).
func (s *site) signIn(w http.ResponseWriter, r *http.Request) {
	formHeaders(w)
	token, now := r.PathValue("token"), s.Clock.Now()
	if !access.IsSignInToken(token) {
		s.miss(w, r)
		return
	}
	hash := access.HashOf(token)
	if r.Method != http.MethodPost {
		open, err := s.Office.Doors.SignInOpen(r.Context(), s.Office.Firm, hash, now)
		switch {
		case err != nil:
			s.unavailable(w, "sign-in", err)
		case !open:
			s.deadSignIn(w, r)
		default:
			s.show(w, http.StatusOK, "signinlink", frame{Title: "Sign in", Body: linkPage{Action: s.base + access.SignInPath + token}})
		}
		return
	}
	person, ok, err := s.Office.Doors.UseSignIn(r.Context(), s.Office.Firm, hash, now)
	if err != nil {
		s.unavailable(w, "sign-in", err)
		return
	}
	if !ok {
		s.deadSignIn(w, r)
		return
	}
	// a new token, so that one somebody planted before is worth nothing
	if err := s.sessions.RenewToken(r.Context()); err != nil {
		s.unavailable(w, "sign-in", err)
		return
	}
	s.sessions.Put(r.Context(), personKey, person)
	s.Log.Info().Str("firm", s.Office.Firm).Msg("somebody signed in")
	http.Redirect(w, r, s.base+"/week", http.StatusSeeOther)
}

// deadSignIn answers alike for a link that was used, is over, or never was.
func (s *site) deadSignIn(w http.ResponseWriter, r *http.Request) {
	if s.misses.tooMany(s.client(r)) {
		tooOften(w)
		return
	}
	s.showSignIn(w, http.StatusNotFound, signInPage{Dead: true})
}

// signOut ends the session.
func (s *site) signOut(w http.ResponseWriter, r *http.Request) {
	if err := s.sessions.Destroy(r.Context()); err != nil {
		s.unavailable(w, "sign-out", err)
		return
	}
	http.Redirect(w, r, s.base+"/", http.StatusSeeOther)
}

// readForm reads a form of bounded size; where it gives false the request is
// answered.
func readForm(w http.ResponseWriter, r *http.Request) bool {
	r.Body = http.MaxBytesReader(w, r.Body, formBytes)
	if kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type")); err != nil || kind != "application/x-www-form-urlencoded" {
		plain(w, http.StatusUnsupportedMediaType, "That was no form, so nothing was done.") // else it would be read as an empty one
		return false
	}
	if err := r.ParseForm(); err != nil {
		plain(w, http.StatusRequestEntityTooLarge, "That was too much or no form, so nothing was done.")
		return false
	}
	return true
}
