package season

import (
	"fmt"
	"math"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
)

// Forecasts are the issues that stood at any time of the year.
type Forecasts interface {
	Issue(now time.Time) (forecast.Issue, error)
}

// Called is what would have been called in one month, and how the days went
// that were laid.
type Called struct {
	Month   time.Month
	Days    int
	Go      int // called go in the evening
	Hold    int // left to the second look
	Laid    int // go after the second look
	Held    int // of the laid: sealed, by the record
	Full    int // of the held: topcoated the same day
	Rained  int // of the laid: rain on the open roof, by the record
	Unknown int // of the laid: hours of the record are missing
}

// Add adds another month's days to m.
func (m *Called) Add(x Called) {
	m.Month = x.Month
	m.Days += x.Days
	m.Go += x.Go
	m.Hold += x.Hold
	m.Laid += x.Laid
	m.Held += x.Held
	m.Full += x.Full
	m.Rained += x.Rained
	m.Unknown += x.Unknown
}

// When calls are made: the defaults of job.DefaultFirm (18:00 the evening
// before, 05:30 on the day).
const (
	eveningAt    job.TimeOfDay = 18 * 60
	secondLookAt job.TimeOfDay = 5*60 + 30
)

// Called lives through the days from `from` to `to` with only the forecasts to go by: each evening
// the call for tomorrow, each morning the second look, on the same untouched
// roof every day, by dressed members, whose errors are learned as the days go; and has the record say what came of each day that was laid.
// A crew whose go stands comes when the evening told it. The result has one
// year of months for each area, as Known has. It fails where a forecast cannot be had.
func (p Place) Called(w Weather, f Forecasts, from, to job.Date, tell func(job.Date)) ([][12]Called, error) {
	out := make([][12]Called, len(p.Areas))
	l := skill.NewLearner(p.Job.Site.Lon)
	for d := from; !d.After(to); d = d.AddDays(1) {
		// the daemon learns by night from the day before, a day of UTC as there
		over := time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC).AddDate(0, 0, -2)
		l.Past(w.Truth(over, 24), over)
		evening, err := p.look(f, l, d, d.AddDays(-1), eveningAt)
		if err != nil {
			return nil, err
		}
		l.Evening(evening.issue)
		morning, err := p.look(f, l, d, d, secondLookAt)
		if err != nil {
			return nil, err
		}
		g := p.recorded(w, d)
		for i := range p.Areas {
			m := &out[i][d.Month-1]
			m.Month = d.Month
			p.calledDay(g, evening, morning, p.caseOf(i), d, m)
		}
		if tell != nil {
			tell(d)
		}
	}
	return out, nil
}

// look is one look at the forecast for a day.
type look struct {
	now    time.Time
	issue  forecast.Issue
	ground *rules.Ground
}

// look asks for the issue that stands on day `on` at a time of day, and works
// out the ground of day d from it, dressed by what was learned so far.
func (p Place) look(f Forecasts, l *skill.Learner, d, on job.Date, at job.TimeOfDay) (look, error) {
	now := job.Instant(on, at, p.Zone)
	is, err := f.Issue(now)
	if err != nil {
		return look{}, fmt.Errorf("forecast of %s for %s: %w", on, d, err)
	}
	end := job.Instant(d, 0, p.Zone).Truncate(time.Hour).Add(hoursFrom * time.Hour)
	near := skill.Dress(forecast.Issue{Det: is.Det.Until(end), Ens: is.Ens.Until(end), DetOnly: is.DetOnly}, &l.Stats)
	return look{now, is, rules.NewGround(near, p.Job.Site, rules.SurfaceOf(p.Job), p.Profile)}, nil
}

// calledDay makes both calls for one day and adds it to its month.
func (p Place) calledDay(was *rules.Ground, evening, morning look, c rules.Case, d job.Date, m *Called) {
	m.Days++
	input := func(l look) call.Input {
		return call.Input{
			Firm: p.Firm, Job: c.Job, Visit: job.Visit{Job: c.Job.ID, N: 1, Days: []job.Date{d}}, Date: d,
			Now: l.now, Due: l.now, Day: l.ground.Judge(c, d, l.now, p.Firm.Bounds), Issue: l.issue,
		}
	}
	first := call.DecideEvening(input(evening))
	switch first.Outcome {
	case call.NoGo:
		return // final: the day is planned anew
	case call.Go:
		m.Go++
	case call.Hold:
		m.Hold++
	}
	again := input(morning)
	again.Standing = &first
	second, changed := call.DecideSecondLook(again)
	if second.Outcome != call.Go {
		return
	}
	start := second.Start
	if !changed {
		start = first.Start
	}
	m.Laid++
	// by the day's own heat, as the days that could have been sealed are counted, so
	// that the two columns can be compared
	sealed, full, rained, known := was.Outturn(c, d, start, false)
	count := func(n *int, is bool) {
		if is {
			*n++
		}
	}
	count(&m.Unknown, !known)
	count(&m.Held, known && sealed)
	count(&m.Full, known && sealed && full)
	count(&m.Rained, known && rained)
}

// perimeter gives the edge in metres of a square roof of so many m².
func perimeter(areaM2 float64) float64 { return 4 * math.Sqrt(areaM2) }
