package main

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"math"
	"os"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// The picture's size and the place of its axes, in dots.
const (
	plotW, plotH             = 1000, 640
	plotLeft, plotRight      = 110, 960
	plotTop, plotBottom      = 60, 560
	plotLetters              = 18
	plotTicks, plotTickReach = 5, 6
)

// sheet is a picture in the making.
type sheetPNG struct {
	*image.RGBA
	face       font.Face
	maxX, maxY float64
}

// plotScale draws the cost over the number of firms: points as measured, and the
// line fitted to each.
func plotScale(path string, all []cost) (err error) {
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return err
	}
	face, err := opentype.NewFace(f, &opentype.FaceOptions{Size: plotLetters, DPI: 72})
	if err != nil {
		return err
	}
	p := sheetPNG{RGBA: image.NewRGBA(image.Rect(0, 0, plotW, plotH)), face: face}
	draw.Draw(p, p.Bounds(), image.White, image.Point{}, draw.Src)
	for _, l := range scaleLines {
		xs, ys := l.points(all)
		for i := range xs {
			p.maxX, p.maxY = max(p.maxX, xs[i]*1.05), max(p.maxY, ys[i]*1.05)
		}
	}
	p.axes()
	for i, l := range scaleLines {
		p.series(i, l, all)
	}
	out, err := os.Create(path)
	if err != nil {
		return err
	}
	if err := png.Encode(out, p); err != nil {
		return err
	}
	return out.Close()
}

func (p sheetPNG) at(x, y float64) (float64, float64) {
	return plotLeft + x/p.maxX*(plotRight-plotLeft), plotBottom - y/p.maxY*(plotBottom-plotTop)
}

// axes draws the frame with its figures.
func (p sheetPNG) axes() {
	p.line(plotLeft, plotBottom, plotRight, plotBottom, color.Black)
	p.line(plotLeft, plotTop, plotLeft, plotBottom, color.Black)
	for i := range plotTicks + 1 {
		x, y := p.maxX*float64(i)/plotTicks, p.maxY*float64(i)/plotTicks
		px, py := p.at(x, y)
		p.line(px, plotBottom, px, plotBottom+plotTickReach, color.Black)
		p.line(plotLeft-plotTickReach, py, plotLeft, py, color.Black)
		p.text(px, plotBottom+28, 0.5, fmt.Sprintf("%.0f", x))
		p.text(plotLeft-12, py+6, 1, fmt.Sprintf("%.0f", y))
	}
	p.text((plotLeft+plotRight)/2, plotH-20, 0.5, "firms, of 20 jobs each")
	p.text(20, 32, 0, "seconds for one evening, two daemons and PostgreSQL together")
}

// series draws one measure: squares, discs, crosses, or rings by its number.
func (p sheetPNG) series(i int, l scaleLine, all []cost) {
	c := []color.Color{color.Black, color.RGBA{0, 90, 160, 255}, color.RGBA{170, 60, 0, 255}, color.RGBA{0, 120, 70, 255}}[i%4]
	xs, ys := l.points(all)
	a, b, _ := fit(xs, ys)
	x0, y0 := p.at(0, max(a, 0))
	x1, y1 := p.at(p.maxX, min(max(a+b*p.maxX, 0), p.maxY))
	p.line(x0, y0, x1, y1, c)
	for k := range xs {
		x, y := p.at(xs[k], ys[k])
		p.mark(i, x, y, c)
	}
	y := plotTop + 10 + 26*float64(i)
	p.mark(i, plotLeft+30, y, c)
	p.text(plotLeft+46, y+6, 0, l.name)
}

func (p sheetPNG) mark(kind int, x, y float64, c color.Color) {
	const reach = 6
	for dy := -reach; dy <= reach; dy++ {
		for dx := -reach; dx <= reach; dx++ {
			r := math.Hypot(float64(dx), float64(dy))
			in := []bool{true, r <= reach, dx == dy || dx == -dy, r <= reach && r > reach-2}[kind%4]
			if in {
				p.Set(int(x)+dx, int(y)+dy, c)
			}
		}
	}
}

func (p sheetPNG) line(x0, y0, x1, y1 float64, c color.Color) {
	n := max(math.Abs(x1-x0), math.Abs(y1-y0), 1)
	for i := range int(n) + 1 {
		t := float64(i) / n
		x, y := int(math.Round(x0+t*(x1-x0))), int(math.Round(y0+t*(y1-y0)))
		p.Set(x, y, c)
		p.Set(x, y+1, c)
	}
}

// text writes words; anchor is 0 for their left end, 0.5 their middle, 1 their
// right end.
func (p sheetPNG) text(x, y, anchor float64, words string) {
	d := font.Drawer{Dst: p, Src: image.Black, Face: p.face}
	d.Dot = fixed.P(int(x), int(y))
	d.Dot.X -= fixed.Int26_6(float64(d.MeasureString(words)) * anchor)
	d.DrawString(words)
}
