package sheet

import (
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
)

// Measures of a page in mm and of letters in points.
const (
	pageWidth = 210.0
	pageHigh  = 297.0
	margin    = 16.0
	lineHigh  = 4.6
	small     = 8.0
	plainSize = 9.5
	headSize  = 12.0
	titleSize = 17.0
)

// PDF writes the sheet on A4. The same sheet and time (when the record was closed)
// make the same bytes.
func (s Sheet) PDF(w io.Writer, made time.Time) error {
	p := paper{fpdf.New("P", "mm", "A4", "")}
	p.SetCatalogSort(true)
	p.SetCreationDate(made.UTC())
	p.SetModificationDate(made.UTC())
	p.SetProducer("laycast", true)
	p.SetTitle(s.Title, true)
	p.SetMargins(margin, margin, margin)
	p.SetAutoPageBreak(true, margin+4)
	p.AddUTF8FontFromBytes("go", "", goregular.TTF)
	p.AddUTF8FontFromBytes("go", "B", gobold.TTF)
	p.SetFooterFunc(func() {
		p.SetY(-margin + 2)
		p.letters("", small, 110)
		p.CellFormat(0, lineHigh, fmt.Sprintf("%s  -  page %d", s.Title, p.PageNo()), "", 0, "C", false, 0, "")
	})
	p.AddPage()
	p.letters("B", titleSize, 0)
	p.MultiCell(0, 8, drawable(s.Title), "", "L", false)
	p.letters("", plainSize+1, 0)
	for _, x := range s.Lede {
		p.MultiCell(0, 5.4, drawable(x), "", "L", false)
	}
	p.Ln(2)
	for _, f := range s.Facts {
		p.letters("B", plainSize, 60)
		p.CellFormat(34, lineHigh+.6, f[0], "", 0, "L", false, 0, "")
		p.letters("", plainSize, 0)
		p.MultiCell(0, lineHigh+.6, drawable(f[1]), "", "L", false)
	}
	for _, x := range s.Parts {
		p.table(x)
	}
	p.Ln(4)
	p.letters("", small, 60)
	for _, x := range s.Foot {
		p.MultiCell(0, 4, drawable(x), "", "L", false)
		p.Ln(1)
	}
	if err := p.Output(w); err != nil {
		return fmt.Errorf("write the record as PDF: %w", err)
	}
	return nil
}

type paper struct{ *fpdf.Fpdf }

func (p paper) letters(style string, size float64, grey int) {
	p.SetFont("go", style, size)
	p.SetTextColor(grey, grey, grey)
}

// table draws a part; columns are as wide as what stands in them, the widest giving
// way where the page is too narrow.
func (p paper) table(x Part) {
	if p.GetY() > 245 {
		p.AddPage()
	}
	p.Ln(4)
	p.letters("B", headSize, 0)
	p.CellFormat(0, 6, x.Title, "", 1, "L", false, 0, "")
	p.letters("", small, 90)
	p.MultiCell(0, 4, x.Note, "", "L", false)
	if len(x.Rows) == 0 {
		p.letters("", plainSize, 0)
		p.CellFormat(0, 5, "none", "", 1, "L", false, 0, "")
		return
	}
	wide := p.widths(x)
	p.row(x.Head, wide, "B", "B")
	for _, r := range x.Rows {
		if p.room(r, wide) {
			p.row(x.Head, wide, "B", "B") // the head again on the next page
		}
		p.row(r, wide, "", "")
	}
}

func (p paper) widths(x Part) []float64 {
	p.letters("B", small, 0)
	wide, sum := make([]float64, len(x.Head)), 0.0
	for _, r := range append([][]string{x.Head}, x.Rows...) {
		for i, c := range r {
			wide[i] = max(wide[i], p.GetStringWidth(drawable(c))+4)
		}
	}
	for _, w := range wide {
		sum += w
	}
	for room := pageWidth - 2*margin; sum > room; { // the widest gives way
		k := 0
		for i := range wide {
			if wide[i] > wide[k] {
				k = i
			}
		}
		cut := min(sum-room, max(wide[k]/4, 1))
		wide[k], sum = wide[k]-cut, sum-cut
	}
	return wide
}

// room begins a new page where a row does not fit on this one, and says so.
func (p paper) room(cells []string, wide []float64) bool {
	p.letters("", small, 0)
	most := 1
	for i, c := range cells {
		most = max(most, len(p.SplitText(drawable(c), wide[i])))
	}
	if p.GetY()+float64(most)*lineHigh > pageHigh-margin-4 {
		p.AddPage()
		return true
	}
	return false
}

// row draws one row, cells broken into lines where they do not fit.
func (p paper) row(cells []string, wide []float64, style, border string) {
	p.letters(style, small, 0)
	lines, most := make([][]string, len(cells)), 1
	for i, c := range cells {
		lines[i] = p.SplitText(drawable(c), wide[i])
		most = max(most, len(lines[i]))
	}
	for k := range most {
		last := k == most-1
		for i := range cells {
			text, b := "", ""
			if k < len(lines[i]) {
				text = lines[i][k]
			}
			if last {
				b = border
			}
			p.CellFormat(wide[i], lineHigh, text, b, 0, "L", false, 0, "")
		}
		p.Ln(lineHigh)
	}
}

// drawable leaves what the page's letters cannot show as a question mark: they
// have Latin, Greek and Cyrillic, and nothing beyond the basic plane.
func drawable(s string) string {
	return strings.Map(func(r rune) rune {
		if r > 0x2fff {
			return '?'
		}
		return r
	}, s)
}
