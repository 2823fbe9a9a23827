package web

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// crewPage is what one crew sees: its own calls and visits.
type crewPage struct {
	Name      string
	Days      []crewDay   // today and tomorrow
	Coming    []crewVisit // after that
	Subscribe *subscribe
}

type crewDay struct {
	When string
	Jobs []crewJob
}

// crewJob is one job on one day.
type crewJob struct {
	Roof, Place string
	Call        callLine
	Notes       []note
}

type note struct{ Label, Text string }

// callLine is a call as a page says it. Outcome is "" where there is none yet.
type callLine struct {
	Outcome  string // GO, NO-GO, HOLD
	Tone     string // go, no-go, hold, none
	Occasion string // the evening call, the second look
	Start    string
	Chance   string
	SealedBy string
	NoReturn string
	Stages   []stageLine
	Reasons  []string
	Made     string
	Late     bool
}

type stageLine struct{ Stage, Span, Tightest string }

type crewVisit struct {
	When, Roof, Place, Start string
	Provisional              bool
	Days                     int
	first                    job.Date
}

// crewView makes the page of one crew.
func crewView(b ledger.Book, id string, at moment, sub *subscribe) crewPage {
	p := crewPage{Name: crewName(b, id), Subscribe: sub}
	for i := range 2 {
		d := at.today.AddDays(i)
		p.Days = append(p.Days, crewDay{When: at.near(d), Jobs: crewJobs(b, id, d, at)})
	}
	for _, v := range b.Visits {
		j, ok := booking(b, v.Job)
		first := v.First()
		if !ok || v.Crew != id || !first.After(at.today.AddDays(1)) || !v.On(first) {
			continue
		}
		p.Coming = append(p.Coming, crewVisit{
			When: first.Words(), Roof: notify.Roof(j.Job), Place: notify.Clean(j.Site.Address), Start: v.Start.String(),
			Provisional: v.Told != first, Days: len(v.Days) - v.Done, first: first,
		})
	}
	slices.SortStableFunc(p.Coming, func(x, y crewVisit) int {
		return cmp.Or(x.first.Compare(y.first), cmp.Compare(x.Start, y.Start))
	})
	return p
}

// crewJobs gives what a crew has on one day: jobs called for that day, and
// visits planned on it that have no call yet.
func crewJobs(b ledger.Book, id string, d job.Date, at moment) []crewJob {
	var out []crewJob
	for _, j := range b.Jobs {
		k := standing(b.Calls, j.ID, d)
		mine := k != nil && k.Crew == id
		if k == nil {
			for _, v := range b.Visits {
				mine = mine || v.Job == j.ID && v.Crew == id && v.On(d)
			}
		}
		if !mine {
			continue
		}
		c := crewJob{Roof: notify.Roof(j.Job), Place: notify.Clean(j.Site.Address), Notes: notesOf(j), Call: callLine{Tone: "none"}}
		if k != nil {
			c.Call = callLineOf(*k, siteZone(j.Job, at.zone))
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(x, y crewJob) int { return cmp.Compare(x.Call.Start, y.Call.Start) })
	return out
}

// standing gives the call in force for a job on a day: the last one made.
func standing(calls []call.Call, id string, d job.Date) *call.Call {
	var last *call.Call
	for i := range calls {
		if c := &calls[i]; c.Job == id && c.Date == d && (last == nil || !c.Made.Before(last.Made)) {
			last = c
		}
	}
	return last
}

// callLineOf puts a call into words, on the clock of its site.
func callLineOf(k call.Call, zone *time.Location) callLine {
	l := callLine{
		Outcome: strings.ToUpper(string(k.Outcome)), Tone: string(k.Outcome), Occasion: occasionWords(k.Occasion),
		Made: k.Made.In(zone).Format("Monday 15:04"), Late: k.Late,
	}
	if k.Known {
		l.Chance = notify.Percent(k.Chance)
	}
	for _, r := range k.Reasons {
		if r = notify.Clean(r); r != "" {
			l.Reasons = append(l.Reasons, r)
		}
	}
	if k.Outcome == call.NoGo {
		return l
	}
	l.Start = notify.SpanWords(k.Start, k.Start, zone, k.Date)
	l.SealedBy = notify.SpanWords(k.SealedBy, k.SealedBy, zone, k.Date)
	l.NoReturn = notify.SpanWords(k.NoReturn, k.NoReturn, zone, k.Date)
	for _, s := range k.Stages {
		l.Stages = append(l.Stages, stageLine{
			Stage: notify.StageWords(s.Stage), Span: notify.SpanWords(s.From, s.To, zone, k.Date),
			Tightest: notify.Tightest(s.Tightest, zone, k.Date),
		})
	}
	return l
}

func occasionWords(o call.Occasion) string {
	switch o {
	case call.Evening:
		return "Evening call"
	case call.SecondLook:
		return "Second look"
	}
	return "Changed call"
}

// notesOf gives what a crew wants to know before it arrives.
func notesOf(j job.Booking) []note {
	var out []note
	for _, n := range []note{
		{"Customer", j.Customer.Name}, {"Telephone", j.Phone}, {"Access, gate", j.Notes.Access}, {"Parking", j.Notes.Parking},
		{"Power, water", j.Notes.PowerWater}, {"Neighbours", j.Notes.Neighbours}, {"Room below", j.Notes.RoomBelow},
	} {
		if n.Text = notify.Clean(n.Text); n.Text != "" {
			out = append(out, n)
		}
	}
	return out
}
