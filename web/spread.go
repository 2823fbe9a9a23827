package web

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"
	"time"

	"laycast/rules"
)

// spread is a small chart of how one measure lies over the members, hour by hour:
// four fifths of them in the pale band, half in the dark one, the middle as a
// line. It has no styles of its own, only classes.
type spread struct {
	id         string // unlike that of any other picture on the page
	name, unit string
	bands      []rules.Band
	from, to   time.Time // of the axis
	zone       *time.Location
	bound      float64 // a line at the least value that the work asks for; 0: none
	least      float64 // the scale reaches at least so far
}

// The chart in CSS pixels: as wide as the hour ribbon, so that hours stand under
// each other where both are shown whole.
const (
	spreadWide, spreadHigh = 480.0, 118.0
	spreadLeft, spreadTop  = 34.0, 20.0
	spreadFoot             = 18.0
)

func (c spread) svg() template.HTML {
	if len(c.bands) == 0 || !c.from.Before(c.to) {
		return ""
	}
	low, high := c.scale()
	x := func(t time.Time) float64 {
		return spreadLeft + (spreadWide-spreadLeft)*t.Sub(c.from).Seconds()/c.to.Sub(c.from).Seconds()
	}
	y := func(v float64) float64 {
		return spreadHigh - spreadFoot - (spreadHigh-spreadFoot-spreadTop)*(v-low)/(high-low)
	}
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="spread" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" aria-labelledby="%s-t %s-d">`, spreadWide, spreadHigh, c.id, c.id)
	fmt.Fprintf(&b, `<title id="%s-t">%s over the forecasts</title><desc id="%s-d">%s</desc>`, c.id, html.EscapeString(c.name), c.id, html.EscapeString(c.words()))
	unit := c.unit
	if c.bound > 0 {
		unit += fmt.Sprintf(" (dashed: the least, %.3g)", c.bound)
	}
	fmt.Fprintf(&b, `<text class="spread-text spread-bold" x="0" y="12" font-size="12">%s, %s</text>`, html.EscapeString(c.name), html.EscapeString(unit))
	for _, v := range []float64{low, high} {
		fmt.Fprintf(&b, `<path class="spread-rule" d="M%g %.1fH%g"/><text class="spread-text" x="%g" y="%.1f" font-size="11" text-anchor="end">%.3g</text>`, spreadLeft, y(v), spreadWide, spreadLeft-5, y(v)+4, v)
	}
	if low < 0 && high > 0 {
		fmt.Fprintf(&b, `<path class="spread-rule" d="M%g %.1fH%g"/>`, spreadLeft, y(0), spreadWide)
	}
	c.band(&b, "spread-pale", x, y, func(v rules.Band) (float64, float64) { return v.Tenth, v.Ninth })
	c.band(&b, "spread-dark", x, y, func(v rules.Band) (float64, float64) { return v.Quarter, v.Upper })
	c.band(&b, "spread-middle", x, y, func(v rules.Band) (float64, float64) { return v.Middle, v.Middle })
	if c.bound > low && c.bound < high {
		fmt.Fprintf(&b, `<path class="spread-bound" d="M%g %.1fH%g"/>`, spreadLeft, y(c.bound), spreadWide)
	}
	first := c.from.In(c.zone).Hour()
	for t, n := c.from, 0; t.Before(c.to); t, n = t.Add(time.Hour), n+1 {
		if h := t.In(c.zone).Hour(); (h-first)%3 == 0 {
			fmt.Fprintf(&b, `<text class="spread-text" x="%.1f" y="%g" font-size="11">%02d</text>`, x(t), spreadHigh-4, h)
		}
	}
	b.WriteString("</svg>")
	return template.HTML(b.String()) // numbers, and texts escaped above
}

// scale gives the ends of the axis, whole numbers.
func (c spread) scale() (low, high float64) {
	high = c.least
	for _, v := range c.bands {
		low, high = min(low, v.Tenth), max(high, v.Ninth)
	}
	return math.Floor(low), math.Ceil(max(high, c.bound+1))
}

// band draws the hours between two values as steps; where the two are one, as a
// line.
func (c spread) band(b *strings.Builder, class string, x func(time.Time) float64, y func(float64) float64, ends func(rules.Band) (low, high float64)) {
	var up, down []string
	for _, v := range c.bands {
		lo, hi := ends(v)
		l, r := x(v.At), x(v.At.Add(time.Hour))
		up = append(up, fmt.Sprintf("%.1f %.1f %.1f %.1f", l, y(hi), r, y(hi)))
		down = append([]string{fmt.Sprintf("%.1f %.1f %.1f %.1f", r, y(lo), l, y(lo))}, down...)
	}
	if class == "spread-middle" {
		fmt.Fprintf(b, `<path class="%s" d="M%s"/>`, class, strings.Join(up, " "))
		return
	}
	fmt.Fprintf(b, `<path class="%s" d="M%s %sZ"/>`, class, strings.Join(up, " "), strings.Join(down, " "))
}

// words tell the chart to who cannot see it.
func (c spread) words() string {
	worst := c.bands[0]
	for _, v := range c.bands {
		if c.bound > 0 && v.Tenth < worst.Tenth || c.bound == 0 && v.Ninth > worst.Ninth {
			worst = v
		}
	}
	return fmt.Sprintf("Between %s and %s. Around %s four fifths of %d forecasts lie between %.1f and %.1f %s, the middle at %.1f.",
		c.from.In(c.zone).Format("15:04"), c.to.In(c.zone).Format("15:04"), worst.At.In(c.zone).Format("15:04"), worst.Known, worst.Tenth, worst.Ninth, c.unit, worst.Middle)
}
