package photo

import (
	"bytes"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"testing"
)

// withExif puts an Exif block with an orientation and a secret into a JPEG of a
// picture whose top left quarter is red.
func withExif(t testing.TB, turn byte) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, 80, 40))
	for y := range 40 {
		for x := range 80 {
			c := color.RGBA{255, 255, 255, 255}
			if x < 40 && y < 20 {
				c = color.RGBA{255, 0, 0, 255}
			}
			img.SetRGBA(x, y, c)
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		t.Fatal(err)
	}
	body := append([]byte("Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00"), turn, 0, 0)
	body = append(body, "GPS 53.35 -6.26 of the house"...)
	n := len(body) + 2
	head := []byte{0xff, 0xd8, 0xff, 0xe1, byte(n >> 8), byte(n)}
	return append(append(head, body...), b.Bytes()[2:]...)
}

// Nothing that the camera hid is left, and the picture stands upright: where the
// red quarter comes to lie for each of the eight ways of holding a camera.
func TestPhotosAreCleanAndUpright(t *testing.T) {
	for turn, red := range map[byte][2]int{1: {0, 0}, 2: {1, 0}, 3: {1, 1}, 4: {0, 1}, 5: {0, 0}, 6: {1, 0}, 7: {1, 1}, 8: {0, 1}} {
		jpg, hash, err := Clean(withExif(t, turn))
		if err != nil || len(hash) != 64 {
			t.Fatal(err)
		}
		if bytes.Contains(jpg, []byte("GPS")) || bytes.Contains(jpg, []byte("Exif")) {
			t.Errorf("turn %d: what the camera hid is still there", turn)
		}
		img, _, err := image.Decode(bytes.NewReader(jpg))
		if err != nil {
			t.Fatal(err)
		}
		b := img.Bounds()
		if (b.Dx() == 80) != (turn < 5) {
			t.Errorf("turn %d: %v", turn, b)
		}
		for qx := range 2 {
			for qy := range 2 {
				_, g, _, _ := img.At(b.Dx()/4+qx*b.Dx()/2, b.Dy()/4+qy*b.Dy()/2).RGBA()
				if is := g < 0x4000; is != (red == [2]int{qx, qy}) {
					t.Errorf("turn %d: quarter %d %d is red: %t", turn, qx, qy, is)
				}
			}
		}
	}
}

func TestPhotosAreBounded(t *testing.T) {
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewRGBA(image.Rect(0, 0, 3200, 100))); err != nil {
		t.Fatal(err)
	}
	jpg, _, err := Clean(b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	if c, kind, err := image.DecodeConfig(bytes.NewReader(jpg)); err != nil || kind != "jpeg" || c.Width != 1600 || c.Height != 50 {
		t.Errorf("%s of %d by %d, %v", kind, c.Width, c.Height, err)
	}
	if _, _, err := Clean(make([]byte, MostBytes+1)); !errors.Is(err, ErrTooBig) {
		t.Errorf("a huge file: %v", err)
	}
	bomb := append([]byte{}, b.Bytes()...)
	bomb[16], bomb[20] = 0x70, 0x70 // claims 2 thousand million points a side
	if _, _, err := Clean(bomb); err == nil {
		t.Error("a bomb was taken")
	}
	for _, x := range [][]byte{nil, []byte("<svg onload=alert(1)>"), withExif(t, 1)[:200]} {
		if _, _, err := Clean(x); err == nil {
			t.Errorf("%.20q was taken", x)
		}
	}
}

func FuzzClean(f *testing.F) {
	f.Add(withExif(f, 6))
	f.Add(withExif(f, 1)[:60])
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x10Exif\x00\x00II\x2a\x00\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if o := orientation(b); o < 1 || o > 8 {
			t.Fatalf("orientation %d", o)
		}
		if len(b) > 1<<16 {
			return
		}
		if c, _, err := image.DecodeConfig(bytes.NewReader(b)); err == nil && c.Width*c.Height > 1<<20 {
			return // slow, not wrong
		}
		if jpg, _, err := Clean(b); err == nil {
			if _, err := jpeg.Decode(bytes.NewReader(jpg)); err != nil {
				t.Fatal(err)
			}
		}
	})
}
