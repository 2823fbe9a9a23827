package web

import (
	"fmt"
	"net/http"
	"slices"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

// weekPage is the plan in force: days by crews, what has no place, the calls.
type weekPage struct {
	Made      string
	Crews     []string
	Days      []weekDay
	Left      []leftLine
	Calls     []callRow
	Bound     string
	Subscribe *subscribe
}

type weekDay struct {
	When  string
	Cells []weekCell // one a crew, in the order of Crews
}

type weekCell struct {
	Crew  string
	Items []weekItem
}

type weekItem struct {
	Job, Roof, Start, Chance string
	Day, Of                  int // day Day of Of
	Provisional              bool
}

type leftLine struct{ Job, Roof, Reason string }

// callRow is a call with what it is about.
type callRow struct {
	When, Crew, Job, Roof string
	Call                  callLine
}

// weekView makes the page of the plan in force.
func weekView(b ledger.Book, at moment, sub *subscribe) weekPage {
	p := weekPage{Subscribe: sub, Calls: callRows(b, at)}
	for _, c := range b.Crews {
		p.Crews = append(p.Crews, crewName(b, c.ID))
	}
	if b.Week == nil {
		return p
	}
	p.Made = b.Week.Made.In(at.zone).Format("Monday 2 January at 15:04")
	p.Bound = boundWords(*b.Week)
	for _, d := range weekDates(*b.Week, at.today) {
		day := weekDay{When: at.near(d)}
		for _, c := range b.Crews {
			day.Cells = append(day.Cells, weekCell{Crew: crewName(b, c.ID), Items: weekItems(b, c.ID, d)})
		}
		p.Days = append(p.Days, day)
	}
	for _, l := range b.Week.Left {
		p.Left = append(p.Left, leftLine{Job: notify.Clean(l.Job), Roof: roofOf(b, l.Job), Reason: notify.Clean(l.Reason)})
	}
	return p
}

// weekDates gives the days from today on that have work, in order.
func weekDates(w plan.Week, today job.Date) []job.Date {
	var ds []job.Date
	for _, v := range w.Visits {
		for _, d := range v.Days {
			if !d.Before(today) && !slices.Contains(ds, d) {
				ds = append(ds, d)
			}
		}
	}
	slices.SortFunc(ds, job.Date.Compare)
	return ds
}

func weekItems(b ledger.Book, crew string, d job.Date) []weekItem {
	var out []weekItem
	for _, v := range b.Week.Visits {
		i := slices.Index(v.Days, d)
		if v.Crew != crew || i < 0 {
			continue
		}
		it := weekItem{Job: notify.Clean(v.Job), Roof: roofOf(b, v.Job), Start: v.Start.String(), Day: i + 1, Of: len(v.Days), Provisional: v.Told != v.Days[0]}
		if i == 0 && v.Chance > 0 { // the chance is that of the first day
			it.Chance = notify.Percent(v.Chance)
		}
		out = append(out, it)
	}
	slices.SortStableFunc(out, func(x, y weekItem) int {
		if x.Start < y.Start {
			return -1
		} else if x.Start > y.Start {
			return 1
		}
		return 0
	})
	return out
}

// callRows gives the calls in force for today and after.
func callRows(b ledger.Book, at moment) []callRow {
	var out []callRow
	for i := range b.Calls {
		k := &b.Calls[i]
		if k.Date.Before(at.today) || standing(b.Calls, k.Job, k.Date) != k {
			continue
		}
		zone := at.zone
		if j, ok := booking(b, k.Job); ok {
			zone = siteZone(j.Job, zone)
		}
		out = append(out, callRow{When: at.near(k.Date), Crew: crewName(b, k.Crew), Job: notify.Clean(k.Job), Roof: roofOf(b, k.Job), Call: callLineOf(*k, zone)})
	}
	return out
}

func roofOf(b ledger.Book, id string) string {
	if j, ok := booking(b, id); ok {
		return notify.Roof(j.Job)
	}
	return notify.Clean(id)
}

// boundWords says how good a plan is proven to be.
func boundWords(w plan.Week) string {
	if w.Proven || w.Gap == 0 {
		return "This plan is proven best by the chances of the day it was made."
	}
	return fmt.Sprintf("This plan is within %.2g %% of the best possible by the chances of the day it was made.", w.Gap*100)
}

// week shows the plan in force.
func (s *site) week(w http.ResponseWriter, r *http.Request, v viewer) {
	b, at, err := s.book(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "week", err)
		return
	}
	s.show(w, http.StatusOK, "week", frame{Title: "The week", Firm: notify.Clean(b.Firm.Name), Viewer: &v, Credit: s.creditFor(b), Body: weekView(b, at, nil)})
}
