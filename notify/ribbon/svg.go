package ribbon

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// SVG draws the day for a page: the geometry of the PNG, without styles of its
// own. Its style sheet colours the classes ribbon-paper, -night, -rule, -middle,
// -careful, -closed, -hatch, -ink and -soft, sets the type of ribbon-text and
// ribbon-bold, and so follows the page into the dark and onto paper. id must be
// unlike that of any other picture on the page; the words of the picture are its
// description.
func (d Day) SVG(id string) (string, error) {
	f, err := newFaces()
	if err != nil {
		return "", err
	}
	s := layout(d, f)
	var b strings.Builder
	id = html.EscapeString(id)
	b.WriteString(`<svg class="ribbon" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ` + number(s.width) + " " + number(s.height) +
		`" role="img" aria-labelledby="` + id + "-t " + id + `-d">` + "\n")
	b.WriteString(`<title id="` + id + `-t">` + html.EscapeString("Hour ribbon: "+d.Title) + "</title>\n")
	b.WriteString(`<desc id="` + id + `-d">` + html.EscapeString(strings.Join(d.Words(), " ")) + "</desc>\n")
	for k := 0; k < len(s.shapes); { // shapes of one ink that follow each other are one path
		i := s.shapes[k].ink
		b.WriteString(`<path class="ribbon-` + i.class() + `" d="`)
		for ; k < len(s.shapes) && s.shapes[k].ink == i; k++ {
			writePath(&b, s.shapes[k].outline)
		}
		b.WriteString(`"/>` + "\n")
	}
	for _, l := range s.labels {
		writeLabel(&b, l)
	}
	b.WriteString("</svg>")
	return b.String(), nil
}

// Styled gives an SVG the colours of the PNG in a style sheet within it, for a
// file that stands alone. Pages use their own.
func Styled(svg string) string {
	var css strings.Builder
	css.WriteString("<style>.ribbon{background:#fff}.ribbon-text{font-family:sans-serif}.ribbon-bold{font-weight:600}")
	for i := range inks {
		c := shades[i]
		fmt.Fprintf(&css, ".ribbon-%s{fill:#%02x%02x%02x}", i.class(), c.R, c.G, c.B)
	}
	css.WriteString("</style>\n")
	return strings.Replace(svg, "<title", css.String()+"<title", 1)
}

func writePath(b *strings.Builder, outline []node) {
	put := func(ps ...point) {
		for k, p := range ps {
			if k > 0 {
				b.WriteByte(' ')
			}
			b.WriteString(number(p.x) + " " + number(p.y))
		}
	}
	for k, n := range outline {
		switch {
		case k == 0:
			b.WriteByte('M')
			put(n.p)
		case n.bent:
			b.WriteByte('C')
			put(n.a, n.b, n.p)
		default:
			b.WriteByte('L')
			put(n.p)
		}
	}
	b.WriteByte('Z')
}

func writeLabel(b *strings.Builder, l label) {
	class := "ribbon-text ribbon-" + l.ink.class()
	if l.bold {
		class += " ribbon-bold"
	}
	b.WriteString(`<text class="` + class + `" x="` + number(l.at.x) + `" y="` + number(l.at.y) + `" font-size="` + number(l.size) + `"`)
	if a := [...]string{left: "", right: "end"}[l.anchor]; a != "" {
		b.WriteString(` text-anchor="` + a + `"`)
	}
	b.WriteString(">" + html.EscapeString(l.text) + "</text>\n")
}

// number prints a length to a hundredth of a CSS pixel.
func number(v float64) string {
	v = math.Round(v*100) / 100
	if v == 0 {
		v = 0 // no "-0"
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}
