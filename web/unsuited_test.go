package web

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"laycast/job"
	"laycast/job/access"
	"laycast/scheduler/ledger"
)

// diaryOfDays takes what customers say of their days.
type diaryOfDays struct {
	offers []job.Date
	err    error
	said   []string
}

func (c *diaryOfDays) Offers(context.Context, ledger.Book, string, string, job.Date) ([]job.Date, error) {
	return c.offers, c.err
}

func (c *diaryOfDays) Unsuited(_ context.Context, _, person, id string, d, wish job.Date) error {
	c.said = append(c.said, strings.Join([]string{person, id, d.String(), wish.String()}, " "))
	return nil
}

// toldAhead is the house before the call for Ann's day, with customers that may
// speak.
func toldAhead(t *testing.T) (*house, *diaryOfDays, http.Handler) {
	h := openHouse()
	h.book.Calls = nil
	c := &diaryOfDays{offers: []job.Date{day(14), day(16)}}
	return h, c, h.handler(t, func(x *Config) { x.Customers = c })
}

func TestDayDoesNotSuit(t *testing.T) {
	h, c, site := toldAhead(t)
	page := pageOf(access.Customer, "ann@mail.example")
	other := page + "/other?date=2027-04-13&job=A1"
	wants(t, "Ann's page", text(t, get(site, page)), "This day does not suit", strings.ReplaceAll(other, "&", "&amp;"))
	wants(t, "the form", text(t, get(site, other)), "Tuesday 13 April does not suit me", "Wednesday 14 April", "Friday 16 April", "Whichever day you find", "Leave it as it is")
	if len(c.said) != 0 {
		t.Fatal("a look changed something")
	}
	form := url.Values{"job": {"A1"}, "date": {"2027-04-13"}, "wish": {"2027-04-16"}}
	if r := send(site, page+"/other", form); r.StatusCode != http.StatusSeeOther || r.Header.Get("Location") != page+"?noted=2027-04-13" {
		t.Errorf("%d %s", r.StatusCode, r.Header.Get("Location"))
	}
	form.Set("wish", "2027-04-15") // was never offered
	send(site, page+"/other", form)
	if want := []string{"ann@mail.example A1 2027-04-13 2027-04-16", "ann@mail.example A1 2027-04-13 "}; len(c.said) != 2 || c.said[0] != want[0] || c.said[1] != want[1] {
		t.Errorf("said %q", c.said)
	}
	hides(t, "what nobody said", text(t, get(site, page+"?noted=2027-04-13")), "Noted")
	h.book.Jobs[0].Unsuited = []job.Date{day(13)}
	wants(t, "once it is noted", text(t, get(site, page+"?noted=2027-04-13")), "Noted: Tuesday 13 April does not suit you.")

	c.err = errors.New(`please ring us "><script>`)
	h.book.Firm.Phone = "+353 1 555 0100"
	r := send(site, page+"/other", form)
	body := text(t, r)
	wants(t, "too late", body, "This cannot be changed here: please ring us &#34;&gt;&lt;script&gt;", "tel:", "office@quay.example")
	if r.StatusCode != http.StatusConflict || len(c.said) != 2 || strings.Contains(body, "<form") {
		t.Errorf("too late: %d, said %q", r.StatusCode, c.said)
	}
}

// A customer's form is for its own dates: nobody else's job, no other link, no
// other site, and none where there is nobody to take it or a call is out.
func TestDayOfAnotherDoesNotSuit(t *testing.T) {
	h, c, site := toldAhead(t)
	page := pageOf(access.Customer, "ann@mail.example")
	form := url.Values{"job": {"B2"}, "date": {"2027-04-13"}}
	if r := send(site, page+"/other", form); r.StatusCode != http.StatusNotFound {
		t.Errorf("another's job: %d", r.StatusCode)
	}
	form.Set("job", "A1")
	if r := send(site, pageOf(access.Crew, "gull")+"/other", form); r.StatusCode != http.StatusNotFound {
		t.Errorf("a crew's link: %d", r.StatusCode)
	}
	if r := send(site, page+"/other", url.Values{"job": {"A1"}, "date": {"soon"}}); r.StatusCode != http.StatusNotFound {
		t.Errorf("no date: %d", r.StatusCode)
	}
	if r := ask(site, http.MethodPost, page+"/other", strings.NewReader(form.Encode()), "Content-Type", "application/x-www-form-urlencoded",
		"Origin", "https://evil.example", "Sec-Fetch-Site", "cross-site"); r.StatusCode != http.StatusForbidden {
		t.Errorf("from another site: %d", r.StatusCode)
	}
	if len(c.said) != 0 {
		t.Errorf("said %q", c.said)
	}
	hides(t, "without anybody to take it", text(t, get(h.handler(t), page)), "does not suit")
	h = openHouse() // with its go
	h.book.Firm.Phone = "+353 1 555 0100"
	body := text(t, get(h.handler(t, func(x *Config) { x.Customers = c }), page))
	wants(t, "after the go", body, `please ring us (<a href="tel:&#43;35315550100">`, `or ring <a href="tel:`)
	hides(t, "after the go", body, "/other?")
}

// The reason of a move stands on the page; who gets invitations is offered no
// calendar beside them.
func TestCustomerPageSaysWhyItMoved(t *testing.T) {
	h, _, site := toldAhead(t)
	h.book.Visits[0].Moved, h.book.Visits[0].MovedWhy = day(9), `The forecast was not good enough <i>.`
	page := pageOf(access.Customer, "ann@mail.example")
	wants(t, "moved", text(t, get(site, page)), "Instead of Friday 9 April. The forecast was not good enough &lt;i&gt;.", "webcal://")
	h.book.Jobs[0].Title = `"><script>alert(1)</script>`
	h.rows = nil
	body := text(t, get(site, page))
	wants(t, "a roof without a date", body, "No date yet", "&lt;script&gt;alert(1)")
	hides(t, "a roof without a date", body, "<script", "B2", "Porch C3")
	h, _, site = toldAhead(t)
	h.book.Jobs[0].Invite = true
	hides(t, "with invitations", text(t, get(site, page)), "webcal://")
}
