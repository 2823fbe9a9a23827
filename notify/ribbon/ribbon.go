// Package ribbon draws the hour ribbon: one day at one roof as a crew reads it.
// Each lane is a limit; where it is thick there is room, where it is thin there
// is little, where it is hatched the limit is broken. The stages of the work lie
// under the lanes on the same hours. The same geometry becomes a PNG for mails
// and an SVG for pages, and the same facts become words.
package ribbon

import (
	"math"
	"strings"
	"time"
)

// Day is what one picture shows. All of its times are instants; they are printed
// on the clock of Zone, and an hour is as wide as any other also where the clock
// changes.
type Day struct {
	Title    string
	Zone     *time.Location
	From, To time.Time // of the axis
	Now      time.Time // drawn as a line where it lies on the axis; zero: not drawn
	Light    []Span    // when there is daylight to work by
	Lanes    []Lane
	Windows  []Span // times on site from which the day is a go
	Stages   []Stage
	Marks    []Mark
}

// Span is a stretch of time.
type Span struct{ From, To time.Time }

// Lane is one limit over the hours.
type Lane struct {
	Name  string // "Wind"
	Note  string // how near it comes: "gusts 12.1 of 15 m/s, 15:00"
	Rooms []Room // in the order of time
	Asked []Span // when the work asks for it
}

// Room is how much room a limit leaves for one stretch of time: 1 and more is
// ample, 0 none. NaN is not known.
type Room struct {
	Span
	Middle  float64 // in the forecast in the middle
	Careful float64 // in nine forecasts of ten
	Closed  bool    // half of the forecasts or more break the limit
}

// known reports whether there is anything to draw.
func (r Room) known() bool { return !math.IsNaN(r.Middle) && !math.IsNaN(r.Careful) }

// Stage is a stage of the work, or the waiting after it.
type Stage struct {
	Name string
	Span
	Waits bool // it cures; nobody works
}

// Mark is a moment that matters.
type Mark struct {
	Name string
	At   time.Time
	Firm bool // an event rather than a bound
}

// clock gives the time of day at an instant.
func (d Day) clock(t time.Time) string { return t.In(d.Zone).Format("15:04") }

// Words gives what the picture shows: a line for each lane, then the marks.
func (d Day) Words() []string {
	var out []string
	for _, l := range d.Lanes {
		out = append(out, d.laneWords(l))
	}
	for _, m := range d.Marks {
		out = append(out, strings.ToUpper(m.Name[:1])+m.Name[1:]+" "+d.clock(m.At)+".")
	}
	return out
}

// laneWords says in which hours a lane is closed, doubtful or not known.
func (d Day) laneWords(l Lane) string {
	closed := d.when(l, func(r Room) bool { return r.known() && r.Closed })
	doubtful := d.when(l, func(r Room) bool { return r.known() && !r.Closed && r.Careful <= 0 })
	unknown := d.when(l, func(r Room) bool { return !r.known() })
	var parts []string
	switch {
	case len(l.Rooms) == 0:
		parts = append(parts, "no data")
	case closed == "" && doubtful == "" && unknown == "":
		parts = append(parts, "open all day")
	}
	for _, p := range []struct{ what, when string }{{"closed", closed}, {"doubtful", doubtful}, {"no data", unknown}} {
		if p.when != "" {
			parts = append(parts, p.what+" "+p.when)
		}
	}
	s := l.Name + ": " + strings.Join(parts, "; ")
	if l.Note != "" {
		s += "; " + l.Note
	}
	return s + "."
}

// when lists the stretches of a lane of which something is true.
func (d Day) when(l Lane, is func(Room) bool) string {
	var spans []Span
	for _, r := range l.Rooms {
		if !is(r) {
			continue
		}
		if n := len(spans); n > 0 && spans[n-1].To.Equal(r.From) {
			spans[n-1].To = r.To
			continue
		}
		spans = append(spans, r.Span)
	}
	if len(spans) == 1 && len(l.Rooms) > 0 && spans[0].From.Equal(l.Rooms[0].From) && spans[0].To.Equal(l.Rooms[len(l.Rooms)-1].To) {
		return "all day"
	}
	var out []string
	for _, s := range spans {
		out = append(out, d.clock(s.From)+" to "+d.clock(s.To))
	}
	return strings.Join(out, ", ")
}
