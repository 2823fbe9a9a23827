package skill

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// raster paints on dots, `scale` to a point.
type raster struct {
	img   *image.Gray
	scale float64
	font  *opentype.Font
	err   error // the first that letters met
}

func newRaster(w, h, scale float64) (*raster, error) {
	f, err := opentype.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("read the built-in letters: %w", err)
	}
	img := image.NewGray(image.Rect(0, 0, int(w*scale), int(h*scale)))
	draw.Draw(img, img.Bounds(), image.White, image.Point{}, draw.Src)
	return &raster{img: img, scale: scale, font: f}, nil
}

func (r *raster) fill(xy []point, grey float64) {
	if len(xy) < 3 {
		return
	}
	box := r.box(xy)
	v := vector.NewRasterizer(box.Dx(), box.Dy())
	for i, p := range xy {
		x, y := float32(p.x*r.scale-float64(box.Min.X)), float32(p.y*r.scale-float64(box.Min.Y))
		if i == 0 {
			v.MoveTo(x, y)
		} else {
			v.LineTo(x, y)
		}
	}
	v.ClosePath()
	v.Draw(r.img, box, image.NewUniform(color.Gray{Y: uint8(grey*255 + 0.5)}), image.Point{})
}

// box gives the dots that a shape may touch: the rest need not be looked at.
func (r *raster) box(xy []point) image.Rectangle {
	low, high := xy[0], xy[0]
	for _, p := range xy {
		low = point{math.Min(low.x, p.x), math.Min(low.y, p.y)}
		high = point{math.Max(high.x, p.x), math.Max(high.y, p.y)}
	}
	return image.Rect(int(low.x*r.scale)-1, int(low.y*r.scale)-1, int(high.x*r.scale)+2, int(high.y*r.scale)+2)
}

// path strokes a line as one small shape a dash.
func (r *raster) path(xy []point, width, dash float64) {
	on, left := true, dash
	for i := 1; i < len(xy); i++ {
		from, to := xy[i-1], xy[i]
		length := math.Hypot(to.x-from.x, to.y-from.y)
		for done := 0.0; done < length; {
			step := length - done
			if dash > 0 {
				step = math.Min(step, left)
			}
			if on {
				r.stroke(along(from, to, done/length), along(from, to, (done+step)/length), width)
			}
			done += step
			if left -= step; dash > 0 && left <= 1e-9 {
				on, left = !on, dash
			}
		}
	}
}

func along(a, b point, t float64) point { return point{a.x + t*(b.x-a.x), a.y + t*(b.y-a.y)} }

func (r *raster) stroke(a, b point, width float64) {
	l := math.Hypot(b.x-a.x, b.y-a.y)
	if l == 0 {
		return
	}
	nx, ny := -(b.y-a.y)/l*width/2, (b.x-a.x)/l*width/2
	r.fill([]point{{a.x + nx, a.y + ny}, {b.x + nx, b.y + ny}, {b.x - nx, b.y - ny}, {a.x - nx, a.y - ny}}, 0)
}

func (r *raster) text(x, y, size, anchor float64, s string) {
	face, err := opentype.NewFace(r.font, &opentype.FaceOptions{Size: size * r.scale, DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		if r.err == nil {
			r.err = fmt.Errorf("set letters of %g points: %w", size, err)
		}
		return
	}
	defer face.Close()
	d := font.Drawer{Dst: r.img, Src: image.Black, Face: face}
	left := x*r.scale - anchor*float64(d.MeasureString(s))/64
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(left * 64), Y: fixed.Int26_6(y * r.scale * 64)}
	d.DrawString(s)
}

func (r *raster) finish(w io.Writer) error {
	if r.err != nil {
		return r.err
	}
	return png.Encode(w, r.img)
}
