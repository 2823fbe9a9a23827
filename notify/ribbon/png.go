package ribbon

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"math"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// density is how many dots of the PNG make a CSS pixel.
const density = 2

// shades are the inks of the PNG, on the white of a mail. Dark, pale and hatched
// differ in lightness by far, so that they hold without colour.
var shades = [inks]color.RGBA{
	paper:        {0xff, 0xff, 0xff, 0xff},
	night:        {0xec, 0xec, 0xe8, 0xff},
	rule:         {0xd5, 0xd3, 0xcd, 0xff},
	middle:       {0xa6, 0xc6, 0xca, 0xff},
	careful:      {0x1b, 0x5a, 0x65, 0xff},
	closedGround: {0xfb, 0xf1, 0xec, 0xff},
	closedLine:   {0x93, 0x34, 0x1f, 0xff},
	text:         {0x22, 0x26, 0x2a, 0xff},
	soft:         {0x56, 0x5b, 0x60, 0xff},
}

// PNG draws the day at two dots a CSS pixel. The same day gives the same bytes.
func (d Day) PNG() ([]byte, error) {
	img, err := d.paint()
	if err != nil {
		return nil, err
	}
	out, err := encode(indexed(img))
	if err != nil {
		return nil, fmt.Errorf("write the hour ribbon as PNG: %w", err)
	}
	return out, nil
}

// paint draws the day in all its shades.
func (d Day) paint() (*image.RGBA, error) {
	f, err := newFaces()
	if err != nil {
		return nil, err
	}
	s := layout(d, f)
	img := image.NewRGBA(image.Rect(0, 0, int(s.width*density), int(s.height*density)))
	draw.Draw(img, img.Bounds(), image.NewUniform(shades[paper]), image.Point{}, draw.Src)
	var r vector.Rasterizer
	for _, x := range s.shapes {
		fill(img, &r, x)
	}
	for _, l := range s.labels {
		if err := f.draw(img, l); err != nil {
			return nil, err
		}
	}
	return img, nil
}

// fill draws one shape, smooth at its edges.
func fill(img *image.RGBA, r *vector.Rasterizer, x shape) {
	lo, hi := point{math.Inf(1), math.Inf(1)}, point{math.Inf(-1), math.Inf(-1)}
	for _, n := range x.outline {
		lo.x, lo.y = math.Min(lo.x, n.p.x*density), math.Min(lo.y, n.p.y*density)
		hi.x, hi.y = math.Max(hi.x, n.p.x*density), math.Max(hi.y, n.p.y*density)
	}
	box := image.Rect(int(math.Floor(lo.x)), int(math.Floor(lo.y)), int(math.Ceil(hi.x)), int(math.Ceil(hi.y))).Intersect(img.Bounds())
	if box.Empty() {
		return
	}
	ink := image.NewUniform(shades[x.ink])
	if x.whole() {
		draw.Draw(img, box, ink, image.Point{}, draw.Src)
		return
	}
	dot := func(p point) (float32, float32) {
		return float32(p.x*density - float64(box.Min.X)), float32(p.y*density - float64(box.Min.Y))
	}
	r.Reset(box.Dx(), box.Dy())
	for k, n := range x.outline {
		ex, ey := dot(n.p)
		switch {
		case k == 0:
			r.MoveTo(ex, ey)
		case n.bent:
			ax, ay := dot(n.a)
			bx, by := dot(n.b)
			r.CubeTo(ax, ay, bx, by, ex, ey)
		default:
			r.LineTo(ex, ey)
		}
	}
	r.ClosePath()
	r.Draw(img, box, ink, image.Point{})
}

// whole reports whether a shape is an upright rectangle that covers whole dots: its
// edges need no smoothing.
func (x shape) whole() bool {
	n := x.outline
	if len(n) != 4 || n[0].p.y != n[1].p.y || n[1].p.x != n[2].p.x || n[2].p.y != n[3].p.y || n[3].p.x != n[0].p.x {
		return false
	}
	for _, c := range n {
		if c.bent || c.p.x*density != math.Trunc(c.p.x*density) || c.p.y*density != math.Trunc(c.p.y*density) {
			return false
		}
	}
	return true
}

// fonts reads the two type faces, those that the Go authors give away.
var fonts = sync.OnceValues(func() ([2]*opentype.Font, error) {
	var out [2]*opentype.Font
	for i, ttf := range [][]byte{goregular.TTF, gobold.TTF} {
		f, err := opentype.Parse(ttf)
		if err != nil {
			return out, fmt.Errorf("read the type face of the hour ribbon: %w", err)
		}
		out[i] = f
	}
	return out, nil
})

// faces are the type faces at the sizes of one picture. They serve one
// goroutine.
type faces struct {
	fonts [2]*opentype.Font
	made  map[faceKey]font.Face
}

type faceKey struct {
	size float64
	bold bool
}

func newFaces() (*faces, error) {
	fs, err := fonts()
	return &faces{fonts: fs, made: map[faceKey]font.Face{}}, err
}

func (f *faces) face(size float64, bold bool) (font.Face, error) {
	k := faceKey{size, bold}
	if x := f.made[k]; x != nil {
		return x, nil
	}
	i := 0
	if bold {
		i = 1
	}
	x, err := opentype.NewFace(f.fonts[i], &opentype.FaceOptions{Size: size * density, DPI: 72})
	if err != nil {
		return nil, fmt.Errorf("set the hour ribbon in %g px: %w", size, err)
	}
	f.made[k] = x
	return x, nil
}

// width measures a text; a size that cannot be set measures nothing, and
// drawing it says so.
func (f *faces) width(s string, size float64, bold bool) float64 {
	x, err := f.face(size, bold)
	if err != nil {
		return 0
	}
	return float64(font.MeasureString(x, s)) / 64 / density
}

func (f *faces) draw(img draw.Image, l label) error {
	x, err := f.face(l.size, l.bold)
	if err != nil {
		return err
	}
	at := l.at.x
	if l.anchor == right {
		at -= f.width(l.text, l.size, l.bold)
	}
	d := font.Drawer{Dst: img, Src: image.NewUniform(shades[l.ink]), Face: x}
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(at * density * 64), Y: fixed.Int26_6(l.at.y * density * 64)}
	d.DrawString(l.text)
	return nil
}
