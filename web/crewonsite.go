package web

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/rules/load"
	"laycast/rules/mix"
	onsite "laycast/rules/site"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// crewSay is what a crew may say of one job and day, and has said.
type crewSay struct {
	Job, Date string
	Anchor    string
	Action    string // what the forms' addresses begin with; "": the page only shows
	After     int    // how many lines of the job's day are there
	Seen      string // when the call was read, or ""
	Said      []string
	Works     bool // the day has come, and there is a go
	Buttons   []sayButton
	Causes    []option
	Tight     bool // it was sealed: stopping asks whether it still is
	CanNote   bool // readings and batches

	date job.Date
	k    call.Call
	word job.Word
	form *crewForm
	zone *time.Location

	newest *job.Reading
}

type sayButton struct {
	What  job.What
	Label string
	On    bool // said last
}

type option struct {
	Value, Label string
	On           bool
}

// Value gives what was typed into a field of a form that was not taken.
func (c *crewSay) Value(kind, field string) string {
	if c.form == nil || c.form.kind != kind {
		return ""
	}
	return notify.Clean(c.form.values.Get(field))
}

// Bad gives what is wrong with a field of a form, or "".
func (c *crewSay) Bad(kind, field string) string {
	if c.form == nil || c.form.kind != kind {
		return ""
	}
	return c.form.bad[field]
}

// inputField is one line to type into.
type inputField struct {
	Name, Label, Mode, Value, Bad string
	Most                          int
}

// Field gives a field of a form, with what was typed into it and what is wrong.
func (c *crewSay) Field(kind, name, label, mode string) inputField {
	f := inputField{Name: name, Label: label, Mode: mode, Value: c.Value(kind, name), Bad: c.Bad(kind, name), Most: 20}
	if mode == "text" {
		f.Most = mostReason
	}
	return f
}

// Stopping reports whether the form to stop is to stand open.
func (c *crewSay) Stopping() bool {
	return c.Open("report") && c.form.values.Get("what") == string(job.Halted)
}

// Open reports whether a form is to stand open: what was sent was not taken.
func (c *crewSay) Open(kind string) bool { return c.form != nil && c.form.kind == kind }

// sayOf gives what may be said of a call, and what was.
func sayOf(b ledger.Book, j job.Booking, k call.Call, at moment) *crewSay {
	day := b.Diary.Of(j.ID, k.Date)
	c := &crewSay{Job: j.ID, Date: k.Date.String(), Anchor: job.Anchor(j.ID, k.Date), After: day.Len(), date: k.Date, k: k, word: b.Diary.Word(j.ID, k.Date), zone: siteZone(j.Job, at.zone)}
	if c.word.Seen {
		c.Seen = c.clock(c.word.Saw)
	}
	for _, r := range day.Reports {
		if r.What != job.Seen {
			c.Said = append(c.Said, c.clock(r.At)+" "+reportWords(r))
		}
	}
	return c
}

// shape says which buttons there are.
func (c *crewSay) shape(x ledger.OnSite, known bool, at moment) {
	c.Works = c.k.Outcome == call.Go && !c.date.After(at.today)
	c.CanNote = c.Works
	if !c.Works {
		return
	}
	coat := known && x.Bay.Task == rules.Coat || len(c.k.Stages) > 0 && c.k.Stages[0].Stage == rules.Topcoat
	w := c.word
	c.Buttons = append(c.Buttons, sayButton{job.Begun, "Started", w.Open()})
	if !coat {
		c.Buttons = append(c.Buttons, sayButton{job.Sealed, "Sealed", w.Sealed && !w.Coated})
	}
	c.Buttons = append(c.Buttons, sayButton{job.Topcoated, "Topcoated", w.Coated})
	c.Tight = w.Sealed && !coat
	was := job.Cause(c.Value("report", "cause"))
	for _, x := range job.Causes() {
		c.Causes = append(c.Causes, option{string(x), causeLabel(x), x == was})
	}
}

func (c *crewSay) clock(t time.Time) string { return t.In(c.zone).Format("15:04") }

// causeLabel names a reason to stop, as a crew says it.
func causeLabel(c job.Cause) string {
	switch c {
	case job.ByRain:
		return "Rain"
	case job.ByWind:
		return "Wind"
	case job.ByDamp:
		return "Too damp"
	case job.ByCold:
		return "Too cold"
	case job.ByHeat:
		return "Too hot"
	case job.ByTime:
		return "The day is too short"
	}
	return "Something else"
}

// reportWords says one report: "started", "stopped: rain, a shower".
func reportWords(r job.Report) string {
	if r.What != job.Halted {
		return string(r.What)
	}
	s := "stopped: " + strings.ToLower(causeLabel(r.Cause))
	if t := notify.Clean(r.Because); t != "" {
		s += ", " + t
	}
	if r.Tight {
		s += " (the roof is sealed)"
	}
	return s
}

// notedWords says what the line with an id notes, "" where this crew has none.
func notedWords(d job.Diary, crew, id string, zone *time.Location) string {
	at := func(e job.Entry) string { return "Noted for " + e.At.In(zone).Format("15:04") + ": " }
	for _, r := range d.Reports {
		switch {
		case r.ID != id || r.Crew != crew:
		case r.What == job.Seen:
			return "Noted: you have seen the call."
		default:
			return at(r.Entry) + reportWords(r) + "."
		}
	}
	for _, r := range d.Readings {
		if r.ID == id && r.Crew == crew {
			return at(r.Entry) + readingWords(r) + "."
		}
	}
	for _, b := range d.Batches {
		if b.ID == id && b.Crew == crew {
			return at(b.Entry) + batchWords(b) + "."
		}
	}
	return ""
}

// crewOnSite is what a crew needs on site.
type crewOnSite struct {
	Now      string // what to mix this hour, by the forecast
	Mix      []crewMix
	MixWarns []string
	Cautions []string
	Load     []string
	Kit      string
	Notes    []string
	Forecast string // when it was last fetched
	Answer   *answerLine
	Readings []string // earlier ones
	Batches  []string
	Total    string // of the batches
}

type crewMix struct{ When, What string }

// answerLine is what the newest reading comes to.
type answerLine struct {
	Read, Say, Tone string
	Lines           []string
}

func onSiteOf(b ledger.Book, c *crewSay, x ledger.OnSite, at moment) *crewOnSite {
	out := &crewOnSite{Cautions: mix.Cautions(), Kit: kitWords(x.Kit)}
	for _, i := range x.Load {
		out.Load = append(out.Load, notify.Clean(i.Words()))
	}
	for _, n := range x.Notes {
		out.Notes = append(out.Notes, notify.Clean(n))
	}
	if !x.Seen.IsZero() {
		out.Forecast = x.Seen.In(c.zone).Format("15:04 on Monday")
	}
	c.mixCard(out, x, at)
	day := b.Diary.Of(c.Job, c.date)
	slices.Reverse(day.Readings)                                                                  // of one moment, the one noted last comes first
	slices.SortStableFunc(day.Readings, func(p, q job.Reading) int { return q.At.Compare(p.At) }) // the newest first
	for i, r := range day.Readings {
		if i == 0 {
			c.newest = &r
			continue
		}
		out.Readings = append(out.Readings, c.clock(r.At)+" "+readingWords(r))
	}
	slices.SortStableFunc(day.Batches, func(p, q job.Batch) int { return p.At.Compare(q.At) })
	kg, m2 := 0.0, 0.0
	for _, l := range day.Batches {
		out.Batches = append(out.Batches, c.clock(l.At)+" "+batchWords(l))
		if !l.Topcoat && l.AreaM2 > 0 {
			kg, m2 = kg+l.ResinKg, m2+l.AreaM2
		}
	}
	if m2 > 0 {
		out.Total = fmt.Sprintf("%.1f kg of resin on %.1f m² so far, %.2f kg/m²", kg, m2, kg/m2)
	}
	return out
}

// mixCard puts the hours in which something is mixed into lines, and this hour's
// by itself.
func (c *crewSay) mixCard(out *crewOnSite, x ledger.OnSite, at moment) {
	if len(x.Recipe.Bands) == 0 {
		return
	}
	for _, l := range x.Mix {
		if c.date == at.today && !at.now.Before(l.At) && at.now.Before(l.At.Add(time.Hour)) {
			out.Now = notify.MixWords(l)
		}
		if l.Stage == "" {
			continue
		}
		out.Mix = append(out.Mix, crewMix{notify.SpanWords(l.At, l.At.Add(time.Hour), c.zone, c.date), notify.MixWords(l)})
		for _, w := range l.Warnings {
			if w = notify.Clean(w); !slices.Contains(out.MixWarns, w) {
				out.MixWarns = append(out.MixWarns, w)
			}
		}
	}
}

// answer says what a reading comes to.
func (c *crewSay) answer(r job.Reading, a onsite.Answer) *answerLine {
	out := &answerLine{Read: c.clock(r.At) + " " + readingWords(r), Tone: "hold"}
	switch a.Advice {
	case onsite.GoOn:
		out.Tone = "go"
	case onsite.Stop:
		out.Tone = "no-go"
	}
	for _, l := range a.Lines(c.zone) {
		out.Lines = append(out.Lines, notify.Clean(l))
	}
	out.Say, out.Lines = out.Lines[0], out.Lines[1:]
	return out
}

// readingWords says what was read on one line.
func readingWords(r job.Reading) string {
	var s []string
	for _, x := range []struct {
		v          *float64
		name, unit string
	}{{r.SurfaceC, "deck", "°C"}, {r.AirC, "air", "°C"}, {r.RHPct, "humidity", "%"}, {r.MoisturePct, "deck moisture", "%"}} {
		if x.v != nil {
			s = append(s, fmt.Sprintf("%s %.4g %s", x.name, *x.v, x.unit))
		}
	}
	if n := notify.Clean(r.Note); n != "" {
		s = append(s, n)
	}
	return strings.Join(s, ", ")
}

// batchWords says one batch on one line.
func batchWords(b job.Batch) string {
	what := "resin"
	if b.Topcoat {
		what = "topcoat"
	}
	s := fmt.Sprintf("%.4g kg of %s, %.3g %%", b.ResinKg, what, b.DosePct)
	if b.AreaM2 > 0 {
		s += fmt.Sprintf(", %.3g m²", b.AreaM2)
	}
	for _, x := range []struct{ name, v string }{{"resin lot ", b.ResinLot}, {"catalyst lot ", b.Lot}, {"", b.Note}} {
		if v := notify.Clean(x.v); v != "" {
			s += ", " + x.name + v
		}
	}
	return s
}

// kitWords names the tools on one line.
func kitWords(kit []load.Item) string {
	var s []string
	for _, x := range kit {
		s = append(s, notify.Clean(x.Item)+" "+fmt.Sprintf("%.6g", x.Qty))
	}
	return strings.Join(s, ", ")
}
