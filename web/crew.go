package web

import (
	"cmp"
	"context"
	"html/template"
	"net/http"
	"slices"
	"strings"
	"time"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// crewPage is what one crew sees: its own calls and visits.
type crewPage struct {
	Name      string
	Noted     string      // what was just noted, in a few words
	Wrong     string      // why what was sent was not taken
	Days      []crewDay   // today and tomorrow, and yesterday where it is open
	Coming    []crewVisit // after that
	Office    []siteNote  // whom to ring
	Subscribe *subscribe
}

type crewDay struct {
	When string
	Jobs []crewJob
}

// crewJob is one job on one day.
type crewJob struct {
	Anchor      string
	Roof, Place string
	Call        callLine
	Notes       []siteNote
	Say         *crewSay    // nil: nothing may be said of it here
	Site        *crewOnSite // nil: nothing is known beyond the call
}

type note struct{ Label, Text string }

// siteNote is a note that may hold a telephone number.
type siteNote struct {
	note
	Ring template.URL // rings it, or ""
}

// callLine is a call as a page says it. Outcome is "" where there is none yet.
type callLine struct {
	Outcome  string // GO, NO-GO, HOLD
	Tone     string // go, no-go, hold, none
	Occasion string // the evening call, the second look
	Start    string
	Chance   string
	SealedBy string
	NoReturn string
	CoatBy   string
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

// crewPage shows the page of one crew; form is one that was not taken, or nil.
func (s *site) crewPage(w http.ResponseWriter, r *http.Request, l access.Link, status int, form *crewForm) {
	b, at, err := s.bookFrom(r.Context(), l.Firm, -1)
	if err != nil {
		s.unavailable(w, "page", err)
		return
	}
	v := crewView(b, l.ID, at, s.subscribeTo(l, b.Links))
	if s.Crews != nil {
		formHeaders(w)
		if err := s.crewSays(r.Context(), b, &v, at, l.ID, s.base+"/p/"+r.PathValue("token"), form); err != nil {
			s.unavailable(w, "page", err)
			return
		}
		v.Noted = notedWords(b.Diary, l.ID, r.URL.Query().Get("noted"), at.zone)
	}
	if form != nil {
		v.Wrong = "This was not noted: " + cmp.Or(form.bad[""], "please look at the marked fields") + "."
	}
	s.show(w, status, "crew", frame{Firm: notify.Clean(b.Firm.Name), Title: v.Name, Body: v, Credit: s.creditFor(b), Secret: form != nil})
}

// crewView makes the page of one crew.
func crewView(b ledger.Book, id string, at moment, sub *subscribe) crewPage {
	p := crewPage{Name: crewName(b, id), Subscribe: sub}
	for i := -1; i < 2; i++ {
		d := at.today.AddDays(i)
		jobs := crewJobs(b, id, d, at)
		if i < 0 { // only what nobody has said the end of
			jobs = slices.DeleteFunc(jobs, func(j crewJob) bool { return j.Call.Tone != string(call.Go) || j.Say == nil || j.Say.word.Ended() })
			if len(jobs) == 0 {
				continue
			}
		}
		p.Days = append(p.Days, crewDay{When: at.near(d), Jobs: jobs})
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
	for _, n := range []siteNote{{note{"Telephone", b.Firm.Phone}, ring(b.Firm.Phone)}, {note: note{"Mail", b.Firm.Email}}} {
		if n.Text = notify.Clean(n.Text); n.Text != "" {
			p.Office = append(p.Office, n)
		}
	}
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
		c := crewJob{
			Anchor: job.Anchor(j.ID, d), Roof: notify.Roof(j.Job), Place: notify.Clean(j.Site.Address), Notes: notesOf(j), Call: callLine{Tone: "none"},
		}
		if k != nil {
			c.Call = callLineOf(*k, siteZone(j.Job, at.zone))
			c.Say = sayOf(b, j, *k, at)
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
	l.CoatBy = notify.SpanWords(k.CoatBy, k.CoatBy, zone, k.Date)
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
func notesOf(j job.Booking) []siteNote {
	var out []siteNote
	for _, n := range []siteNote{
		{note: note{"Access, gate", j.Notes.Access}}, {note: note{"Parking", j.Notes.Parking}}, {note: note{"Room below", j.Notes.RoomBelow}},
		{note: note{"Power, water", j.Notes.PowerWater}}, {note: note{"Neighbours", j.Notes.Neighbours}},
		{note: note{"Customer", j.Customer.Name}}, {note{"Telephone", j.Phone}, ring(j.Phone)},
	} {
		if n.Text = notify.Clean(n.Text); n.Text != "" {
			out = append(out, n)
		}
	}
	return out
}

// ring gives the address by which a telephone rings a number: its digits, and a
// plus in front; "" where it has too few.
func ring(number string) template.URL {
	var b strings.Builder
	for _, r := range number {
		if r >= '0' && r <= '9' || r == '+' && b.Len() == 0 {
			b.WriteRune(r)
		}
	}
	if b.Len() < 5 || b.Len() > 16 {
		return ""
	}
	return template.URL("tel:" + b.String())
}

// crewSays adds to the page what a crew may say and what it needs on site.
func (s *site) crewSays(ctx context.Context, b ledger.Book, p *crewPage, at moment, crew, action string, form *crewForm) error {
	for i := range p.Days {
		for k := range p.Days[i].Jobs {
			c := &p.Days[i].Jobs[k]
			if c.Say == nil {
				continue
			}
			say := c.Say
			say.Action = action
			if form != nil && form.anchor == c.Anchor {
				say.form = form
			}
			x, ok, err := s.Crews.OnSite(ctx, b, say.Job, say.date)
			if err != nil {
				return err
			}
			say.shape(x, ok, at)
			if !ok {
				continue
			}
			c.Site = onSiteOf(b, say, x, at)
			if say.newest != nil {
				a, err := s.Crews.Answer(ctx, b.Firm.UID, *say.newest)
				if err != nil {
					return err
				}
				c.Site.Answer = say.answer(*say.newest, a)
			}
		}
	}
	return nil
}
