package ribbon

import "math"

// ink is what a shape is drawn with: the name of its class on a page, and in a
// PNG an index into the palette.
type ink int

const (
	paper ink = iota
	night
	rule
	middle
	careful
	closedGround
	closedLine
	text
	soft
	inks
)

// class names the inks for a style sheet.
func (i ink) class() string {
	return [inks]string{"paper", "night", "rule", "middle", "careful", "closed", "hatch", "ink", "soft"}[i]
}

// point lies in CSS pixels, y downwards.
type point struct{ x, y float64 }

// node is a step of an outline: a line to p, or where bent a cubic curve to it
// that a and b steer.
type node struct {
	p    point
	bent bool
	a, b point
}

// shape is an area filled with one ink.
type shape struct {
	ink     ink
	outline []node
}

// label is a piece of text.
type label struct {
	ink    ink
	at     point // on the base line
	anchor anchor
	size   float64
	bold   bool
	text   string
}

type anchor int

const (
	left anchor = iota
	right
)

// scene is a picture in the order in which it is drawn: shapes, then labels.
type scene struct {
	width, height float64
	shapes        []shape
	labels        []label
}

func (s *scene) fill(i ink, outline ...node) { s.shapes = append(s.shapes, shape{i, outline}) }

func (s *scene) rect(i ink, x0, y0, x1, y1 float64) {
	if x1 > x0 && y1 > y0 {
		s.fill(i, node{p: point{x0, y0}}, node{p: point{x1, y0}}, node{p: point{x1, y1}}, node{p: point{x0, y1}})
	}
}

// frame draws the edge of a rectangle, w wide, within it.
func (s *scene) frame(i ink, x0, y0, x1, y1, w float64) {
	s.rect(i, x0, y0, x1, y0+w)
	s.rect(i, x0, y1-w, x1, y1)
	s.rect(i, x0, y0+w, x0+w, y1-w)
	s.rect(i, x1-w, y0+w, x1, y1-w)
}

// dashes draws an upright line w wide, broken where on and off say.
func (s *scene) dashes(i ink, x, y0, y1, w, on, off float64) {
	for y := y0; y < y1; y += on + off {
		s.rect(i, x-w/2, y, x+w/2, math.Min(y+on, y1))
	}
}

// dots draws a level row of square dots.
func (s *scene) dots(i ink, x0, x1, y, size, every float64) {
	for x := x0; x+size <= x1; x += every {
		s.rect(i, x, y-size/2, x+size, y+size/2)
	}
}

// hatch fills a rectangle with lines that rise to the right. They lie on one
// raster whatever the rectangle, so that neighbours meet.
func (s *scene) hatch(i ink, x0, y0, x1, y1, every, w float64) {
	if x1 <= x0 || y1 <= y0 {
		return
	}
	// along a line x + y is constant
	half := w / math.Sqrt2
	for c := math.Floor((x0+y0)/every) * every; c-half < x1+y1; c += every {
		s.band(i, x0, y0, x1, y1, c-half, c+half)
	}
}

// band fills what lies of a rectangle in lo <= x+y <= hi.
func (s *scene) band(i ink, x0, y0, x1, y1, lo, hi float64) {
	pts := []point{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}
	pts = clip(pts, func(p point) float64 { return p.x + p.y - lo })
	pts = clip(pts, func(p point) float64 { return hi - p.x - p.y })
	if len(pts) < 3 {
		return
	}
	nodes := make([]node, len(pts))
	for k, p := range pts {
		nodes[k].p = p
	}
	s.fill(i, nodes...)
}

// clip keeps the part of a convex outline on which side is not negative
// (Sutherland and Hodgman).
func clip(pts []point, side func(point) float64) []point {
	var out []point
	for k, p := range pts {
		q := pts[(k+1)%len(pts)]
		a, b := side(p), side(q)
		if a >= 0 {
			out = append(out, p)
		}
		if (a > 0 && b < 0) || (a < 0 && b > 0) {
			t := a / (a - b)
			out = append(out, point{p.x + t*(q.x-p.x), p.y + t*(q.y-p.y)})
		}
	}
	return out
}

func (s *scene) write(i ink, x, y float64, a anchor, size float64, bold bool, text string) {
	if text != "" {
		s.labels = append(s.labels, label{i, point{x, y}, a, size, bold, text})
	}
}
