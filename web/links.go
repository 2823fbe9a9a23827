package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// LinkMaker makes secret links; Links.SpendLink ends them.
type LinkMaker interface {
	// PutLink adds a link; one that is there by (firm, audience, id, purpose)
	// stays as it is.
	PutLink(ctx context.Context, l access.Link) error
}

type linksPage struct {
	People []linkPerson
	Crews  []choice
	Others []choice // customers, by mail address
}

// linkPerson is a reader with what opens for them.
type linkPerson struct {
	Who, Kind string
	Links     []linkRow
}

type linkRow struct {
	Opens, URL, Hash, Since string
	Strange                 bool // made with another link key: it works, and cannot be shown
}

// links shows the owner every link that opens something.
func (s *site) links(w http.ResponseWriter, r *http.Request, v viewer) {
	if !v.Owner() {
		plain(w, http.StatusForbidden, "Only the owner sees the links.")
		return
	}
	if v.Looks {
		notFound(w)
		return
	}
	b, at, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "links", err)
		return
	}
	s.show(w, http.StatusOK, "links", frame{Title: "Links", Firm: notify.Clean(b.Firm.Name), Viewer: &v, Secret: true, Body: s.linksView(b, at)})
}

func (s *site) linksView(b ledger.Book, at moment) linksPage {
	var p linksPage
	for _, l := range b.Links {
		if l.Purpose != access.Page && l.Purpose != access.Feed {
			continue // yes and stop links live in mails
		}
		row := linkRow{Opens: "the page", Hash: l.Hash, Since: at.stamp(l.Created), URL: s.PublicURL + access.Path(s.Key, l)}
		if l.Purpose == access.Feed {
			row.Opens = "the calendar"
		}
		if l.Hash != access.HashOf(access.Token(s.Key, l)) {
			row.URL, row.Strange = "", true
		}
		who := linkWho(b, l)
		if n := len(p.People); n == 0 || p.People[n-1].Who != who || p.People[n-1].Kind != string(l.Audience) {
			p.People = append(p.People, linkPerson{Who: who, Kind: string(l.Audience)})
		}
		last := &p.People[len(p.People)-1]
		last.Links = append(last.Links, row)
	}
	for _, c := range b.Crews {
		p.Crews = append(p.Crews, choice{Value: "crew " + c.ID, Text: "Crew " + crewName(b, c.ID)})
	}
	for _, j := range b.Jobs {
		mail := strings.ToLower(j.Customer.Email)
		if mail != "" && j.State == job.Booked && !slices.ContainsFunc(p.Others, func(c choice) bool { return c.Value == "customer "+mail }) {
			p.Others = append(p.Others, choice{Value: "customer " + mail, Text: notify.Clean(j.Customer.Name + ", " + mail)})
		}
	}
	return p
}

func linkWho(b ledger.Book, l access.Link) string {
	switch l.Audience {
	case access.Owner:
		return "The firm itself"
	case access.Crew:
		return "Crew " + crewName(b, l.ID)
	}
	return notify.Clean(l.ID)
}

var errNobody = errors.New("nobody of that name is in the book, so no link was made")

// newLink makes the page and the calendar of a crew, a customer or the owner.
func (s *site) newLink(form url.Values, v viewer) (change, string) {
	kind, id, _ := strings.Cut(form.Get("who"), " ")
	if !v.Owner() {
		return change{}, "Only the owner makes links."
	}
	return change{did: "make links", about: strings.TrimSpace(kind + " " + id), back: "/links", do: func(ctx context.Context) error {
		b, err := s.Books.Book(ctx, s.firmUID(), job.Date{Year: 9999, Month: 1, Day: 1})
		if err != nil {
			return err
		}
		if !linkable(b, kind, id) {
			return errNobody
		}
		for _, p := range []access.Purpose{access.Feed, access.Page} {
			if err := s.Maker.PutLink(ctx, access.New(s.Key, b.Firm.UID, access.Audience(kind), id, p, 1, s.Clock.Now())); err != nil {
				return err
			}
		}
		return nil
	}}, ""
}

// linkable reports whether somebody is one whom the firm knows.
func linkable(b ledger.Book, kind, id string) bool {
	switch access.Audience(kind) {
	case access.Owner:
		return id == ""
	case access.Crew:
		return slices.ContainsFunc(b.Crews, func(c job.Crew) bool { return c.ID == id })
	case access.Customer:
		return id != "" && slices.ContainsFunc(b.Jobs, func(j job.Booking) bool { return strings.EqualFold(j.Customer.Email, id) })
	}
	return false
}

// revokeLink ends a link; a new one takes its place.
func (s *site) revokeLink(form url.Values, v viewer) (change, string) {
	hash := form.Get("link")
	if !v.Owner() {
		return change{}, "Only the owner ends links."
	}
	if len(hash) != 64 {
		return change{}, "The form names no link."
	}
	return change{did: "revoke a link", about: hash[:8], back: "/links", do: func(ctx context.Context) error {
		l, ok, err := s.Links.FindLink(ctx, hash)
		if err != nil {
			return err
		}
		if !ok || l.Firm != s.firmUID() {
			return errors.New("this link opens nothing any more; look again")
		}
		next := access.New(s.Key, l.Firm, l.Audience, l.ID, l.Purpose, l.Generation+1, s.Clock.Now())
		ok, err = s.Links.SpendLink(ctx, l.Firm, l.Hash, next)
		if err == nil && !ok {
			err = errors.New("somebody else revoked it first; look again")
		}
		return err
	}}, ""
}
