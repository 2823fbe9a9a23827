package web

import (
	"cmp"
	"html/template"
	"net/url"
	"slices"
	"strings"

	"laycast/job"
	"laycast/notify"
	"laycast/notify/calendar"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// customerPage is what one customer sees: what was published to this customer,
// and nothing of the plan.
type customerPage struct {
	Undated   []string // roofs that no date or week is told of
	Noted     string   // what was just noted
	Visits    []customerVisit
	Mail      string // whom to write to
	Phone     string // whom to ring, or ""
	Ring      template.URL
	Subscribe *subscribe
}

type customerVisit struct {
	Roof     string
	When     string // "Wednesday 14 April" or "The week of Monday 12 April"
	From     string // "from 07:30", or ""
	Status   string // a few words
	Tone     string // go, hold, no-go: for the eye, the words say it too
	Place    string
	Who      string // who comes, where that is told
	Lines    []string
	Prepare  []string
	Changed  string
	Moved    string // why an earlier date does not hold
	Other    string // where to say that the day does not suit, or ""
	Settled  bool   // we are about to come: only by telephone
	job      string
	date     job.Date
	invited  bool
	over     bool
	sortedBy string
}

// customerView makes the page of one customer from the rows published to it.
func customerView(b ledger.Book, rows []ledger.Published, at moment, sub *subscribe) customerPage {
	p := customerPage{Mail: b.Firm.Email, Phone: notify.Clean(b.Firm.Phone), Ring: ring(b.Firm.Phone), Subscribe: sub}
	for _, row := range rows {
		if v := customerVisitOf(b, row, at); !v.over {
			p.Visits = append(p.Visits, v)
		}
	}
	slices.SortStableFunc(p.Visits, func(x, y customerVisit) int { return cmp.Compare(x.sortedBy, y.sortedBy) })
	return p
}

func customerVisitOf(b ledger.Book, row ledger.Published, at moment) customerVisit {
	e := row.Event
	v := customerVisit{
		Place: notify.Clean(e.Location), over: row.Over.Before(at.today),
		Changed: e.ChangedAt.In(at.zone).Format("Monday 2 January, 15:04"),
	}
	v.Lines = plainLines(e.Description)
	if e.Start.IsZero() {
		v.When, v.sortedBy = "The week of "+e.From.Words(), e.From.String()
	} else {
		start := e.Start.In(at.zone)
		d := job.DateOf(start)
		v.When, v.From, v.sortedBy, v.date = d.Words(), "from "+start.Format("15:04"), d.String(), d
	}
	v.Status, v.Tone = statusOf(e, going(b, row, at))
	v.job, v.Moved = row.Job, movedWords(b, row)
	if j, ok := booking(b, row.Job); ok {
		v.invited, v.Roof = j.Invite, notify.Roof(j.Job)
		// it has a row of its own here; calendars have none for it
		v.Lines = slices.DeleteFunc(v.Lines, func(s string) bool { return s == "The roof: "+v.Roof })
	}
	if e.Status == calendar.Cancelled || e.Start.IsZero() {
		return v
	}
	if j, ok := booking(b, row.Job); ok {
		v.Prepare = notify.Clearing(j)
	}
	v.Who = whoComes(b, row)
	return v
}

// undated adds the roofs of a customer that no date or week is told of.
func (p *customerPage) undated(b ledger.Book, person string) {
	for _, j := range b.Jobs {
		shown := slices.ContainsFunc(p.Visits, func(v customerVisit) bool { return v.job == j.ID })
		if !shown && j.State == job.Booked && sameMail(j.Customer.Email, person) {
			p.Undated = append(p.Undated, notify.Roof(j.Job))
		}
	}
}

// movedWords says why an earlier date of a visit does not hold, as its customer
// was told.
func movedWords(b ledger.Book, row ledger.Published) string {
	for _, v := range b.Visits {
		if v.Job == row.Job && v.N == row.N && !v.Moved.IsZero() && v.MovedWhy != "" {
			return "Instead of " + v.Moved.Words() + ". " + notify.Clean(v.MovedWhy)
		}
	}
	return ""
}

// others says of which dates a customer may say that they do not suit: told ones
// that no call stands for yet.
func (p *customerPage) others(b ledger.Book, at moment, page string) {
	for i := range p.Visits {
		v := &p.Visits[i]
		for _, x := range b.Visits {
			if x.Job != v.job || x.Told != v.date || v.date.IsZero() || v.Tone == "no-go" || x.State != job.Planned || x.Done > 0 {
				continue
			}
			k := standing(b.Calls, v.job, v.date)
			if k != nil || !v.date.After(at.today) {
				v.Settled = true
				continue
			}
			v.Other = page + "/other?" + url.Values{"job": {v.job}, "date": {v.date.String()}}.Encode()
		}
	}
}

// invited reports whether every visit shown comes as an invitation by mail:
// nobody wants it in the calendar twice (INTEROP.md D.4).
func (p customerPage) invited() bool {
	return len(p.Visits) > 0 && !slices.ContainsFunc(p.Visits, func(v customerVisit) bool { return !v.invited })
}

// unsuitedWords says what a customer has just said, where it is so.
func unsuitedWords(b ledger.Book, person, date string) string {
	d, err := job.ParseDate(date)
	if err != nil {
		return ""
	}
	for _, j := range b.Jobs {
		if sameMail(j.Customer.Email, person) && j.Unsuits(d) {
			return "Noted: " + d.Words() + " does not suit you. We write to you what takes its place."
		}
	}
	return ""
}

// sameMail reports whether two mail addresses are the same, in any case.
func sameMail(x, y string) bool { return strings.EqualFold(x, y) }

// statusOf says how sure an event is.
func statusOf(e calendar.Event, going bool) (words, tone string) {
	switch {
	case e.Status == calendar.Cancelled:
		return "Called off", "no-go"
	case e.Start.IsZero():
		return "The week, no day yet", "hold"
	case e.Status != calendar.Confirmed:
		return "Not certain yet", "hold"
	case going:
		return "We come", "go"
	}
	return "Weather permitting", "hold"
}

// going reports whether the day of an event stands as go.
func going(b ledger.Book, row ledger.Published, at moment) bool {
	if row.Event.Start.IsZero() {
		return false
	}
	k := standing(b.Calls, row.Job, job.DateOf(row.Event.Start.In(at.zone)))
	return k != nil && k.Outcome == call.Go
}

// whoComes names the crew where the visit stands on the day that was told.
func whoComes(b ledger.Book, row ledger.Published) string {
	for _, v := range b.Visits {
		if v.Job == row.Job && v.N == row.N && v.Crew != "" && v.First() == v.Told {
			return "Crew " + crewName(b, v.Crew) + " of " + notify.Clean(b.Firm.Name)
		}
	}
	return notify.Clean(b.Firm.Name)
}

// plainLines cleans lines of a description and leaves empty ones out.
func plainLines(in []string) []string {
	var out []string
	for _, s := range in {
		if s = notify.Clean(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}
