package web

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// page serves the page of whoever the link is for.
func (s *site) page(w http.ResponseWriter, r *http.Request) {
	l, ok := s.open(w, r, r.PathValue("token"), access.Page)
	if !ok {
		return
	}
	if l.Audience == access.Crew {
		s.crewPage(w, r, l, http.StatusOK, nil)
		return
	}
	b, at, err := s.book(r.Context(), l.Firm)
	if err != nil {
		s.unavailable(w, "page", err)
		return
	}
	f := frame{Firm: notify.Clean(b.Firm.Name)}
	switch l.Audience {
	case access.Customer:
		rows, err := s.rows(r.Context(), l)
		if err != nil {
			s.unavailable(w, "page", err)
			return
		}
		v := customerView(b, rows, at, s.subscribeTo(l, b.Links))
		v.undated(b, l.ID)
		if v.invited() {
			v.Subscribe = nil
		}
		if s.Customers != nil {
			v.others(b, at, s.base+"/p/"+r.PathValue("token"))
			v.Noted = unsuitedWords(b, l.ID, r.URL.Query().Get("noted"))
		}
		f.Title, f.Body = "Your roof", v
		s.show(w, http.StatusOK, "customer", f)
	default:
		f.Title, f.Body, f.Credit = "The week", weekView(b, weekNews{}, at, s.subscribeTo(l, b.Links), false), s.creditFor(b)
		s.show(w, http.StatusOK, "week", f)
	}
}

// creditFor credits the weather to the sources that the plan and the calls of a
// book rest on.
func (s *site) creditFor(b ledger.Book) string {
	if s.Credit == nil {
		return ""
	}
	var from []string
	if b.Week != nil {
		from = append(from, b.Week.Sources...)
	}
	for _, k := range b.Calls {
		if k.Source != "" {
			from = append(from, k.Source)
		}
	}
	return s.Credit(from)
}

// moment is the time a page is made for, on the firm's clock.
type moment struct {
	now   time.Time
	today job.Date
	zone  *time.Location
}

// book reads a firm's book with the calls from today on.
func (s *site) book(ctx context.Context, uid string) (ledger.Book, moment, error) {
	return s.bookFrom(ctx, uid, 0)
}

// bookFrom reads a firm's book with the calls from so many days after today on.
func (s *site) bookFrom(ctx context.Context, uid string, days int) (ledger.Book, moment, error) {
	f, err := s.Feeds.Firm(ctx, uid)
	if err != nil {
		return ledger.Book{}, moment{}, err
	}
	zone, err := job.LoadZone(f.Zone)
	if err != nil {
		return ledger.Book{}, moment{}, fmt.Errorf("the firm's zone: %w", err)
	}
	at := moment{now: s.Clock.Now(), zone: zone}
	at.today = job.DateOf(at.now.In(zone))
	b, err := s.Books.Book(ctx, uid, at.today.AddDays(days))
	return b, at, err
}

// near names a day that lies near: "today", "tomorrow", else its date.
func (m moment) near(d job.Date) string {
	switch d.DaysSince(m.today) {
	case -1:
		return "Yesterday, " + d.Words()
	case 0:
		return "Today, " + d.Words()
	case 1:
		return "Tomorrow, " + d.Words()
	}
	return d.Words()
}

// siteZone is the zone in which times at a site are printed.
func siteZone(j job.Job, fallback *time.Location) *time.Location {
	if z, err := job.LoadZone(j.Site.Zone); err == nil {
		return z
	}
	return fallback
}

// booking gives a job of the book.
func booking(b ledger.Book, id string) (job.Booking, bool) {
	for _, j := range b.Jobs {
		if j.ID == id {
			return j, true
		}
	}
	return job.Booking{}, false
}

// crewName gives a crew's name, its id where the crew is gone.
func crewName(b ledger.Book, id string) string {
	for _, c := range b.Crews {
		if c.ID == id {
			return notify.Clean(c.Name)
		}
	}
	return notify.Clean(id)
}
