package notify

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"laycast/job"
	"laycast/rules"
)

// num prints a number with at most one decimal.
func num(v float64) string {
	r := math.Round(v*10) / 10
	if r == 0 {
		r = 0 // no "-0"
	}
	return strconv.FormatFloat(r, 'f', -1, 64)
}

// area gives "23 m²": whole square metres, below ten with a decimal.
func area(m2 float64) string {
	if m2 >= 10 {
		m2 = math.Round(m2)
	}
	return num(m2) + nbsp + "m²"
}

// roof names the work: the job's title, with its area before it unless the
// title says it.
func roof(j job.Job) string {
	title := clean(j.Title)
	if title == "" {
		title = "roof"
	}
	low := strings.ToLower(title)
	if j.Roof.AreaM2 <= 0 || strings.Contains(low, "m²") || strings.Contains(low, "m2") {
		return title
	}
	return area(j.Roof.AreaM2) + " " + title
}

// Roof names a job's work for a reader: its title, with its area before it
// unless the title says it.
func Roof(j job.Job) string { return strings.ReplaceAll(roof(j), nbsp, " ") }

// percent prints a chance. It never prints certainty: members are few.
func percent(p float64) string {
	n := math.Round(p * 100)
	switch {
	case n >= 100:
		return "over" + nbsp + "99" + nbsp + "%"
	case n < 1:
		return "under" + nbsp + "1" + nbsp + "%"
	}
	return strconv.Itoa(int(n)) + nbsp + "%"
}

// chanceWords says a chance in a word. The bounds are ours, no source.
func chanceWords(p float64) string {
	switch {
	case p >= 0.95:
		return "almost certain"
	case p >= 0.85:
		return "very likely"
	case p >= 0.70:
		return "likely"
	case p >= 0.50:
		return "more likely than not"
	case p >= 0.30:
		return "doubtful"
	}
	return "unlikely"
}

// wall prints times on the clock of one place, for one day.
type wall struct {
	loc *time.Location
	day job.Date
}

// at gives "13:00", with the day where it is another one: "02:00 on Friday".
func (w wall) at(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	l := t.In(w.loc)
	s := l.Format("15:04")
	if job.DateOf(l) != w.day {
		s += " on " + l.Weekday().String()
	}
	return s
}

// span gives "08:00 to 09:50".
func (w wall) span(from, to time.Time) string {
	a, b := w.at(from), w.at(to)
	switch {
	case b == "" || a == b:
		return a
	case a == "":
		return "until " + b
	}
	return a + " to " + b
}

// relative gives "today", "tomorrow" or "on Wednesday 14 April".
func relative(d, today job.Date) string {
	switch d.DaysSince(today) {
	case 0:
		return "today"
	case 1:
		return "tomorrow"
	}
	return "on " + d.Words()
}

// fullDate gives "Wednesday 14 April 2027".
func fullDate(d job.Date) string {
	if d.IsZero() {
		return ""
	}
	return d.Words() + " " + strconv.Itoa(d.Year)
}

// stageWords are the stages as a crew says them.
func stageWords(s rules.Stage) string {
	switch s {
	case rules.Strip:
		return "strip"
	case rules.DeckStage:
		return "deck and trims"
	case rules.Laminate:
		return "bandage and laminate"
	case rules.Topcoat:
		return "topcoat"
	case rules.TopcoatCure:
		return "topcoat cures"
	case rules.Cure:
		return "laminate cures"
	}
	return clean(string(s))
}

// measure is how a limit's value is spoken of.
type measure struct {
	name, unit string
	low        bool // the bound is usually the least
}

func measureOf(l rules.Limit) measure {
	switch l {
	case rules.LimitRain:
		return measure{"rain", "mm", false}
	case rules.LimitWind:
		return measure{"wind", "m/s", false}
	case rules.LimitGust:
		return measure{"gusts", "m/s", false}
	case rules.LimitAir:
		return measure{"air", "°C", true}
	case rules.LimitFrost:
		return measure{"frost, coldest", "°C", true}
	case rules.LimitDeck:
		return measure{"deck surface", "°C", true}
	case rules.LimitDewMargin:
		return measure{"deck above dew point", "K", true}
	case rules.LimitRH:
		return measure{"humidity", "%", false}
	case rules.LimitDry:
		return measure{"water on the deck", "mm", false}
	case rules.LimitTime:
		return measure{"time", "h", false}
	}
	return measure{clean(string(l)), "", false}
}

// tightest says how near a stage comes to a limit: "wind 8.9 of 10 m/s at
// 13:00", or "air 7.2 °C, least 5 °C, at 08:00". "" when there is nothing to
// say.
func tightest(c rules.Check, w wall) string {
	at := ""
	if !c.At.IsZero() {
		at = " at " + w.at(c.At)
	}
	switch {
	case c.Limit == "":
		return ""
	case c.Limit == rules.LimitUnknown:
		return "no data" + at
	case c.Limit == rules.LimitDaylight:
		return "daylight" + at
	case c.Limit == rules.LimitRain && c.Value == 0:
		return "no rain"
	case math.IsNaN(c.Value) || math.IsNaN(c.Bound) || math.IsInf(c.Bound, 0):
		return measureOf(c.Limit).name + " not known" + at
	}
	m := measureOf(c.Limit)
	unit := clean(c.Unit)
	if unit == "" {
		unit = m.unit
	}
	if unit != "" {
		unit = nbsp + unit
	}
	if isLeast(c, m) {
		return fmt.Sprintf("%s %s%s, least %s%s%s", m.name, num(c.Value), unit, num(c.Bound), unit, comma(at))
	}
	return fmt.Sprintf("%s %s of %s%s%s", m.name, num(c.Value), num(c.Bound), unit, at)
}

func comma(s string) string {
	if s == "" {
		return ""
	}
	return "," + s
}

// isLeast reports whether the bound is the least allowed rather than the most:
// a value above it with room to spare, or below it and failing.
func isLeast(c rules.Check, m measure) bool {
	if c.Value == c.Bound || c.Margin == 0 {
		return m.low
	}
	return (c.Value > c.Bound) == (c.Margin > 0)
}

// failing says what stopped members: "rain, 14:00 to 16:00, in 18 of 51
// forecasts".
func failing(f rules.Failing, members int, w wall) string {
	s := causeWords(f.Limit)
	if when := w.span(f.From, f.To); when != "" {
		s += ", " + when
	}
	if f.Members > 0 && members > 0 {
		s += fmt.Sprintf(", in %d of %d forecasts", f.Members, members)
	}
	return s
}

// causeWords says what is wrong when a limit is broken.
func causeWords(l rules.Limit) string {
	switch l {
	case rules.LimitRain:
		return "rain"
	case rules.LimitWind:
		return "too much wind"
	case rules.LimitGust:
		return "gusts too strong"
	case rules.LimitAir:
		return "air too cold or too hot for the resin"
	case rules.LimitFrost:
		return "frost"
	case rules.LimitDeck:
		return "deck too cold or too hot"
	case rules.LimitDewMargin:
		return "dew on the deck, or too near it"
	case rules.LimitRH:
		return "air too damp"
	case rules.LimitDry:
		return "deck not dry"
	case rules.LimitTime:
		return "the work would not end in the day"
	case rules.LimitDaylight:
		return "it would be dark"
	case rules.LimitUnknown:
		return "hours without data"
	}
	return clean(string(l))
}

// kindWords says the same to somebody who does not lay roofs.
func kindWords(l rules.Limit) string {
	switch l {
	case rules.LimitRain:
		return "rain is likely while your roof would be open or the new surface still wet"
	case rules.LimitWind, rules.LimitGust:
		return "it will probably be too windy to work safely on a roof"
	case rules.LimitAir, rules.LimitFrost:
		return "it will probably be too cold or too hot for the material to harden well"
	case rules.LimitDeck:
		return "the roof's surface will probably be too cold or too hot for the material to harden well"
	case rules.LimitDewMargin, rules.LimitRH, rules.LimitDry:
		return "the roof will probably be too damp for the new surface to stick well"
	case rules.LimitTime, rules.LimitDaylight:
		return "the weather leaves too few good hours to finish and close the roof the same day"
	case rules.LimitUnknown:
		return "we have no weather forecast that we could rely on"
	}
	return "the weather is not good enough to open your roof"
}
