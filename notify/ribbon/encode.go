package ribbon

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"image"
	"image/color"
	"image/png"
	"maps"
	"slices"
)

// colours is how many a PNG has: the inks, and shades between them for smooth
// edges. Sixteen take half a byte a dot, and more are not seen.
const colours = 16

// indexed reduces a picture to the inks and the colours that occur most beside
// them, the others to the nearest of these.
func indexed(img *image.RGBA) *image.Paletted {
	w := img.Rect.Dx()
	found := tones{nth: map[uint32]uint16{}}
	rows, nth := rowsOf(img), make([]uint16, 0, len(img.Pix)/4)
	for _, r := range rows {
		nth = found.row(nth, img.Pix[r.at*img.Stride:][:4*w], r.times)
	}
	p, index := palette(found.count())
	out := image.NewPaletted(img.Bounds(), p)
	to := make([]uint8, len(found.all))
	for k, c := range found.all {
		to[k] = index[c]
	}
	for i, r := range rows {
		first := out.Pix[r.at*w : (r.at+1)*w]
		for x, k := range nth[i*w : (i+1)*w] {
			first[x] = to[k]
		}
		for y := r.at + 1; y < r.at+r.times; y++ {
			copy(out.Pix[y*w:], first)
		}
	}
	return out
}

// tones are the colours of a picture in the order in which they were found, and how
// many dots have each.
type tones struct {
	all  []color.RGBA
	dots []int
	nth  map[uint32]uint16 // by colour, its place in all
}

// row appends the numbers of a row's colours; the row stands there so many times.
func (t *tones) row(nth []uint16, pix []byte, times int) []uint16 {
	const colour = 0x00ffffff // all but the opacity
	last, k := uint32(1<<24), uint16(0)
	for ; len(pix) >= 4; pix = pix[4:] {
		if c := binary.LittleEndian.Uint32(pix) & colour; c != last {
			last, k = c, t.of(c)
		}
		t.dots[k] += times
		nth = append(nth, k)
	}
	return nth
}

// of gives the number of a colour.
func (t *tones) of(c uint32) uint16 {
	k, ok := t.nth[c]
	if !ok {
		k = uint16(len(t.all))
		t.nth[c] = k
		t.all, t.dots = append(t.all, color.RGBA{byte(c), byte(c >> 8), byte(c >> 16), 0xff}), append(t.dots, 0)
	}
	return k
}

// count gives the dots of each colour.
func (t *tones) count() map[color.RGBA]int {
	out := map[color.RGBA]int{}
	for k, c := range t.all {
		out[c] = t.dots[k]
	}
	return out
}

// palette chooses the colours of a picture from how often each occurs, and says which
// of them each becomes.
func palette(count map[color.RGBA]int) (p color.Palette, index map[color.RGBA]uint8) {
	key := func(c color.RGBA) int { return int(c.R)<<16 | int(c.G)<<8 | int(c.B) }
	for _, c := range shades {
		if count[c] > 0 {
			p = append(p, c)
		}
	}
	all := slices.SortedFunc(maps.Keys(count), func(a, b color.RGBA) int {
		return cmp.Or(cmp.Compare(count[b], count[a]), cmp.Compare(key(a), key(b)))
	})
	for _, c := range all {
		if len(p) < colours && !slices.Contains(shades[:], c) {
			p = append(p, c)
		}
	}
	index = map[color.RGBA]uint8{}
	for _, c := range all {
		index[c] = uint8(p.Index(c))
	}
	return p, index
}

// row is a row of a picture, and how often it stands there one below the other:
// most of a ribbon's rows are like the one above.
type row struct{ at, times int }

func rowsOf(img *image.RGBA) (out []row) {
	line := func(y int) []byte { return img.Pix[y*img.Stride:][:4*img.Rect.Dx()] }
	for y := range img.Rect.Dy() {
		if n := len(out); n > 0 && bytes.Equal(line(y), line(y-1)) {
			out[n-1].times++
		} else {
			out = append(out, row{y, 1})
		}
	}
	return out
}

// encode writes a picture as PNG. Its rows repeat so much that the fastest level is
// within an eighth of the best, at a quarter of the time.
func encode(img *image.Paletted) ([]byte, error) {
	var b bytes.Buffer
	e := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := e.Encode(&b, img); err != nil {
		return nil, err
	}
	return b.Bytes(), nil
}
