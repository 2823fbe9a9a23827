package web

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
)

// dayAhead is one day ahead at one roof.
type dayAhead struct {
	When   string
	Say    string // what the evening's rules would call now
	Tone   string
	Chance string
	Text   string   // the verdict in a sentence
	More   string   // the shares that the sentence leaves out
	Why    []string // what the call would rest on
	Ribbon template.HTML
	Rain   template.HTML
	Dew    template.HTML
	Stages []stageLine
	Hours  []hourLine
	Open   bool
}

// hourLine is one hour of the middle of the forecast, in words.
type hourLine struct {
	At, Air, Dew, Deck, Margin, RH, Rain, Wind, Gust, Water, Cure string
	Light                                                         bool
}

// daysAhead makes the days of an outlook. The planned day stands open, the first
// one where none is planned.
func daysAhead(o notify.JobOutlook, p *planBits, work job.Hours, at moment) ([]dayAhead, error) {
	var out []dayAhead
	open := -1
	for i, d := range o.Days {
		x, err := dayAheadOf(d, o.DewLeast, i, at)
		if err != nil {
			return nil, err
		}
		if !work.Working(d.Date) {
			x.Say, x.Tone = "no working day", "none"
		}
		if p != nil && d.Date.String() == p.Day {
			open = i
		}
		out = append(out, x)
	}
	if open < 0 && len(out) > 0 {
		open = min(1, len(out)-1) // tomorrow: today is mostly too late
	}
	if open >= 0 {
		out[open].Open = true
	}
	return out, nil
}

func dayAheadOf(d notify.DayAhead, dewLeast float64, n int, at moment) (dayAhead, error) {
	out := dayAhead{When: at.near(d.Date), Say: "if called now: " + callWords(d.Outcome), Tone: string(d.Outcome), Text: d.Day.Sentence(d.Zone)}
	if _, rest, ok := strings.Cut(out.Text, ": "); ok { // the weekday stands in the heading
		out.Text = notify.Sentence(rest)
	}
	for _, r := range d.Reasons {
		out.Why = append(out.Why, notify.Sentence(r))
	}
	start, known := d.Day.BestStart()
	if !known {
		out.Say, out.Tone = "not known", "none"
		return out, nil
	}
	out.Chance = notify.Percent(start.Sealed)
	out.More = fmt.Sprintf("Topcoated the same day %s, rain on the open roof %s.", notify.Percent(start.Full), notify.Percent(start.RainOpen))
	hm := func(t time.Time) string { return t.In(d.Zone).Format("15:04") }
	if !d.Day.SealedByLate.IsZero() {
		out.More += fmt.Sprintf(" Nine in ten are sealed by %s; do not open after %s.", hm(d.Day.SealedByLate), hm(d.Day.NoReturn))
	}
	if d.Day.CureBeyond {
		out.More += " The cure runs over 10 K from where the gel time was measured: its time is an estimate, go by the feel of it."
	}
	for _, g := range d.Day.Stages {
		out.Stages = append(out.Stages, stageLine{Stage: notify.StageWords(g.Stage), Span: notify.SpanWords(g.From, g.To, d.Zone, d.Date), Tightest: notify.Tightest(g.Tightest, d.Zone, d.Date)})
	}
	for _, h := range d.Hours {
		out.Hours = append(out.Hours, hourLineOf(h, d.Zone))
	}
	picture := d.Ribbon()
	svg, err := picture.SVG("hours-" + strconv.Itoa(n))
	if err != nil {
		return out, fmt.Errorf("draw the hours of %s: %w", d.Date, err)
	}
	out.Ribbon = template.HTML(svg) // texts within are escaped by the ribbon
	id := strconv.Itoa(n)
	out.Rain = spread{id: "rain-" + id, name: "Rain", unit: "mm in the hour", bands: d.Rain, from: picture.From, to: picture.To, zone: d.Zone, least: 1}.svg()
	out.Dew = spread{id: "dew-" + id, name: "Deck above the dew point", unit: "K", bands: d.Dew, from: picture.From, to: picture.To, zone: d.Zone, bound: dewLeast, least: 4}.svg()
	return out, nil
}

func callWords(o call.Outcome) string { return strings.ToUpper(string(o)) }

func hourLineOf(h rules.Hour, zone *time.Location) hourLine {
	f := func(v float64, decimals int) string {
		if math.IsNaN(v) {
			return "–"
		}
		return strconv.FormatFloat(v+0, 'f', decimals, 64)
	}
	return hourLine{At: h.At.In(zone).Format("15:04"), Air: f(h.Air, 1), Dew: f(h.Dew, 1), Deck: f(h.Surface, 1), Margin: f(h.DewMargin, 1), RH: f(h.RH, 0),
		Rain: f(h.Rain, 1), Wind: f(h.Wind, 1), Gust: f(h.Gust, 1), Water: f(h.Water, 2), Cure: f(h.CureRate, 2), Light: h.Daylight}
}
