// Package season counts laying days: on how many days of each month a roof
// could have been sealed under the limits of a profile, what stopped the
// others, and, where the weather can also be forecast, what would have been
// called and how the called days went. It is pure.
package season

import (
	"sort"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
)

// Weather is a record of what was.
type Weather interface {
	// Truth gives n hourly slots from start on, for one member.
	Truth(start time.Time, n int) forecast.Hours
}

// Place is a site, the work on it and the crew that would do it. Every area is
// a roof of its own that is never begun: each day is asked for its next bay.
type Place struct {
	Firm    job.Firm // zone, working hours and the bounds of a call
	Zone    *time.Location
	Job     job.Job // site, kind of work and deck; the area and edges are set by Areas
	Areas   []float64
	Crew    int // hands
	Profile rules.Profile
}

// Month is what came of the days of one month under perfect knowledge, summed
// over years where there are several.
type Month struct {
	Month    time.Month
	Days     int
	Unknown  int     // of them, days with hours missing on which the answer hangs
	Sealable int     // days with a time on site from which the day's bay is sealed
	Full     int     // and topcoated the same day
	BayM2    float64 // sum over days of the area that one day takes of the roof
	Causes   map[rules.Limit]int

	Work         int             // of Days, the firm's working days of which the answer is known
	WorkSealable int             // of them, sealable
	First, Last  []job.TimeOfDay // of each sealable day, the first and the last time on site from which the bay is sealed
}

// Binding gives the limit that stopped most of the month's days, "" when none
// was stopped. Of two equals it gives the first by name.
func (m Month) Binding() rules.Limit {
	var names []string
	for l := range m.Causes {
		names = append(names, string(l))
	}
	sort.Strings(names)
	best, most := rules.Limit(""), 0
	for _, n := range names {
		if k := m.Causes[rules.Limit(n)]; k > most {
			best, most = rules.Limit(n), k
		}
	}
	return best
}

// Add adds another month's days to m.
func (m *Month) Add(x Month) {
	m.Month = x.Month
	m.Days += x.Days
	m.Unknown += x.Unknown
	m.Sealable += x.Sealable
	m.Full += x.Full
	m.BayM2 += x.BayM2
	m.Work += x.Work
	m.WorkSealable += x.WorkSealable
	m.First, m.Last = append(m.First, x.First...), append(m.Last, x.Last...)
	for l, n := range x.Causes {
		if m.Causes == nil {
			m.Causes = map[rules.Limit]int{}
		}
		m.Causes[l] += n
	}
}

// Hours of record around a day: the deck carries the water of two days before,
// and a topcoat must stay free of frost into the next morning.
const (
	hoursBefore = 48
	hoursFrom   = 44
)

// Known judges every civil day from `from` to `to` by the record itself. A day counts as
// sealable when there is a time on site from which a crew of the middle pace
// (rules.Outturn) seals the day's bay; knowing the weather it chooses that time
// and nothing else: from there on it works by the hours up to now, as the
// forecast's members do. What stopped the other days is asked of rules.Judge,
// with the record as every one of the fewest members that give a verdict. The
// result has twelve months for each area, days of several years together. tell, when not nil, hears each
// day as it is done.
func (p Place) Known(w Weather, from, to job.Date, tell func(job.Date)) [][12]Month {
	out := make([][12]Month, len(p.Areas))
	for d := from; !d.After(to); d = d.AddDays(1) {
		g := p.recorded(w, d)
		for i := range p.Areas {
			m := &out[i][d.Month-1]
			m.Month = d.Month
			p.knownDay(g, p.caseOf(i), d, m)
		}
		if tell != nil {
			tell(d)
		}
	}
	return out
}

// knownDay adds one day to its month.
func (p Place) knownDay(g *rules.Ground, c rules.Case, d job.Date, m *Month) {
	m.Days++
	bay, workable := c.NextBay(d)
	if workable {
		m.BayM2 += bay.AreaM2
	}
	day := g.Judge(c, d, time.Time{}, p.Firm.Bounds)
	sealable, full := false, false
	missing := workable && len(day.Starts) == 0
	var first, last time.Time
	for _, s := range day.Starts {
		sealed, topcoated, _, known := g.Outturn(c, d, s.At, false)
		if sealed && !sealable {
			first = s.At
		}
		if sealed {
			last = s.At
		}
		sealable, full = sealable || sealed, full || topcoated
		missing = missing || !known
	}
	if works := p.Firm.Work.Working(d); works && (sealable || !missing) {
		m.Work++
		if sealable {
			m.WorkSealable++
		}
	}
	switch {
	case sealable:
		m.Sealable++
		m.First, m.Last = append(m.First, p.clock(first)), append(m.Last, p.clock(last))
		if full {
			m.Full++
		}
	case missing:
		m.Unknown++
	default:
		if m.Causes == nil {
			m.Causes = map[rules.Limit]int{}
		}
		m.Causes[cause(day)]++
	}
}

// clock gives the time of day of a moment on the firm's clock.
func (p Place) clock(t time.Time) job.TimeOfDay {
	at := t.In(p.Zone)
	return job.TimeOfDay(at.Hour()*60 + at.Minute())
}

// cause gives what stopped a day that is known. Without a start there was no
// time to work in.
func cause(day rules.Day) rules.Limit {
	switch {
	case len(day.Starts) == 0:
		return rules.LimitDaylight
	case len(day.Failing) == 0: // the quick half of the members sealed it
		return rules.LimitTime
	}
	return day.Failing[0].Limit
}

func (p Place) caseOf(i int) rules.Case { return p.Case(p.Areas[i]) }

// Case gives the case of an area in m², as a square roof with a drip edge all
// around and one outlet.
func (p Place) Case(areaM2 float64) rules.Case {
	j := p.Job
	j.Roof.AreaM2 = areaM2
	j.Roof.Edges = []job.Edge{{Kind: job.Drip, LengthM: perimeter(areaM2)}}
	j.Roof.Outlets = 1
	return rules.Case{Job: job.Booking{Job: j, State: job.Booked, NextVisit: 1}, Crew: p.Crew, Profile: p.Profile, Hours: p.Firm.Work, Zone: p.Zone}
}

// recorded gives the ground of a day as it was: two days of past hours, then
// the record as each of the fewest members that make a verdict.
func (p Place) recorded(w Weather, d job.Date) *rules.Ground {
	start := job.Instant(d, 0, p.Zone).Truncate(time.Hour)
	one := w.Truth(start.Add(-hoursBefore*time.Hour), hoursBefore+hoursFrom)
	det := forecast.Run{Source: "record", Endpoint: forecast.Deterministic, Hours: one, Digest: d.String()}
	ens := forecast.Run{Source: "record", Endpoint: forecast.Ensemble, Hours: equal(one, hoursBefore, rules.LeastMembers), Digest: d.String()}
	return rules.NewGround(forecast.Issue{Det: &det, Ens: &ens}, p.Job.Site, rules.SurfaceOf(p.Job), p.Profile)
}

// equal gives n members that are all the hours of one from slot `from` on.
func equal(one forecast.Hours, from, n int) forecast.Hours {
	out := forecast.Hours{Start: one.Start.Add(time.Duration(from) * time.Hour), N: one.N - from, Members: n}
	for v, col := range one.Cols {
		if col == nil {
			continue
		}
		for range n {
			out.Cols[v] = append(out.Cols[v], col[from:one.N]...)
		}
	}
	return out
}
