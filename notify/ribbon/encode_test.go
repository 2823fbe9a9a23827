package ribbon

import (
	"bytes"
	"image"
	"image/color"
	"image/png"
	"math/rand/v2"
	"testing"
	"time"

	"golang.org/x/image/vector"
)

// plainly reduces a picture to its colours dot by dot: what indexed must agree with.
func plainly(img *image.RGBA) *image.Paletted {
	count := map[color.RGBA]int{}
	at := func(x, y int) color.RGBA { c := img.RGBAAt(x, y); c.A = 0xff; return c }
	b := img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			count[at(x, y)]++
		}
	}
	p, _ := palette(count)
	out := image.NewPaletted(b, p)
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			out.SetColorIndex(x, y, uint8(p.Index(at(x, y))))
		}
	}
	return out
}

// TestWholeDots: a rectangle that covers whole dots is drawn as the smoother draws it.
func TestWholeDots(t *testing.T) {
	var s scene
	s.rect(careful, 3, 4.5, 17, 9)
	s.rect(closedGround, -2, 8, 40, 8.5)
	var smooth, straight vector.Rasterizer
	a, b := image.NewRGBA(image.Rect(0, 0, 40, 30)), image.NewRGBA(image.Rect(0, 0, 40, 30))
	for _, x := range s.shapes {
		if !x.whole() {
			t.Fatalf("%v is not taken for whole", x.outline)
		}
		fill(a, &straight, x)
		around := shape{x.ink, append(x.outline, x.outline[0])} // the same area, and no rectangle
		if around.whole() {
			t.Fatal("five nodes are taken for a rectangle")
		}
		fill(b, &smooth, around)
	}
	if !bytes.Equal(a.Pix, b.Pix) {
		t.Error("drawn otherwise than by the smoother")
	}
}

// TestEncode: what is written is read by the library as the picture that it was, and
// is the one that plainly gives: of a ribbon, and of noise in thousands of
// colours.
func TestEncode(t *testing.T) {
	at := func(h int) time.Time { return time.Date(2027, 4, 15, h, 0, 0, 0, time.UTC) }
	l := Lane{Name: "Wind", Note: "gusts 9.6 of 15 m/s, 14:00"}
	for h := 6; h < 21; h++ {
		l.Rooms = append(l.Rooms, Room{Span: Span{at(h), at(h + 1)}, Middle: float64(h-9) / 9, Careful: float64(h-11) / 9, Closed: h < 9})
	}
	ribbon, err := Day{Title: "Thursday 15 April", Zone: time.UTC, From: at(6), To: at(21), Lanes: []Lane{l}}.paint()
	if err != nil {
		t.Fatal(err)
	}
	noise, rnd := image.NewRGBA(image.Rect(0, 0, 97, 89)), rand.New(rand.NewPCG(1, 2))
	for i := range noise.Pix {
		noise.Pix[i] = byte(rnd.UintN(18)) * 14
	}
	for i := 3; i < len(noise.Pix); i += 4 {
		noise.Pix[i] = 0xff
	}
	copy(noise.Pix[3*noise.Stride:], noise.Pix[:3*noise.Stride]) // rows like those above
	copy(noise.Pix[noise.Stride:], noise.Pix[:noise.Stride])
	for name, img := range map[string]*image.RGBA{"ribbon": ribbon, "noise": noise} {
		want := plainly(img)
		got := indexed(img)
		if !bytes.Equal(got.Pix, want.Pix) {
			t.Errorf("%s: indexed otherwise than dot by dot", name)
		}
		b, err := encode(got)
		if err != nil {
			t.Fatal(err)
		}
		read, err := png.Decode(bytes.NewReader(b))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		back, ok := read.(*image.Paletted)
		if !ok || back.Rect != want.Rect || !bytes.Equal(back.Pix, want.Pix) {
			t.Fatalf("%s: read back as another picture", name)
		}
		for k, c := range want.Palette {
			r, g, bl, _ := c.RGBA()
			if r2, g2, b2, _ := back.Palette[k].RGBA(); r != r2 || g != g2 || bl != b2 {
				t.Errorf("%s: colour %d was %v, read back as %v", name, k, c, back.Palette[k])
			}
		}
	}
}
