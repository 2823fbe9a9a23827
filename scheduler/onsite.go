package scheduler

import (
	"context"
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
	"laycast/rules/physics"
	"laycast/rules/site"
	"laycast/scheduler/call"
)

// Answer says what a crew's reading comes to, by the forecast that stands now.
// It writes nothing. r.Job, r.Date and r.At are needed, and what was measured.
func (s *Scheduler) Answer(ctx context.Context, firm string, r job.Reading) (site.Answer, error) {
	w, err := s.glance(ctx, firm, r.Date)
	if err != nil {
		return site.Answer{}, err
	}
	b, ok := w.booking(r.Job)
	if !ok {
		return site.Answer{}, fmt.Errorf("there is no job %q", r.Job)
	}
	is, err := s.Issues(ctx, []job.Booking{b}, w.now, w.zone)
	if err != nil {
		return site.Answer{}, err
	}
	v, err := w.visitOn(b, r.Date, r.At, is[CellOf(b.Site)])
	if err != nil {
		return site.Answer{}, err
	}
	return v.Answer(r), nil
}

// visitOn gives what a reading of a job on a day is held against.
func (w *work) visitOn(b job.Booking, d job.Date, at time.Time, is forecast.Issue) (site.Visit, error) {
	hands := 2
	if k := w.standing(b.ID, d); k != nil {
		hands = w.crew(k.Crew).Size
	}
	c, err := w.s.caseOf(w.book.Firm, b, hands, w.zone)
	if err != nil {
		return site.Visit{}, err
	}
	bay, ok := c.NextBay(d)
	if !ok {
		bay = rules.Bay{Task: rules.Coat, AreaM2: b.Roof.AreaM2}
	}
	lay, coat := c.Spans(bay)
	v := site.Visit{
		Stage: rules.Laminate, Work: lay, Coat: coat, Blind: w.cannotSee(is), Profile: c.Profile, Hands: hands, Recipe: w.s.Materials.Recipe(),
		Wooden: b.Roof.NewBoards() || b.Roof.Deck == job.NewBoard || b.Roof.Deck == job.OldBoard,
	}
	v.WorkEnd = job.Instant(d, c.Hours.To, w.zone)
	if _, dusk, ok := physics.CivilDay(b.Site.Lat, b.Site.Lon, d.Year, d.Month, d.Day, w.zone); ok && dusk.Before(v.WorkEnd) {
		v.WorkEnd = dusk
	}
	v.WorkEnd = v.WorkEnd.Add(-time.Duration(c.Profile.ClearUp * float64(time.Minute)))
	if bay.Task == rules.Coat || w.book.Diary.Word(b.ID, d).Sealed {
		v.Stage, v.Work = rules.Topcoat, coat
	}
	g := w.s.grounds.day(is, c, d)
	end := job.Instant(d.AddDays(1), 12*60, w.zone)
	v.Hours = g.HourTable(at.Add(-2*time.Hour), end)
	end = job.Instant(d.AddDays(1), 0, w.zone)
	if rain, known := c.Profile.RainAhead(v.Stage, w.s.grounds.near(is, CellOf(b.Site), end), at, end); known {
		v.RainFrom = rain.From
	}
	return v, nil
}

// ensembleSeen is how long ago the ensemble may have been fetched while a roof
// is open: it is asked for every six hours, and its own content says how old it
// is.
const ensembleSeen = (ensembleEvery + 1) * time.Hour

// cannotSee says why the forecast may not be believed while a roof is open; "" where
// it may.
func (w *work) cannotSee(is forecast.Issue) string {
	if is.Ens != nil && w.now.Sub(is.Ens.LastSeen) <= ensembleSeen {
		e := *is.Ens
		e.LastSeen = w.now
		is.Ens = &e
	}
	return call.Age(is, w.now)
}
