package calendar

import (
	"fmt"
	"time"

	ics "github.com/arran4/golang-ical"

	"laycast/job"
)

// A VTIMEZONE by yearly rules is what every client reads; one by lists of dates
// is ignored by some (INTEROP.md B.9). So the zone is probed: where its changes
// fall on the same weekday of the same month each year over all the years in
// question, the rule is written; elsewhere the events are written in UTC.

// probed are the years looked at when no event asks for others, and the fewest:
// over a dozen years "the last" and "the fourth" Sunday come apart.
const (
	firstProbed = 2024
	leastProbed = 12
)

// change is one yearly change of the clock.
type change struct {
	month    time.Month
	weekday  time.Weekday
	nth      int           // 1 to 4, or -1 for the last
	at       time.Duration // on the wall clock before the change, from midnight
	from, to int           // offsets east of UTC, seconds
	nameTo   string
}

// clock is how a feed prints times.
type clock struct {
	loc     *time.Location
	utc     bool     // no rule fits: times in UTC
	changes []change // none: the offset is fixed
	offset  int      // of a fixed zone
	name    string   // of a fixed zone's offset
}

// clockFor finds the yearly rule of a zone over the years of the events.
func clockFor(loc *time.Location, events []Event) clock {
	first, last := 0, 0
	for _, e := range events {
		for _, t := range []time.Time{e.Start, e.End} {
			if t.IsZero() {
				continue
			}
			y := t.UTC().Year()
			if first == 0 || y < first {
				first = y
			}
			last = max(last, y)
		}
	}
	if first == 0 {
		first, last = firstProbed, firstProbed
	}
	return probe(loc, first-1, max(last+1, first+leastProbed))
}

// probe looks at each year from first to last.
func probe(loc *time.Location, first, last int) clock {
	var years [][]observed
	for y := first; y <= last; y++ {
		years = append(years, changesIn(loc, y))
	}
	n := len(years[0])
	for _, y := range years {
		if len(y) != n {
			return clock{loc: loc, utc: true}
		}
	}
	name, offset := time.Date(first, 1, 1, 0, 0, 0, 0, time.UTC).In(loc).Zone()
	switch n {
	case 0:
		return clock{loc: loc, offset: offset, name: name}
	case 2:
	default:
		return clock{loc: loc, utc: true}
	}
	c := clock{loc: loc}
	for i := range n {
		column := make([]observed, len(years))
		for k, y := range years {
			column[k] = y[i]
		}
		rule, ok := ruleOf(column)
		if !ok {
			return clock{loc: loc, utc: true}
		}
		c.changes = append(c.changes, rule)
	}
	return c
}

// observed is a change that happens in one year: the wall clock just before it,
// as if it were UTC, and the offsets.
type observed struct {
	wall     time.Time
	from, to int
	nameTo   string
}

// changesIn lists the changes of the offset within a UTC year. It looks week by
// week and then closer: Time.ZoneBounds gives an end that lies before the time
// asked for on 31 December of some leap years (seen in Go 1.26 for 2040), and
// following it would never end. Two changes within a week would be missed; no
// zone has them.
func changesIn(loc *time.Location, year int) []observed {
	var out []observed
	end := time.Date(year+1, 1, 1, 0, 0, 0, 0, time.UTC)
	for t := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC); t.Before(end); t = t.AddDate(0, 0, 7) {
		from, to := t, t.AddDate(0, 0, 7)
		if to.After(end) {
			to = end
		}
		if offsetOf(loc, from) == offsetOf(loc, to) {
			continue
		}
		for to.Sub(from) > time.Second {
			middle := from.Add((to.Sub(from) / 2).Truncate(time.Second))
			if offsetOf(loc, middle) == offsetOf(loc, from) {
				from = middle
			} else {
				to = middle
			}
		}
		before := offsetOf(loc, from)
		nameTo, after := to.In(loc).Zone()
		out = append(out, observed{to.Add(time.Duration(before) * time.Second), before, after, nameTo})
	}
	return out
}

func offsetOf(loc *time.Location, t time.Time) int {
	_, off := t.In(loc).Zone()
	return off
}

// ruleOf finds the rule that one change follows in every year.
func ruleOf(years []observed) (change, bool) {
	a := years[0]
	c := change{
		month: a.wall.Month(), weekday: a.wall.Weekday(), nth: nth(a.wall), at: sinceMidnight(a.wall),
		from: a.from, to: a.to, nameTo: a.nameTo,
	}
	same, last := true, true
	for _, o := range years {
		if o.wall.Month() != c.month || o.wall.Weekday() != c.weekday || sinceMidnight(o.wall) != c.at || o.from != c.from || o.to != c.to {
			return change{}, false
		}
		same = same && nth(o.wall) == c.nth && c.nth < 5
		last = last && o.wall.AddDate(0, 0, 7).Month() != c.month
	}
	if last {
		c.nth = -1
	}
	return c, same || last
}

func nth(t time.Time) int { return (t.Day()-1)/7 + 1 }

func sinceMidnight(t time.Time) time.Duration {
	h, m, s := t.Clock()
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(s)*time.Second
}

// component writes the VTIMEZONE. Each feed holds one: a calendar may not be
// empty (RFC 5545 3.6).
func (c clock) component() *ics.VTimezone {
	if c.utc {
		z := ics.NewTimezone("Etc/UTC")
		describe(&z.AddStandard().ComponentBase, "19700101T000000", 0, 0, "UTC", "")
		return z
	}
	z := ics.NewTimezone(c.loc.String())
	if len(c.changes) == 0 {
		describe(&z.AddStandard().ComponentBase, "19700101T000000", c.offset, c.offset, c.name, "")
		return z
	}
	for _, k := range c.changes {
		begin, rule := k.begin(), k.rule()
		if k.to > k.from {
			d := &ics.Daylight{}
			z.Components = append(z.Components, d)
			describe(&d.ComponentBase, begin, k.from, k.to, k.nameTo, rule)
			continue
		}
		describe(&z.AddStandard().ComponentBase, begin, k.from, k.to, k.nameTo, rule)
	}
	return z
}

func describe(b *ics.ComponentBase, begin string, from, to int, name, rule string) {
	b.SetProperty(ics.ComponentPropertyDtStart, begin)
	b.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetfrom), offsetWords(from))
	b.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetto), offsetWords(to))
	b.SetProperty(ics.ComponentProperty(ics.PropertyTzname), name)
	if rule != "" {
		b.SetProperty(ics.ComponentPropertyRrule, rule)
	}
}

// begin gives the rule's first onset in 1970, so that it covers every event; it
// says nothing about what the clocks did then.
func (k change) begin() string {
	var d time.Time
	if k.nth > 0 {
		d = time.Date(1970, k.month, 1, 0, 0, 0, 0, time.UTC)
		d = d.AddDate(0, 0, (int(k.weekday)-int(d.Weekday())+7)%7+7*(k.nth-1))
	} else {
		d = time.Date(1970, k.month+1, 0, 0, 0, 0, 0, time.UTC)
		d = d.AddDate(0, 0, -((int(d.Weekday()) - int(k.weekday) + 7) % 7))
	}
	return d.Add(k.at).Format("20060102T150405")
}

func (k change) rule() string {
	day := [...]string{"SU", "MO", "TU", "WE", "TH", "FR", "SA"}[k.weekday]
	return fmt.Sprintf("FREQ=YEARLY;BYMONTH=%d;BYDAY=%d%s", int(k.month), k.nth, day)
}

// offsetWords gives "-0330", with seconds where there are any.
func offsetWords(s int) string {
	sign := "+"
	if s < 0 {
		sign, s = "-", -s
	}
	out := fmt.Sprintf("%s%02d%02d", sign, s/3600, s/60%60)
	if s%60 != 0 {
		out += fmt.Sprintf("%02d", s%60)
	}
	return out
}

// setTimes writes an event's hours on the zone's wall clock, or in UTC where no
// rule fits or the wall clock shows one of them twice.
func (c clock) setTimes(v *ics.VEvent, start, end time.Time) {
	if c.utc || c.doubled(start) || c.doubled(end) {
		v.SetStartAt(start)
		v.SetEndAt(end)
		return
	}
	const wall = "20060102T150405"
	zone := ics.WithTZID(c.loc.String())
	v.SetProperty(ics.ComponentPropertyDtStart, start.In(c.loc).Format(wall), zone)
	v.SetProperty(ics.ComponentPropertyDtEnd, end.In(c.loc).Format(wall), zone)
}

// doubled reports whether the wall clock shows t's time a second time within
// the day, when clocks go back.
func (c clock) doubled(t time.Time) bool {
	l := t.In(c.loc)
	_, off := l.Zone()
	for _, k := range c.changes {
		if k.to >= k.from {
			continue
		}
		back := time.Duration(k.from-k.to) * time.Second
		for _, d := range []time.Duration{back, -back} {
			o := t.Add(d).In(c.loc)
			_, other := o.Zone()
			if other != off && job.DateOf(o) == job.DateOf(l) && sinceMidnight(o) == sinceMidnight(l) {
				return true
			}
		}
	}
	return false
}
