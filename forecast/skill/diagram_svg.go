package skill

import (
	"fmt"
	"html"
	"io"
	"strings"
)

// svg collects the elements of a picture.
type svg struct{ b strings.Builder }

func newSVG(title string) *svg {
	s := &svg{}
	fmt.Fprintf(&s.b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" width="%g" height="%g" role="img" font-family="sans-serif">`+"\n",
		picW, picH, picW, picH)
	fmt.Fprintf(&s.b, "<title>%s</title>\n<rect width=\"100%%\" height=\"100%%\" fill=\"#fff\"/>\n", html.EscapeString(title))
	return s
}

func (s *svg) path(xy []point, width, dash float64) {
	s.b.WriteString(`<polyline fill="none" stroke="#000" points="` + coordinates(xy) + `"`)
	fmt.Fprintf(&s.b, ` stroke-width="%.4g"`, width)
	if dash > 0 {
		fmt.Fprintf(&s.b, ` stroke-dasharray="%.4g"`, dash)
	}
	s.b.WriteString("/>\n")
}

func (s *svg) fill(xy []point, grey float64) {
	g := int(grey*255 + 0.5)
	fmt.Fprintf(&s.b, `<polygon points="%s" fill="#%02x%02x%02x"/>`+"\n", coordinates(xy), g, g, g)
}

func (s *svg) text(x, y, size, anchor float64, t string) {
	side := map[float64]string{0: "start", 0.5: "middle", 1: "end"}[anchor]
	fmt.Fprintf(&s.b, `<text x="%.5g" y="%.5g" font-size="%.4g" text-anchor="%s">%s</text>`+"\n", x, y, size, side, html.EscapeString(t))
}

func (s *svg) finish(w io.Writer) error {
	_, err := io.WriteString(w, s.b.String()+"</svg>\n")
	return err
}

func coordinates(xy []point) string {
	parts := make([]string, len(xy))
	for i, p := range xy {
		parts[i] = fmt.Sprintf("%.5g,%.5g", p.x, p.y)
	}
	return strings.Join(parts, " ")
}
