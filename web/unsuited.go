package web

import (
	"context"
	"html/template"
	"net/http"
	"net/url"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

// Customers takes that a told day does not suit.
type Customers interface {
	// Offers gives days that could take the place of a told one; an error says in
	// plain words why it is past changing by a form.
	Offers(ctx context.Context, b ledger.Book, person, id string, d job.Date) ([]job.Date, error)
	// Unsuited takes it down; wish is one of the offers, or none.
	Unsuited(ctx context.Context, uid, person, id string, d, wish job.Date) error
}

// unsuitedPage asks a customer once more, and offers other days.
type unsuitedPage struct {
	Job, Date   string
	When, Roof  string
	Offers      []offer
	Why         string // why it cannot be done here, or ""
	Phone, Mail string
	Ring        template.URL
	Back        string
}

type offer struct{ Date, Words string }

// unsuited shows the form for one told day, and takes it.
func (s *site) unsuited(w http.ResponseWriter, r *http.Request) {
	formHeaders(w)
	l, ok := s.open(w, r, r.PathValue("token"), access.Page)
	if !ok {
		return
	}
	if l.Audience != access.Customer {
		s.miss(w, r)
		return
	}
	from := r.URL.Query()
	if r.Method == http.MethodPost {
		if !readForm(w, r) {
			return
		}
		from = r.PostForm
	}
	b, _, err := s.book(r.Context(), l.Firm)
	if err != nil {
		s.unavailable(w, "unsuited", err)
		return
	}
	d, err := job.ParseDate(from.Get("date"))
	j, found := booking(b, from.Get("job"))
	if err != nil || !found || !sameMail(j.Customer.Email, l.ID) {
		notFound(w)
		return
	}
	back := s.base + "/p/" + r.PathValue("token")
	p := unsuitedPage{
		Job: j.ID, Date: d.String(), When: d.Words(), Roof: notify.Roof(j.Job), Back: back,
		Phone: notify.Clean(b.Firm.Phone), Ring: ring(b.Firm.Phone), Mail: notify.Clean(b.Firm.Email),
	}
	days, err := s.Customers.Offers(r.Context(), b, l.ID, j.ID, d)
	if err == nil && r.Method == http.MethodPost {
		if err = s.Customers.Unsuited(r.Context(), l.Firm, l.ID, j.ID, d, wishOf(from, days)); err == nil {
			http.Redirect(w, r, back+"?noted="+d.String(), http.StatusSeeOther)
			return
		}
	}
	status := http.StatusOK
	if err != nil {
		s.Log.Warn().Err(err).Str("job", j.ID).Msg("a customer's day was not changed")
		p.Why, status = notify.Clean(err.Error()), http.StatusConflict
	}
	for _, x := range days {
		p.Offers = append(p.Offers, offer{x.String(), x.Words()})
	}
	s.show(w, status, "unsuited", frame{Title: "This day does not suit", Firm: notify.Clean(b.Firm.Name), Body: p, Secret: true})
}

// wishOf gives the day that a form asks for, where it was offered.
func wishOf(form url.Values, offers []job.Date) job.Date {
	for _, d := range offers {
		if d.String() == form.Get("wish") {
			return d
		}
	}
	return job.Date{}
}
