package web

import (
	"context"
	"errors"
	"net/http"
	"net/netip"
	"strings"
	"time"

	"github.com/alexedwards/scs/v2"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
)

// Doors keeps the sign-in links.
type Doors interface {
	// AskSignIn keeps that a link was asked for and puts its mail into the
	// outbox; false where the address asked too often. See access.SignIn.
	AskSignIn(ctx context.Context, ask access.SignIn, mail []notify.Message) (bool, error)
	SignInOpen(ctx context.Context, uid, hash string, now time.Time) (bool, error)
	// UseSignIn uses a link up and gives whom it signs in.
	UseSignIn(ctx context.Context, uid, hash string, now time.Time) (person string, ok bool, err error)
}

// Sessions keeps who is signed in, by the hash of a token.
type Sessions interface {
	Session(ctx context.Context, uid, hash string, now time.Time) ([]byte, bool, error)
	PutSession(ctx context.Context, uid, hash string, body []byte, now time.Time) error
	EndSession(ctx context.Context, uid, hash string) error
}

// OfficePages are the pages of the firm itself, behind a sign-in.
type OfficePages struct {
	Firm     string // uid
	Doors    Doors
	Sessions Sessions
	// Letter composes the mail with a sign-in link.
	Letter func(f job.Firm, l notify.SignInLetter) (notify.Message, error)
}

// Desk changes the book as the firm says. An error's text is for the reader.
type Desk interface {
	Hold(ctx context.Context, uid, job, reason string) error
	Release(ctx context.Context, uid, job string) error
	// AnswerMove says yes or no to a new date that waits; to is the date seen.
	AnswerMove(ctx context.Context, uid, job string, to job.Date, yes bool) error
}

// Pinner takes the owner's word about days, which comes before what the plan would
// gain.
type Pinner interface {
	// Pin has a job's next visit begin on a day, with a crew; "" is any that can.
	Pin(ctx context.Context, uid, job string, d job.Date, crew string) error
	Unpin(ctx context.Context, uid, job string) error
	Forbid(ctx context.Context, uid, job string, d job.Date) error
}

// Deeds keeps who changed what.
type Deeds interface {
	PutDeed(ctx context.Context, d access.Deed) error
	EndDeed(ctx context.Context, uid, id, outcome string) error
	// Deeds gives the newest, newest first.
	Deeds(ctx context.Context, uid string, most int) ([]access.Deed, error)
}

// viewer is who looks at the firm's own pages.
type viewer struct {
	Person string // mail address, "" in the demo
	Role   access.Role
	Looks  bool // may look and change nothing
}

// Owner reports whether the viewer may do what only the owner may.
func (v viewer) Owner() bool { return v.Role == access.RoleOwner }

// roleOf gives what a person may do at a firm; false where nothing.
func roleOf(f job.Firm, person string) (access.Role, bool) {
	if strings.EqualFold(f.Email, person) {
		return access.RoleOwner, true
	}
	for _, a := range f.Office {
		if strings.EqualFold(a, person) {
			return access.RoleOffice, true
		}
	}
	return "", false
}

// insidePage is a page of the firm's own.
type insidePage func(w http.ResponseWriter, r *http.Request, v viewer)

// inside lets in who is signed in, and everybody to the demo's invented firm.
// What a person may do is looked up at each request: whoever is taken off the
// firm's settings is out at once.
func (s *site) inside(page insidePage) http.Handler {
	h := func(w http.ResponseWriter, r *http.Request, v viewer) {
		w, end := squeeze(w, r)
		defer end()
		page(w, r, v)
	}
	if s.Office == nil {
		return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			formHeaders(w)
			h(w, r, viewer{Role: access.RoleOwner, Looks: !s.isNear(r)})
		})
	}
	return s.sessions.LoadAndSave(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		formHeaders(w)
		v, ok, err := s.viewer(r)
		switch {
		case err != nil:
			s.unavailable(w, "session", err)
		case ok:
			h(w, r, v)
		case r.Method == http.MethodGet || r.Method == http.MethodHead:
			http.Redirect(w, r, s.base+"/", http.StatusSeeOther)
		default:
			plain(w, http.StatusForbidden, "You are signed out, so nothing was done. Sign in and try again.")
		}
	}))
}

// firmUID gives whose pages the firm's own pages are.
func (s *site) firmUID() string {
	if s.Office != nil {
		return s.Office.Firm
	}
	return s.Demo.Firm
}

// viewer gives who is signed in; false for nobody.
func (s *site) viewer(r *http.Request) (viewer, bool, error) {
	person := s.sessions.GetString(r.Context(), personKey)
	if person == "" {
		return viewer{}, false, nil
	}
	f, err := s.Feeds.Firm(r.Context(), s.Office.Firm)
	if err != nil {
		return viewer{}, false, err
	}
	role, ok := roleOf(f, person)
	return viewer{Person: person, Role: role}, ok, nil
}

// isNear reports whether a request comes from this machine.
func (s *site) isNear(r *http.Request) bool {
	p := prefixOf(s.client(r))
	return p.IsValid() && p.Addr().IsLoopback()
}

// formHeaders are those of pages with forms. The answer comes back from the page
// itself: with no referrer at all, browsers would send it as if from nowhere,
// which looks like another site.
func formHeaders(w http.ResponseWriter) {
	w.Header().Set("Referrer-Policy", "same-origin")
	w.Header().Set("Content-Security-Policy", formPolicy)
}

// personKey is under what a session keeps whose it is.
const personKey = "person"

// sessionManager makes the sessions' manager: tokens of 256 bits, kept as
// hashes, in a cookie that scripts and other sites do not get. How long one
// lasts is judged by our store and clock; the library's own lifetime only tells
// the browser, by the browser's clock, when to forget the cookie.
func (s *site) sessionManager(secure bool) *scs.SessionManager {
	m := scs.New()
	m.Store = sessionStore{s}
	m.Lifetime = access.SessionLasts
	m.HashTokenInStore = true
	m.Cookie.Name, m.Cookie.Path = "laycast", s.base+"/"
	m.Cookie.HttpOnly, m.Cookie.SameSite, m.Cookie.Secure = true, http.SameSiteLaxMode, secure
	if secure && s.base == "" {
		m.Cookie.Name = "__Host-laycast" // no neighbouring host can set one of this name
	}
	m.ErrorFunc = func(w http.ResponseWriter, _ *http.Request, err error) { s.unavailable(w, "session", err) }
	return m
}

// sessionStore puts the sessions of the firm into the database.
type sessionStore struct{ s *site }

var errNoContext = errors.New("sessions are kept under a request's context")

// FindCtx gives what is kept of a session.
func (t sessionStore) FindCtx(ctx context.Context, hash string) ([]byte, bool, error) {
	return t.s.Office.Sessions.Session(ctx, t.s.Office.Firm, hash, t.s.Clock.Now())
}

// CommitCtx keeps a session; when it is over is the database's matter.
func (t sessionStore) CommitCtx(ctx context.Context, hash string, b []byte, _ time.Time) error {
	return t.s.Office.Sessions.PutSession(ctx, t.s.Office.Firm, hash, b, t.s.Clock.Now())
}

// DeleteCtx ends a session.
func (t sessionStore) DeleteCtx(ctx context.Context, hash string) error {
	return t.s.Office.Sessions.EndSession(ctx, t.s.Office.Firm, hash)
}

// Find is asked for by the library's interface and never called.
func (sessionStore) Find(string) ([]byte, bool, error) { return nil, false, errNoContext }

// Commit is asked for by the library's interface and never called.
func (sessionStore) Commit(string, []byte, time.Time) error { return errNoContext }

// Delete is asked for by the library's interface and never called.
func (sessionStore) Delete(string) error { return errNoContext }

// client gives the address that a request comes from. Only a proxy that the
// configuration trusts is believed about whom it speaks for: the nearest address
// that is no such proxy.
func (s *site) client(r *http.Request) string {
	if !s.trusts(r.RemoteAddr) {
		return r.RemoteAddr
	}
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	for i := len(hops) - 1; i >= 0; i-- {
		hop := strings.TrimSpace(hops[i])
		if !prefixOf(hop).IsValid() {
			break
		}
		if !s.trusts(hop) {
			return hop
		}
	}
	return r.RemoteAddr
}

// trusts reports whether an address is a proxy of ours.
func (s *site) trusts(remote string) bool {
	a := hostAddr(remote)
	for _, p := range s.Proxies {
		if a.IsValid() && p.Contains(a) {
			return true
		}
	}
	return false
}

// hostAddr gives the IP address of "address" or "address:port".
func hostAddr(remote string) netip.Addr {
	if ap, err := netip.ParseAddrPort(remote); err == nil {
		return ap.Addr().Unmap().WithZone("")
	}
	a, err := netip.ParseAddr(remote)
	if err != nil {
		return netip.Addr{}
	}
	return a.Unmap().WithZone("")
}
