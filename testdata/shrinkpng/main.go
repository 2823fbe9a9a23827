// Shrinkpng reduces PNG files to their 128 most frequent colours, in place, so
// that pictures of pages stay small. It is for `make mail-screens`.
package main

import (
	"bytes"
	"cmp"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"maps"
	"os"
	"slices"
)

func main() {
	for _, name := range os.Args[1:] {
		if err := shrink(name); err != nil {
			fmt.Fprintf(os.Stderr, "shrinkpng: %v\n", err)
			os.Exit(1)
		}
	}
}

func shrink(name string) error {
	b, err := os.ReadFile(name)
	if err != nil {
		return fmt.Errorf("read the picture: %w", err)
	}
	img, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		return fmt.Errorf("decode %s: %w", name, err)
	}
	count := map[color.NRGBA]int{}
	at := func(x, y int) color.NRGBA { return color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA) }
	r := img.Bounds()
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			count[at(x, y)]++
		}
	}
	key := func(c color.NRGBA) int { return int(c.R)<<16 | int(c.G)<<8 | int(c.B) }
	all := slices.SortedFunc(maps.Keys(count), func(a, b color.NRGBA) int {
		return cmp.Or(cmp.Compare(count[b], count[a]), cmp.Compare(key(a), key(b)))
	})
	var p color.Palette
	for _, c := range all[:min(len(all), 128)] {
		p = append(p, c)
	}
	index := map[color.NRGBA]uint8{}
	for _, c := range all {
		index[c] = uint8(p.Index(c))
	}
	out := image.NewPaletted(r, p)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			out.SetColorIndex(x, y, index[at(x, y)])
		}
	}
	var buf bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestCompression}
	if err := enc.Encode(&buf, out); err != nil {
		return fmt.Errorf("encode %s: %w", name, err)
	}
	fmt.Printf("%s: %d by %d, %d bytes\n", name, r.Dx(), r.Dy(), buf.Len())
	return os.WriteFile(name, buf.Bytes(), 0o644)
}
