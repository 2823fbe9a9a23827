// Package photo makes photos fit to be kept: it decodes them and writes them anew,
// so that nothing of what cameras and telephones hide in a file (place, time,
// serial number) is left. It is pure.
package photo

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	_ "image/png" // also read
	"math"

	"golang.org/x/image/draw"
)

// Bounds of what is taken and kept. Ours, no source.
const (
	MostBytes  = 3 << 20  // of the file, as it comes
	mostPixels = 24 << 20 // of the picture: a bomb of a few bytes may claim more
	mostSide   = 1600     // points of the longer side, as kept
	quality    = 82       // of the JPEG
)

// ErrTooBig says that a file is larger than what is taken.
var ErrTooBig = errors.New("the photo is larger than 3 MB; send it smaller")

// Clean gives a JPEG or PNG as a JPEG without anything but the picture, turned the
// right way up and at most 1,600 points wide or high, with the hash of its bytes.
func Clean(file []byte) (jpg []byte, hash string, err error) {
	if len(file) > MostBytes {
		return nil, "", ErrTooBig
	}
	c, kind, err := image.DecodeConfig(bytes.NewReader(file))
	if err != nil {
		return nil, "", errors.New("this is no photo that laycast can read; send a JPEG or PNG")
	}
	if c.Width <= 0 || c.Height <= 0 || c.Width > mostPixels/c.Height {
		return nil, "", fmt.Errorf("the photo is %d by %d points; send it smaller", c.Width, c.Height)
	}
	img, _, err := image.Decode(bytes.NewReader(file))
	if err != nil {
		return nil, "", errors.New("the photo is damaged; send it again")
	}
	turn := 1
	if kind == "jpeg" {
		turn = orientation(file)
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, upright(shrink(img), turn), &jpeg.Options{Quality: quality}); err != nil {
		return nil, "", fmt.Errorf("write the photo: %w", err)
	}
	sum := sha256.Sum256(out.Bytes())
	return out.Bytes(), hex.EncodeToString(sum[:]), nil
}

// shrink draws a picture smaller where it is too large; on white, for a JPEG has no
// see-through parts.
func shrink(img image.Image) *image.RGBA {
	b := img.Bounds()
	k := min(1, float64(mostSide)/float64(max(b.Dx(), b.Dy())))
	size := image.Rect(0, 0, max(1, int(math.Round(k*float64(b.Dx())))), max(1, int(math.Round(k*float64(b.Dy())))))
	out := image.NewRGBA(size)
	draw.Draw(out, size, image.White, image.Point{}, draw.Src)
	draw.ApproxBiLinear.Scale(out, size, img, b, draw.Over, nil)
	return out
}

// upright turns a picture as its Exif orientation (1 to 8) says.
func upright(img *image.RGBA, turn int) *image.RGBA {
	if turn < 2 || turn > 8 {
		return img
	}
	w, h := img.Rect.Dx(), img.Rect.Dy()
	size := image.Rect(0, 0, w, h)
	if turn >= 5 {
		size = image.Rect(0, 0, h, w)
	}
	out := image.NewRGBA(size)
	for y := range size.Dy() {
		for x := range size.Dx() {
			out.SetRGBA(x, y, img.RGBAAt(from(turn, x, y, w, h)))
		}
	}
	return out
}

// from gives the point of the stored picture of w by h that is seen at (x, y).
func from(turn, x, y, w, h int) (int, int) {
	switch turn {
	case 2:
		return w - 1 - x, y
	case 3:
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6:
		return y, h - 1 - x
	case 7:
		return w - 1 - y, h - 1 - x
	}
	return w - 1 - y, x // 8
}

// orientation reads the one thing that is needed of a JPEG's Exif: tag 0x0112 of
// its first directory (Exif 2.3, section 4.6.4; from memory, no source here); 1
// where there is none.
func orientation(file []byte) int {
	const marker, exif = 0xe1, "Exif\x00\x00"
	for i := 2; i+4 <= len(file) && file[i] == 0xff; {
		n := int(binary.BigEndian.Uint16(file[i+2:]))
		end := i + 2 + n
		if n < 2 || end > len(file) || file[i+1] == 0xda { // the picture itself begins
			return 1
		}
		if body := file[i+4 : end]; file[i+1] == marker && bytes.HasPrefix(body, []byte(exif)) {
			return tiffOrientation(body[len(exif):])
		}
		i = end
	}
	return 1
}

func tiffOrientation(t []byte) int {
	if len(t) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.BigEndian
	if t[0] == 'I' {
		order = binary.LittleEndian
	}
	at := int64(order.Uint32(t[4:]))
	if at+2 > int64(len(t)) {
		return 1
	}
	n := int64(order.Uint16(t[at:]))
	for k := range n {
		e := at + 2 + 12*k
		if e+12 > int64(len(t)) {
			return 1
		}
		if order.Uint16(t[e:]) == 0x0112 {
			if v := int(order.Uint16(t[e+8:])); v >= 1 && v <= 8 {
				return v
			}
			return 1
		}
	}
	return 1
}
