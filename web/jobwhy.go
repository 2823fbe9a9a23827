package web

import (
	"net/http"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/plan"
)

// whyPage says why a job stands where it does, and what each other day would cost.
type whyPage struct {
	ID, Path, Roof string
	Stands         string
	Adds           string
	Needs          string
	Days           []whyDay
	Acts           bool
}

type whyDay struct {
	When, Date   string
	Day          string // When without "tomorrow"
	Crew         string // id, for a pin
	Chance, Cost string
	Words        string
	Can, Here    bool
	last         job.Date // of a run of days that are alike
}

// jobWhy plans again with the job taken out and on each other day.
func (s *site) jobWhy(w http.ResponseWriter, r *http.Request, v viewer) {
	ctx, uid := r.Context(), s.firmUID()
	b, at, err := s.book(ctx, uid)
	if err != nil {
		s.unavailable(w, "why", err)
		return
	}
	j, ok := booking(b, r.PathValue("id"))
	if !ok {
		notFound(w)
		return
	}
	y, err := s.Jobs.Judge.JobWhy(ctx, uid, j.ID)
	if err != nil {
		s.unavailable(w, "why", err)
		return
	}
	p := whyOf(y, b.Firm.Costs.Currency, at)
	p.ID, p.Path, p.Roof, p.Acts = j.ID, jobPath(j.ID), notify.Roof(j.Job), s.Desk != nil && !v.Looks && j.State == job.Booked
	s.show(w, http.StatusOK, "why", frame{Title: "Why this day", Firm: notify.Clean(b.Firm.Name), Viewer: &v, Credit: s.creditFor(b), Body: p})
}

func whyOf(y plan.JobWhy, currency string, at moment) whyPage {
	p := whyPage{Stands: notify.Sentence(y.Stands), Needs: notify.Clean(y.Needs)}
	if y.Adds != nil {
		how := " The plan was made again without it to say so."
		if !y.Adds.Exact {
			how = " The search for a plan without it was cut short, so it may be less."
		}
		if y.Adds.Amount < 0 {
			p.Adds = "Left for later it would be worth " + (-y.Adds.Amount).Words(currency) + " more." + how
		} else {
			p.Adds = "It adds " + y.Adds.Amount.Words(currency) + " to the plan, over leaving it for later." + how
		}
	}
	for _, d := range y.Days {
		x := whyDay{When: at.near(d.Day), Day: d.Day.Words(), Date: d.Day.String(), Crew: d.Crew, Words: notify.Clean(d.Words), Can: d.Can, Here: d.Here}
		if d.Chance != nil {
			x.Chance = notify.Percent(*d.Chance)
		}
		if d.Cost != nil && d.Can && !d.Here {
			x.Cost = d.Cost.Amount.Words(currency)
			if !d.Cost.Exact {
				x.Cost = "at most " + x.Cost
			}
		}
		if n := len(p.Days); n > 0 && !x.Can && !p.Days[n-1].Can && p.Days[n-1].Words == x.Words { // one line for a run of days
			p.Days[n-1].last = d.Day
			continue
		}
		p.Days = append(p.Days, x)
	}
	for i, d := range p.Days {
		if !d.last.IsZero() {
			p.Days[i].When += " to " + d.last.Words()
		}
	}
	return p
}
