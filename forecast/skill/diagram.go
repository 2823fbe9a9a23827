package skill

import (
	"fmt"
	"io"
	"math"
)

// Series is one forecast's reliability table, drawn as points joined by a line.
type Series struct {
	Name string
	Bins []Bin
}

// Diagram is a reliability diagram: how often it happened over the chance that
// was given. It is drawn in black on white, so that it prints and photocopies:
// series differ by the shape of their points and the dashes of their lines.
type Diagram struct {
	Title  string
	Note   string  // one line under it: source, days, attribution
	Base   float64 // how often it happened over all; NaN leaves the line out
	Series []Series
}

// canvas draws the few shapes that a diagram needs, in points, y downwards.
type canvas interface {
	// path strokes the line through points, or fills the shape they enclose.
	path(xy []point, width float64, dash float64)
	fill(xy []point, grey float64)
	// text puts a line of letters of so many points; anchor is 0 for its left
	// end, 0.5 for its middle, 1 for its right end.
	text(x, y, size, anchor float64, s string)
}

type point struct{ x, y float64 }

// Size of the picture and of its parts, in points.
const (
	picW, picH   = 460.0, 560.0
	plotX, plotY = 62.0, 42.0
	plotSide     = 372.0
	countsY      = plotY + plotSide + 44
	countsH      = 44.0
	letters      = 11.0
)

// SVG writes the diagram as a picture of lines. Its colours are black and white
// and its letters those of the reader's machine.
func (d Diagram) SVG(w io.Writer) error {
	c := newSVG(d.Title)
	d.draw(c)
	if err := c.finish(w); err != nil {
		return fmt.Errorf("write the reliability diagram as SVG: %w", err)
	}
	return nil
}

// PNG writes the diagram as a picture of dots, two to a point.
func (d Diagram) PNG(w io.Writer) error {
	c, err := newRaster(picW, picH, 2)
	if err == nil {
		d.draw(c)
		err = c.finish(w)
	}
	if err != nil {
		return fmt.Errorf("write the reliability diagram as PNG: %w", err)
	}
	return nil
}

// at gives the place of a chance and a frequency.
func at(chance, freq float64) point {
	return point{plotX + chance*plotSide, plotY + (1-freq)*plotSide}
}

func (d Diagram) draw(c canvas) {
	c.text(plotX, 24, 14, 0, d.Title)
	d.axes(c)
	if d.Base == d.Base {
		c.path([]point{at(0, d.Base), at(1, d.Base)}, 0.8, 2)
		c.text(at(1, 0).x-3, at(0, d.Base).y-4, letters-2, 1, fmt.Sprintf("over all %.0f %%", 100*d.Base))
	}
	c.path([]point{at(0, 0), at(1, 1)}, 0.8, 0)
	for k, s := range d.Series {
		d.series(c, k, s)
	}
	d.counts(c)
	c.text(plotX, picH-8, letters-2, 0, d.Note)
}

// axes draws the frame, a grid of tenths and the numbers at fifths.
func (d Diagram) axes(c canvas) {
	c.path([]point{at(0, 0), at(1, 0), at(1, 1), at(0, 1), at(0, 0)}, 1.2, 0)
	for k := range 11 {
		v := float64(k) / 10
		if k%2 == 0 {
			label := fmt.Sprintf("%d", 10*k)
			c.text(at(v, 0).x, at(0, 0).y+14, letters, 0.5, label)
			c.text(plotX-6, at(0, v).y+4, letters, 1, label)
		}
		if k > 0 && k < 10 {
			c.path([]point{at(v, 0), {at(v, 0).x, at(v, 0).y - 4}}, 0.8, 0)
			c.path([]point{at(0, v), {at(0, v).x + 4, at(0, v).y}}, 0.8, 0)
		}
	}
	c.text(at(0.5, 0).x, at(0, 0).y+30, letters, 0.5, "chance given, %")
	c.text(plotX-40, plotY-8, letters, 0, "came true, %")
}

// looks of the series: how the line is dashed, how many corners the points have
// (0: round), and whether they are filled.
var looks = [...]struct {
	dash    float64
	corners int
	solid   bool
}{{0, 0, true}, {6, 4, false}, {3, 3, false}}

// series draws the bands of the first series, and the line and points of every.
func (d Diagram) series(c canvas, k int, s Series) {
	look := looks[k%len(looks)]
	var line []point
	for _, b := range s.Bins {
		line = append(line, at(b.Chance, b.Freq))
		if k == 0 {
			low, high := at(b.Chance, b.Low), at(b.Chance, b.High)
			c.path([]point{low, high}, 1, 0)
			c.path([]point{{low.x - 4, low.y}, {low.x + 4, low.y}}, 1, 0)
			c.path([]point{{high.x - 4, high.y}, {high.x + 4, high.y}}, 1, 0)
		}
	}
	if len(line) > 1 {
		c.path(line, 1.6, look.dash)
	}
	for _, p := range line {
		mark(c, p, look.corners, look.solid)
	}
	y := plotY + 16 + 15*float64(k)
	c.path([]point{{plotX + 10, y}, {plotX + 46, y}}, 1.6, look.dash)
	mark(c, point{plotX + 28, y}, look.corners, look.solid)
	c.text(plotX+54, y+4, letters, 0, s.Name)
}

// mark draws one point of a series.
func mark(c canvas, p point, corners int, solid bool) {
	turn, r := math.Pi/4, 4.5
	if corners == 0 {
		corners, r = 20, 4
	} else if corners == 3 {
		turn, r = math.Pi/6, 5
	}
	shape := make([]point, 0, corners+1)
	for k := range corners + 1 {
		a := turn + 2*math.Pi*float64(k)/float64(corners)
		shape = append(shape, point{p.x + r*math.Cos(a), p.y + r*math.Sin(a)})
	}
	if solid {
		c.fill(shape, 0)
		return
	}
	c.fill(shape, 1)
	c.path(shape, 1.4, 0)
}

// counts draws how many days each bin of the first series holds.
func (d Diagram) counts(c canvas) {
	if len(d.Series) == 0 {
		return
	}
	most := 1
	for _, b := range d.Series[0].Bins {
		most = max(most, b.N)
	}
	base := countsY + countsH
	for _, b := range d.Series[0].Bins {
		top := base - countsH*float64(b.N)/float64(most)
		l, r := at(b.From, 0).x+2, at(b.To, 0).x-2
		c.fill([]point{{l, base}, {l, top}, {r, top}, {r, base}}, 0.65)
		c.path([]point{{l, base}, {l, top}, {r, top}, {r, base}, {l, base}}, 0.8, 0)
		c.text((l+r)/2, base+11, letters-2, 0.5, fmt.Sprint(b.N))
	}
	c.text(plotX-6, base, letters-2, 1, "days")
}
