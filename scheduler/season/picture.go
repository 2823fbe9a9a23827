package season

import (
	"fmt"
	"html"
	"strings"
)

// measures of the picture, in its own units
const (
	picWide   = 720.0
	picLeft   = 50.0
	picTop    = 40.0
	picPlot   = 200.0 // the height of 100 %
	picBelow  = 82.0
	picColumn = (picWide - picLeft - 8) / 12
)

// Picture draws a year: for each month the share of days on which a roof can be
// sealed (light) and topcoated the same day too (dark), what stopped most of
// the others, and the jobs of areaM2 that a crew can expect to finish. It has
// no styles of its own, only classes and the colour of the text around it.
func Picture(title string, months [12]Month, areaM2 float64, years int) string {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" class="season" role="img" font-family="sans-serif" font-size="12" fill="currentColor">`, picWide, picTop+picPlot+picBelow)
	fmt.Fprintf(&b, "<title>%s</title><desc>%s</desc>", html.EscapeString(title), html.EscapeString(spoken(months, areaM2, years)))
	fmt.Fprintf(&b, `<text x="%.0f" y="16" font-size="14" font-weight="bold">%s</text>`, picLeft, html.EscapeString(title))
	y := func(share float64) float64 { return picTop + picPlot*(1-share) }
	for _, p := range []float64{0, 0.25, 0.5, 0.75, 1} {
		fmt.Fprintf(&b, `<line class="grid" x1="%.1f" x2="%.1f" y1="%.1f" y2="%.1f" stroke="currentColor" stroke-opacity="0.25" stroke-width="0.5"/>`, picLeft, picWide-8, y(p), y(p))
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="end">%.0f %%</text>`, picLeft-6, y(p)+4, p*100)
	}
	for i, m := range months {
		x, known := picLeft+float64(i)*picColumn, m.Days-m.Unknown
		mid := x + picColumn/2
		text := func(dy float64, size int, s string) {
			fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle" font-size="%d">%s</text>`, mid, picTop+picPlot+dy, size, html.EscapeString(s))
		}
		text(16, 12, monthName(i))
		if known <= 0 {
			text(-8, 11, "no data")
			continue
		}
		bar := func(class string, share, opacity float64) {
			fmt.Fprintf(&b, `<rect class="%s" x="%.1f" y="%.1f" width="%.1f" height="%.1f" fill-opacity="%.2f" stroke="currentColor" stroke-width="1"/>`, class, x+7, y(share), picColumn-14, picPlot*share, opacity)
		}
		sealed := float64(m.Sealable) / float64(known)
		bar("sealable", sealed, 0.18)
		bar("topcoated", float64(m.Full)/float64(known), 0.75)
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%.0f</text>`, mid, y(sealed)-4, sealed*100)
		text(33, 11, fmt.Sprintf("%.1f jobs", m.Jobs(areaM2, years)))
		text(48, 9, string(m.Binding()))
	}
	for i, line := range []string{
		fmt.Sprintf("Light: share of days on which a roof of %.4g m² can be sealed. Dark: topcoated the same day too.", areaM2),
		"Below each month: jobs that a crew can expect to finish, and what stops most of the other days.",
	} {
		fmt.Fprintf(&b, `<text x="%.0f" y="%.0f" font-size="11">%s</text>`, picLeft, picTop+picPlot+64+14*float64(i), html.EscapeString(line))
	}
	b.WriteString("</svg>\n")
	return b.String()
}

// spoken says the picture for those who do not see it.
func spoken(months [12]Month, areaM2 float64, years int) string {
	var s []string
	for i, m := range months {
		if known := m.Days - m.Unknown; known > 0 {
			s = append(s, fmt.Sprintf("%s: %.0f %% sealable, %.1f jobs", monthName(i), 100*float64(m.Sealable)/float64(known), m.Jobs(areaM2, years)))
		}
	}
	return strings.Join(s, "; ") + "."
}
