package web

import (
	"cmp"
	"slices"

	"laycast/job"
	"laycast/notify"
	"laycast/notify/calendar"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// customerPage is what one customer sees: what was published to this customer,
// and nothing of the plan.
type customerPage struct {
	Visits    []customerVisit
	Mail      string // whom to write to
	Subscribe *subscribe
}

type customerVisit struct {
	When     string // "Wednesday 14 April" or "The week of Monday 12 April"
	From     string // "from 07:30", or ""
	Status   string // a few words
	Tone     string // go, hold, no-go: for the eye, the words say it too
	Place    string
	Who      string // who comes, where that is told
	Lines    []string
	Prepare  []string
	Changed  string
	over     bool
	sortedBy string
}

// customerView makes the page of one customer from the rows published to it.
func customerView(b ledger.Book, rows []ledger.Published, at moment, sub *subscribe) customerPage {
	p := customerPage{Mail: b.Firm.Email, Subscribe: sub}
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
		v.When, v.From, v.sortedBy = d.Words(), "from "+start.Format("15:04"), d.String()
	}
	v.Status, v.Tone = statusOf(e, going(b, row, at))
	if e.Status == calendar.Cancelled || e.Start.IsZero() {
		return v
	}
	if j, ok := booking(b, row.Job); ok {
		v.Prepare = notify.Clearing(j)
	}
	v.Who = whoComes(b, row)
	return v
}

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
