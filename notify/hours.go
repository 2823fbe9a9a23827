package notify

import (
	"fmt"
	"math"
	"time"

	"laycast/job"
	"laycast/notify/ribbon"
	"laycast/rules"
	"laycast/rules/physics"
)

// DayView is what the picture of a day at one roof is drawn from.
type DayView struct {
	Job   job.Job
	Date  job.Date
	Day   rules.Day    // the verdict: stages, windows, the hours that matter
	Lanes []rules.Lane // of the hours of Axis
	Zone  *time.Location
	Now   time.Time // drawn where it lies within the day; zero: not
}

// The hours that every picture shows; it grows with the work.
const axisFrom, axisTo = 6 * 60, 21 * 60 // minutes of the day

// Axis gives the hours that a picture of the day shows, on the clock of a zone:
// 06:00 to 21:00, and more where the work asks for it, within the day.
func Axis(day rules.Day, d job.Date, zone *time.Location) (from, to time.Time) {
	from, to = job.Instant(d, axisFrom, zone), job.Instant(d, axisTo, zone)
	if s, ok := day.BestStart(); ok && s.At.Before(from) {
		from = s.At.Truncate(time.Hour)
	}
	if n := len(day.Stages); n > 0 && day.Stages[n-1].To.After(to) {
		to = day.Stages[n-1].To.Add(time.Hour - time.Nanosecond).Truncate(time.Hour)
	}
	if first := job.Instant(d, 0, zone); from.Before(first) {
		from = first
	}
	if last := job.Instant(d.AddDays(1), 0, zone); to.After(last) {
		to = last
	}
	return from, to
}

// Ribbon gives the day as it is drawn.
func (v DayView) Ribbon() ribbon.Day {
	out := ribbon.Day{Title: v.Date.Words(), Zone: v.Zone, Now: v.Now}
	out.From, out.To = Axis(v.Day, v.Date, v.Zone)
	if dawn, dusk, ok := physics.CivilDay(v.Job.Site.Lat, v.Job.Site.Lon, v.Date.Year, v.Date.Month, v.Date.Day, v.Zone); ok {
		out.Light = []ribbon.Span{{From: dawn, To: dusk}}
	}
	for _, l := range v.Lanes {
		out.Lanes = append(out.Lanes, laneOf(l, v.Zone))
	}
	for _, w := range v.Day.Windows {
		out.Windows = append(out.Windows, ribbon.Span{From: w.From, To: w.To})
	}
	coat := false
	for i, s := range v.Day.Stages {
		coat = coat || i == 0 && s.Stage == rules.Topcoat
		out.Stages = append(out.Stages, ribbon.Stage{
			Name: stageShort(s.Stage), Span: ribbon.Span{From: s.From, To: s.To}, Waits: s.Stage == rules.Cure || s.Stage == rules.TopcoatCure,
		})
	}
	begin, done := "open by", "sealed"
	if v.Job.Roof.Work != job.Replace && v.Job.Roof.Work != "" || coat {
		begin = "begin by"
	}
	if coat {
		done = "rain-proof"
	}
	if !v.Day.NoReturn.IsZero() && len(v.Day.Stages) > 0 {
		out.Marks = append(out.Marks, ribbon.Mark{Name: begin, At: v.Day.NoReturn})
	}
	if !v.Day.SealedBy.IsZero() {
		out.Marks = append(out.Marks, ribbon.Mark{Name: done, At: v.Day.SealedBy, Firm: true})
	}
	return out
}

// Picture draws the day for a mail.
func (v DayView) Picture() (*Picture, error) {
	d := v.Ribbon()
	png, err := d.PNG()
	if err != nil {
		return nil, fmt.Errorf("draw the hours of %s at job %s: %w", v.Date, v.Job.ID, err)
	}
	return &Picture{Name: "hours.png", Title: "Hour ribbon, " + v.Date.Words(), Words: d.Words(), PNG: png, Width: ribbon.Width}, nil
}

// stageShort names a stage where there is little room.
func stageShort(s rules.Stage) string {
	switch s {
	case rules.DeckStage:
		return "deck"
	case rules.Laminate:
		return "laminate"
	case rules.Cure:
		return "cures"
	}
	return stageWords(s)
}

func laneOf(l rules.Lane, zone *time.Location) ribbon.Lane {
	out := ribbon.Lane{Name: laneName(l.Limits[0]), Note: laneNote(l, zone)}
	for _, h := range l.Hours {
		out.Rooms = append(out.Rooms, ribbon.Room{
			Span: ribbon.Span{From: h.At, To: h.At.Add(time.Hour)}, Middle: h.Middle, Careful: h.Careful, Closed: h.Closed(),
		})
	}
	for _, w := range l.Asked {
		out.Asked = append(out.Asked, ribbon.Span{From: w.From, To: w.To})
	}
	return out
}

func laneName(l rules.Limit) string {
	switch l {
	case rules.LimitRain:
		return "Rain"
	case rules.LimitWind:
		return "Wind"
	case rules.LimitDewMargin:
		return "Dew"
	case rules.LimitDeck:
		return "Temperature"
	case rules.LimitDry:
		return "Dry deck"
	}
	return clean(string(l))
}

// laneNote says how near a lane comes to its limit while the work asks for it,
// or at all where it never does.
func laneNote(l rules.Lane, zone *time.Location) string {
	h, ok := tightestHour(l, true)
	if !ok {
		if h, ok = tightestHour(l, false); !ok {
			return ""
		}
	}
	at := ", " + h.At.In(zone).Format("15:04")
	if !l.Shared {
		return checkNote(h.Check) + at
	}
	is := map[rules.Limit][2]string{rules.LimitRain: {"rain", "dry"}, rules.LimitDry: {"wet", "dry"}}[l.Limits[0]]
	if h.Broken == 0 {
		return fmt.Sprintf("%s in all %d forecasts", is[1], h.Known)
	}
	return fmt.Sprintf("%s in %d of %d forecasts%s", is[0], h.Broken, h.Known, at)
}

// tightestHour gives the known hour with the least room, among those in which
// the work asks for the lane or among all.
func tightestHour(l rules.Lane, asked bool) (rules.LaneHour, bool) {
	var best rules.LaneHour
	found := false
	for _, h := range l.Hours {
		in := !asked
		for _, w := range l.Asked {
			in = in || h.At.Before(w.To) && h.At.Add(time.Hour).After(w.From)
		}
		if in && !math.IsNaN(h.Middle) && (!found || h.Middle < best.Middle) {
			best, found = h, true
		}
	}
	return best, found
}

// checkNote says a check in few words.
func checkNote(c rules.Check) string {
	m := measureOf(c.Limit)
	unit := nbsp + m.unit
	switch c.Limit {
	case rules.LimitDewMargin:
		side := "above"
		if c.Value < 0 {
			side = "below"
		}
		return fmt.Sprintf("%s%s %s the dew point, least %s", num(math.Abs(c.Value)), unit, side, num(c.Bound))
	case rules.LimitDeck, rules.LimitAir:
		name, edge := "air", "least"
		if c.Limit == rules.LimitDeck {
			name = "deck"
		}
		if !isLeast(c, m) {
			edge = "most"
		}
		return fmt.Sprintf("%s %s%s, %s %s", name, num(c.Value), unit, edge, num(c.Bound))
	}
	return fmt.Sprintf("%s %s of %s%s", m.name, num(c.Value), num(c.Bound), unit)
}
