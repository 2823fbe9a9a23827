package web

import (
	"context"
	"errors"
	"fmt"
	"html/template"
	"net/http"
	"net/netip"
	"net/url"
	"path"
	"slices"
	"strings"

	"github.com/alexedwards/scs/v2"
	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/job/access"
	"laycast/rules"
	"laycast/scheduler/ledger"
)

// Links finds secret links and ends them.
type Links interface {
	// FindLink gives the link whose present token has this hash; false where
	// there is none.
	FindLink(ctx context.Context, hash string) (access.Link, bool, error)
	// SpendLink puts next in the place of the link with this hash; false where
	// somebody else was first.
	SpendLink(ctx context.Context, uid, hash string, next access.Link) (bool, error)
}

// Feeds reads what a calendar is made from.
type Feeds interface {
	Firm(ctx context.Context, uid string) (job.Firm, error)
	// CrewName gives the name of a crew, its id where the crew is gone.
	CrewName(ctx context.Context, uid, id string) (string, error)
	PublishedFor(ctx context.Context, uid, reader, person string) ([]ledger.Published, error)
	// FindFeed is FindLink, and gives the revision of the firm's book too: a
	// number that moves whenever anything does that a calendar is made from.
	FindFeed(ctx context.Context, hash string) (l access.Link, revision int64, ok bool, err error)
}

// Books reads a firm's book, with the calls for days from callsFrom on.
type Books interface {
	// Revision gives a number that moves whenever the book does.
	Revision(ctx context.Context, uid string) (int64, error)
	Book(ctx context.Context, uid string, callsFrom job.Date) (ledger.Book, error)
}

// Approver asks for and takes the owner's yes to new dates.
type Approver interface {
	// Waiting gives the new dates that wait, a line each.
	Waiting(ctx context.Context, uid string) ([]string, error)
	// Approve says yes to all that wait and gives their number.
	Approve(ctx context.Context, uid string) (int, error)
}

// DemoPages opens pages to everybody that otherwise need a sign-in. It is for
// the demo's invented firm only.
type DemoPages struct {
	Firm    string // uid
	MailDir string // folder of the .eml files of the local mail catcher
}

// Config is what the pages are made from. Approver, Stopper, Demo and Office may be nil:
// their pages are then not there.
type Config struct {
	Health   *Health
	Clock    Clock
	Links    Links
	Feeds    Feeds
	Books    Books
	Approver Approver
	Stopper  Stopper
	Demo     *DemoPages
	Office   *OfficePages // nil: nobody can sign in
	Crews    Crews        // nil: crews' pages only show
	// Customers nil: customers' pages only show
	Customers Customers
	Desk      Desk           // nil: the pages change nothing
	Pinner    Pinner         // needed with Desk
	Deeds     Deeds          // needed with Desk
	Plans     Plans          // nil: the week tells neither hours nor changes
	Scores    Scores         // nil: nothing is told of how honest the chances are
	Aslaid    *RecordPages   // nil: there are no pages of as-laid records
	Jobs      *JobPages      // nil: there are no pages of single jobs
	Records   Records        // nil: there is no log
	Limits    rules.Profiles // the firm's own laying limits beside the built-in ones
	Maker     LinkMaker      // nil: no links are made or ended by the pages
	Setter    Setter         // nil: settings are shown only; it goes with Deeds
	Locked    []string       // settings that the configuration file sets: "times.call"
	Proxies   []netip.Prefix // whose X-Forwarded-For is believed
	Key       []byte         // the link key, access.KeyBytes long
	// Credit gives whose weather it is, of the sources named, shown where it is.
	Credit    func(sources []string) string
	PublicURL string // how links begin, without a slash at the end
	Log       zerolog.Logger
}

// site is the pages at work.
type site struct {
	Config
	base      string // path under which the public address reaches us, "" or "/roofs"
	templates *template.Template
	style     asset
	misses    *misses
	kept      *keptFeeds
	asks      *gate // for sign-in links
	posts     *gate // for changes
	sessions  *scs.SessionManager
	news      *keptNews
	weeks     *keptWeeks
}

// New gives the handler of all pages.
func New(c Config) (http.Handler, error) {
	switch {
	case c.Health == nil || c.Clock == nil || c.Links == nil || c.Feeds == nil || c.Books == nil:
		return nil, errors.New("set up the pages: health, clock, links, feeds and books are needed")
	case len(c.Key) != access.KeyBytes:
		return nil, fmt.Errorf("set up the pages: the link key has %d bytes, not %d", len(c.Key), access.KeyBytes)
	}
	u, err := url.Parse(c.PublicURL)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Host == "" {
		return nil, fmt.Errorf("set up the pages: %q is no public address", c.PublicURL)
	}
	s := &site{Config: c, base: strings.TrimRight(u.Path, "/"), misses: newMisses(c.Clock), kept: newKeptFeeds(),
		asks: newGate(c.Clock, asksEvery, asksBurst), posts: newGate(c.Clock, postsEvery, postsBurst), news: &keptNews{}, weeks: &keptWeeks{by: map[bool]keptWeek{}}}
	if s.Office != nil {
		s.sessions = s.sessionManager(u.Scheme == "https")
	}
	s.PublicURL = strings.TrimRight(c.PublicURL, "/")
	if s.style, err = loadStyle(); err != nil {
		return nil, err
	}
	if s.templates, err = loadTemplates(); err != nil {
		return nil, err
	}
	cross := http.NewCrossOriginProtection()
	// a proxy may hide the host that the browser asked for
	if err := cross.AddTrustedOrigin(u.Scheme + "://" + u.Host); err != nil {
		return nil, fmt.Errorf("set up the pages: %w", err)
	}
	return s.guard(cross, s.routes()), nil
}

// routes names methods in the handlers, not in the patterns: a pattern for
// everything else must not swallow a wrong method on a known path.
func (s *site) routes() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("/healthz", only(s.Health, http.MethodGet, http.MethodHead))
	see := func(pattern string, h http.HandlerFunc) {
		mux.Handle(pattern, only(h, http.MethodGet, http.MethodHead))
	}
	see("/readyz", s.Health.ready)
	if s.Office != nil {
		s.officeRoutes(mux)
	} else {
		see("/{$}", s.home)
	}
	see("/static/{file}", s.static)
	see("/f/{file}", s.feed)
	see("/p/{token}", s.page)
	if s.Crews != nil {
		s.crewRoutes(mux)
	}
	if s.Customers != nil {
		mux.Handle("/p/{token}/other", only(http.HandlerFunc(s.unsuited), http.MethodGet, http.MethodHead, http.MethodPost))
	}
	if s.Approver != nil {
		mux.Handle("/y/{token}", only(http.HandlerFunc(s.approve), http.MethodGet, http.MethodHead, http.MethodPost))
	}
	if s.Stopper != nil {
		mux.Handle("/n/{token}", only(http.HandlerFunc(s.stop), http.MethodGet, http.MethodHead, http.MethodPost))
	}
	if s.Office != nil || s.Demo != nil {
		s.insideRoutes(mux)
	}
	if s.Demo != nil {
		see("/mail", s.mailList)
		see("/mail/{file}", s.mailShow)
		see("/mail/{file}/html", s.mailHTML)
	}
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) { notFound(w) })
	return mux
}

// officeRoutes are the ways in and out.
func (s *site) officeRoutes(mux *http.ServeMux) {
	with := func(h http.HandlerFunc) http.Handler { return s.sessions.LoadAndSave(h) }
	mux.Handle("/{$}", only(with(s.front), http.MethodGet, http.MethodHead))
	mux.Handle("/sign-in", only(http.HandlerFunc(s.askSignIn), http.MethodPost))
	mux.Handle("/sign-in/{token}", only(with(s.signIn), http.MethodGet, http.MethodHead, http.MethodPost))
	mux.Handle("/sign-out", only(with(s.signOut), http.MethodPost))
}

// insideRoutes are the firm's own pages.
func (s *site) insideRoutes(mux *http.ServeMux) {
	see := func(pattern string, h insidePage) {
		mux.Handle(pattern, only(s.inside(h), http.MethodGet, http.MethodHead))
	}
	see("/week", s.week)
	mux.Handle("/settings", only(s.inside(s.getOr(s.settings, s.saveSettings)), http.MethodGet, http.MethodHead, http.MethodPost))
	if s.Setter != nil && s.Deeds != nil {
		mux.Handle("/settings/limits", only(s.inside(s.getOr(s.limits, s.saveLimits)), http.MethodGet, http.MethodHead, http.MethodPost))
	}
	if s.Records != nil {
		see("/log", s.log)
		see("/log/message/{id}", s.message)
	}
	if s.Scores != nil {
		see("/reliability", s.reliability)
	}
	if s.Jobs != nil {
		s.jobRoutes(mux)
	}
	if s.Aslaid != nil {
		s.recordRoutes(mux)
	}
	if s.Desk != nil {
		do := func(pattern string, h deed) { mux.Handle(pattern, only(s.inside(s.change(h)), http.MethodPost)) }
		do("/week/hold", s.hold)
		do("/week/release", s.release)
		do("/week/move", s.answerMove)
		do("/week/day", s.day)
		if s.Maker != nil {
			see("/links", s.links)
			do("/links/new", s.newLink)
			do("/links/revoke", s.revokeLink)
		}
	}
}

// getOr gives a page that shows and takes; taking needs somebody to keep it.
func (s *site) getOr(show, take insidePage) insidePage {
	return func(w http.ResponseWriter, r *http.Request, v viewer) {
		switch {
		case r.Method != http.MethodPost:
			show(w, r, v)
		case s.Setter == nil || s.Deeds == nil:
			plain(w, http.StatusMethodNotAllowed, "This page only shows.")
		default:
			take(w, r, v)
		}
	}
}

// only refuses other methods before anything else is looked at.
func only(h http.Handler, methods ...string) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !slices.Contains(methods, r.Method) {
			w.Header().Set("Allow", strings.Join(methods, ", "))
			plain(w, http.StatusMethodNotAllowed, "This address cannot be used in that way.")
			return
		}
		h.ServeHTTP(w, r)
	})
}

// policy is the content security policy of a page; nothing is loaded from
// elsewhere and no script runs.
const policy = "default-src 'none'; style-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// formPolicy is that of pages with forms that come back to us.
const formPolicy = "default-src 'none'; style-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"

// bodyBytes bounds what any request may send; forms are bounded tighter.
const bodyBytes = 4 << 20

// guard puts the headers of caution on every answer, refuses what browsers send
// from other sites, and paths that the mux would redirect: the redirect would
// repeat them.
func (s *site) guard(cross *http.CrossOriginProtection, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("X-Robots-Tag", "noindex, nofollow")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		r.Body = http.MaxBytesReader(w, r.Body, bodyBytes)
		switch {
		case r.ContentLength > bodyBytes:
			plain(w, http.StatusRequestEntityTooLarge, "That is too much, so nothing was done.")
		case r.Method == http.MethodPost && !s.posts.passes(s.client(r)):
			tooOften(w)
		case cross.Check(r) != nil:
			plain(w, http.StatusForbidden, "This was sent from another site, so nothing was done. Open the page itself and try again.")
		case r.URL.Path != path.Clean(r.URL.Path):
			notFound(w)
		default:
			next.ServeHTTP(w, r)
		}
	})
}

// plain answers with one line of text.
func plain(w http.ResponseWriter, status int, line string) {
	h := w.Header()
	h.Set("Content-Type", "text/plain; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	_, _ = w.Write([]byte(line + "\n")) // the client is gone: there is nobody to tell
}

// notFound is the one answer to whatever is not there, was never there, or is
// there no more.
func notFound(w http.ResponseWriter) {
	plain(w, http.StatusNotFound, "There is nothing here. A link that once worked may have been replaced: the newest mail holds the one that counts.")
}

// unavailable answers where the database cannot be read. Never an empty page or
// calendar instead: clients would take the emptiness for news.
func (s *site) unavailable(w http.ResponseWriter, what string, err error) {
	s.Log.Error().Err(err).Str("what", what).Msg("page could not be made")
	w.Header().Set("Retry-After", "300")
	plain(w, http.StatusServiceUnavailable, "This cannot be shown at the moment. Please try again in some minutes.")
}
