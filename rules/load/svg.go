package load

import (
	"fmt"
	"html"
	"math"
	"strings"
)

// drawing scale and room around the roof, in units of the picture
const (
	drawWide   = 360.0 // what a phone shows
	drawMargin = 24.0
)

// SVG draws the plan: the roof's outline, each strip with its number, laps
// darker. Lengths are to scale. It has no styles of its own, only classes and
// the colour of the text around it, so that a strict page may show it.
func (p Plan) SVG() string {
	if len(p.Strips) == 0 {
		return ""
	}
	scale := (drawWide - 2*drawMargin) / math.Max(p.Shape.WidthM, p.Shape.LengthM)
	wide, high := p.Shape.WidthM*scale+2*drawMargin, p.Shape.LengthM*scale+2*drawMargin
	// the length runs upwards from the eaves below
	px := func(x float64) float64 { return drawMargin + x*scale }
	py := func(y float64) float64 { return high - drawMargin - y*scale }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.1f %.1f" class="strip-plan" role="img" font-family="sans-serif" font-size="12" fill="currentColor">`, wide, high)
	fmt.Fprintf(&b, "<title>Strip plan</title><desc>%s</desc>", html.EscapeString(strings.Join(p.Words(), " ")))
	for i, s := range p.Strips {
		fmt.Fprintf(&b, `<path class="strip" d="%s" fill-opacity="0.14" stroke="currentColor" stroke-width="0.75" stroke-dasharray="4 2"/>`, p.outline(s.X, s.Y, s.X+s.W, s.Y+s.L, px, py))
		cx, cy := s.X+s.W/2, s.Y+s.L/2
		switch { // the number stands where the strip is, not in the corner left out
		case p.notched(cx, cy) && p.Across:
			cx = (p.Shape.WidthM - p.Shape.NotchWidthM) / 2
		case p.notched(cx, cy):
			cy = (p.Shape.LengthM - p.Shape.NotchLengthM) / 2
		}
		fmt.Fprintf(&b, `<text class="strip-number" x="%.1f" y="%.1f" text-anchor="middle" dominant-baseline="middle">%d</text>`, px(cx), py(cy), i+1)
	}
	w, l := p.Shape.WidthM, p.Shape.LengthM
	fmt.Fprintf(&b, `<path class="roof" d="%s" fill="none" stroke="currentColor" stroke-width="2"/>`, p.outline(0, 0, w, l, px, py))
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%.2f m</text>`, px(w/2), high-drawMargin/3, w)
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle" transform="rotate(-90 %.1f %.1f)">%.2f m</text>`, drawMargin*2/3, py(l/2), drawMargin*2/3, py(l/2), l)
	b.WriteString("</svg>\n")
	return b.String()
}

// notched reports whether a point lies in the corner that an L leaves out.
func (p Plan) notched(x, y float64) bool {
	s := p.Shape
	return s.L() && x > s.WidthM-s.NotchWidthM-1e-9 && y > s.LengthM-s.NotchLengthM-1e-9
}

// outline gives the path of a rectangle without what of it lies in the notch.
func (p Plan) outline(x0, y0, x1, y1 float64, px, py func(float64) float64) string {
	nx, ny := p.Shape.WidthM-p.Shape.NotchWidthM, p.Shape.LengthM-p.Shape.NotchLengthM
	pts := [][2]float64{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
	if p.Shape.L() && x1 > nx+1e-9 && y1 > ny+1e-9 {
		cx, cy := math.Max(nx, x0), math.Max(ny, y0)
		pts = [][2]float64{{x0, y0}, {x1, y0}, {x1, cy}, {cx, cy}, {cx, y1}, {x0, y1}}
	}
	var s strings.Builder
	for i, q := range pts {
		fmt.Fprintf(&s, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], px(q[0]), py(q[1]))
	}
	return s.String() + "Z"
}
