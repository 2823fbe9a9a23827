package verify

import (
	"fmt"
	"slices"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
)

// OpenDay is one day on which a roof was called go in the evening before and
// stood open: what the watch saw, half hour by half hour, and what came.
type OpenDay struct {
	Date     job.Date
	From, To time.Time // from the first strip until nine in ten would have sealed it
	Looks    []Look
	Rain     time.Time // the first hour in it with rain by the record; zero: none
	RainMM   float64   // and how much fell while it was open
}

// Look is one look at the newest forecast: the share of members with rain before
// the roof is sealed.
type Look struct {
	At    time.Time
	Share float64
}

// looksEvery is how often an open roof is looked after.
const looksEvery = 30 * time.Minute

// OpenDays lives through civil days as the daemon would, and gives those on which
// a roof was called go and stood open. learn is told as in Year, to the end.
func OpenDays(r Roof, w Weather, f Forecasts, learn *skill.Learner, from, to job.Date, tell func(job.Date)) ([]OpenDay, error) {
	y := year{roof: r, weather: w, forecasts: f, learn: learn, truth: map[job.Date]*rules.Ground{}}
	var out []OpenDay
	for d := from; !d.After(to); d = d.AddDays(1) {
		day, ok, err := y.openDay(d)
		if err != nil {
			return nil, err
		}
		if ok {
			out = append(out, day)
		}
		if tell != nil {
			tell(d)
		}
	}
	return out, nil
}

// openDay makes the call for d in the evening before it, and watches d where it
// was go; ok is false where it was not, or where the record has a gap.
func (y *year) openDay(d job.Date) (day OpenDay, ok bool, err error) {
	l, err := y.look(d.AddDays(-1), eveningAt, 1)
	if err != nil {
		return day, false, err
	}
	c := y.roof.Case
	v := l.onDressed.Judge(c, d, l.now, y.roof.Bounds)
	s, known := v.BestStart()
	if !known || v.SealedByLate.IsZero() || !s.Within(y.roof.Bounds) {
		return day, false, nil
	}
	day = OpenDay{Date: d, From: s.At.Add(time.Duration(c.Profile.Setup * float64(time.Minute))), To: v.SealedByLate}
	truth := forecast.Run{Hours: y.weather.Truth(day.From.UTC().Truncate(time.Hour), int(day.To.Sub(day.From).Hours())+2)}
	if ok = y.rain(&day, truth.Hours); !ok {
		return day, false, nil
	}
	for t := day.From.Truncate(looksEvery); t.Before(day.To); t = t.Add(looksEvery) {
		if t.Before(day.From) {
			continue
		}
		is, err := y.forecasts.Issue(t)
		if err != nil {
			return day, false, fmt.Errorf("forecast of %s: %w", t.UTC().Format(time.RFC3339), err)
		}
		end := day.To.Add(2 * time.Hour)
		dressed := skill.Dress(forecast.Issue{Det: is.Det.Until(end), Ens: is.Ens.Until(end)}, &y.learn.Stats)
		if ahead, known := c.Profile.RainAhead(rules.Laminate, dressed.Ens, t, day.To); known {
			day.Looks = append(day.Looks, Look{At: t, Share: ahead.Share})
		}
	}
	return day, len(day.Looks) > 0, nil
}

// rain finds the first hour with rain while the roof is open; false where the
// record does not know every hour.
func (y *year) rain(day *OpenDay, h forecast.Hours) bool {
	for i := h.Slot(day.From); i < h.N && h.Start.Add(time.Duration(i)*time.Hour).Before(day.To); i++ {
		x := h.At(forecast.Rain, 0, i)
		if !forecast.Known(x) {
			return false
		}
		day.RainMM += float64(x)
		if x >= wetFrom && day.Rain.IsZero() {
			day.Rain = h.Start.Add(time.Duration(i) * time.Hour)
		}
	}
	return true
}

// wetFrom is the smallest amount in mm that a gauge tells: the laminate's "none"
// is below it.
const wetFrom = 0.0999

// CoverUps counts how the warnings did that are given from a share of members on.
type CoverUps struct {
	WarnFrom float64
	Days     int // open days
	Rain     int // of them, with rain while open
	InTime   int // of these, warned half an hour before the hour of the rain or more
	Late     int // of these, warned within that half hour or in it
	Heavy    int // of the days with rain, those with HeavyMM or more while open
	HeavyHit int // of these, warned in time or late
	False    int // dry days on which a warning went out
	LeadMin  int // median minutes from the warning in time to the hour of the rain
}

// HeavyMM is the rain in mm from which it is no drizzle. Ours, no source.
const HeavyMM = 1.0

// inTime is how long before the rain a warning must come to be of use: sheets are
// on a small roof in less. Ours, no source.
const inTime = 30 * time.Minute

// Count counts them. A warning after the hour of the rain is none.
func Count(days []OpenDay, warnFrom float64) CoverUps {
	c := CoverUps{WarnFrom: warnFrom, Days: len(days)}
	var leads []int
	for _, d := range days {
		var at time.Time
		for _, l := range d.Looks {
			if l.Share >= warnFrom {
				at = l.At
				break
			}
		}
		lead, heavy, hit := d.Rain.Sub(at), d.RainMM >= HeavyMM, true
		switch {
		case d.Rain.IsZero():
			if !at.IsZero() {
				c.False++
			}
			continue
		case at.IsZero() || lead <= -time.Hour:
			hit = false
		case lead >= inTime:
			c.InTime++
			leads = append(leads, int(lead.Minutes()))
		default:
			c.Late++
		}
		c.Rain++
		if heavy {
			c.Heavy++
		}
		if heavy && hit {
			c.HeavyHit++
		}
	}
	if len(leads) > 0 {
		slices.Sort(leads)
		c.LeadMin = leads[len(leads)/2]
	}
	return c
}
