package skill

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"
	"os"
	"strings"
	"testing"
)

func aDiagram() Diagram {
	ss := spread(rain24)
	return Diagram{
		Title: "Chance of rain <Tampere 2003>", Note: "n = 346; data set of the WWRP/WGNE verification site", Base: frequency(ss),
		Series: []Series{{"given", Reliability(ss, 10)}, {"as drawn", Reliability(drawn(300, 1, bold), 10)}},
	}
}

func TestDiagramSVGIsSoundAndHoldsEveryPoint(t *testing.T) {
	var b bytes.Buffer
	d := aDiagram()
	if err := d.SVG(&b); err != nil {
		t.Fatal(err)
	}
	texts, shapes := []string{}, 0
	for dec := xml.NewDecoder(&b); ; {
		tok, err := dec.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		switch e := tok.(type) {
		case xml.StartElement:
			if e.Name.Local == "polygon" {
				shapes++
			}
		case xml.CharData:
			texts = append(texts, string(e))
		}
	}
	if all := strings.Join(texts, "|"); !strings.Contains(all, d.Title) || !strings.Contains(all, "346") || !strings.Contains(all, "|59|") {
		t.Errorf("title, note or counts are missing: %q", all)
	}
	// a polygon for each point, each sample in the key, and each bar of counts
	if want := 2*len(d.Series[0].Bins) + len(d.Series[1].Bins) + 2; shapes != want {
		t.Errorf("%d shapes, want %d", shapes, want)
	}
}

// The picture of dots is black and white, and dark where a point stands.
func TestDiagramPNG(t *testing.T) {
	var b bytes.Buffer
	d := aDiagram()
	if err := d.PNG(&b); err != nil {
		t.Fatal(err)
	}
	if path := os.Getenv("DIAGRAM_PNG"); path != "" {
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	img, err := png.Decode(&b)
	if err != nil {
		t.Fatal(err)
	}
	if img.Bounds() != image.Rect(0, 0, 2*picW, 2*picH) || img.ColorModel() != color.GrayModel {
		t.Errorf("%v in %v", img.Bounds(), img.ColorModel())
	}
	grey := func(p point) uint8 { return img.At(int(2*p.x), int(2*p.y)).(color.Gray).Y }
	for _, bin := range d.Series[0].Bins {
		if g := grey(at(bin.Chance, bin.Freq)); g > 40 {
			t.Errorf("no point at %.2f, %.2f: grey %d", bin.Chance, bin.Freq, g)
		}
	}
	if g := grey(point{2, picH / 2}); g != 255 {
		t.Errorf("the margin is %d, want white", g)
	}
}

func TestDiagramOfNothing(t *testing.T) {
	var b bytes.Buffer
	d := Diagram{Title: "nothing yet", Base: math.NaN()}
	if err := errors.Join(d.SVG(&b), d.PNG(&b)); err != nil || b.Len() == 0 {
		t.Errorf("%d bytes, %v", b.Len(), err)
	}
}
