package job

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"strings"
)

// maxColumns is how many columns a file may have before it is taken for no
// import at all; maxListCell is the longest cell that is cut into a list: more
// would be over maxRowValues; maxCSVLine is the longest line. All common
// practice, no source.
const (
	maxColumns  = 1000
	maxListCell = 100_000
	maxCSVLine  = 1 << 20
)

// DecodeImportCSV reads a CSV import: a first row of column names, the fields
// of the JSON import with dots ("id,title,customer.name,site.lat,…"), and a
// row for each job, or crew where the column "row" says crew. A cell that is
// empty is a field that is not there. Columns are divided by commas, or by ";"
// where the first row has that and no comma. Lists: blackout, absences,
// skills and plan_b are divided by ";" or spaces (those with a ";" by that alone, so
// that one may be of two words), roof.edges are kind:length_m and needs
// what|lead_days|ordered, both divided by ";"; roof.shape is 5x4, or 5x4-2x1.5
// for an L. A cell that looks like a
// formula is plain text, and an apostrophe before one, by which WriteCSV and
// spreadsheets keep it from being run, is taken away.
//
// Every check is that of DecodeImport, and so are the problems; a row bears
// the number that a spreadsheet shows. The text must be UTF-8, at most 20 MB.
func DecodeImportCSV(r io.Reader, firm Firm) (Import, Problems) {
	d := &importDecoder{firm: firm, crewIDs: map[string]int{}, jobIDs: map[string]int{}, noun: "row"}
	data, err := io.ReadAll(io.LimitReader(r, maxImportBytes+1))
	switch {
	case err != nil:
		d.file("", "could not be read: %v", err)
	case len(data) > maxImportBytes:
		d.file("", "larger than %d MB; divide it into several files and import them one after another", maxImportBytes>>20)
	default:
		d.decodeCSV(data)
	}
	return d.out, d.problems
}

func (d *importDecoder) decodeCSV(data []byte) {
	if reason := foreign(data); reason != "" {
		d.file("", "%s", reason)
		return
	}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if at := firstBadUTF8(data); at >= 0 {
		d.file("", "%s: this is not UTF-8 text; save the file as CSV UTF-8", place(data, at))
		return
	}
	if n := longLine(data); n > 0 {
		d.file("", "line %d is longer than %d MB; this is no list of jobs", n, maxCSVLine>>20)
		return
	}
	s := newSheet(data)
	head, err := s.next()
	if errors.Is(err, io.EOF) {
		d.file("", "the file is empty; its first row must name the columns, such as id,title,customer.name")
		return
	}
	if err != nil {
		d.file("", "%s", csvReason(err))
		return
	}
	columns, ok := d.header(head)
	if !ok {
		return
	}
	for n := 0; ; n++ {
		cells, err := s.next()
		switch {
		case errors.Is(err, io.EOF):
			return
		case err != nil:
			d.file("", "%s", csvReason(err))
			return
		case n == maxImportRows:
			d.file("", "more than %d rows; divide the file into several", maxImportRows)
			return
		}
		d.csvRow(s.row, columns, cells)
	}
}

// longLine gives the number of the first line that is longer than maxCSVLine, 0
// when there is none: a line of nothing but commas would fill the memory.
func longLine(data []byte) int {
	n := 0
	for line := range bytes.Lines(data) {
		n++
		if len(line) > maxCSVLine {
			return n
		}
	}
	return 0
}

// foreign says what a file is that is plainly no UTF-8 CSV, or "".
func foreign(data []byte) string {
	switch {
	case bytes.HasPrefix(data, []byte("\xff\xfe")), bytes.HasPrefix(data, []byte("\xfe\xff")):
		return "this is UTF-16 text; save the file as CSV UTF-8"
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return "this is a spreadsheet or another packed file, not CSV; save the sheet as CSV UTF-8"
	case bytes.HasPrefix(bytes.TrimSpace(data), []byte("{")):
		return "this is JSON, not CSV; give the file a name that ends in .json"
	case bytes.IndexByte(data, 0) >= 0:
		return "this holds NUL characters, so it is not UTF-8 text; save the file as CSV UTF-8"
	}
	return ""
}

// csvReason puts a fault of form into words.
func csvReason(err error) string {
	var bad *csv.ParseError
	if !errors.As(err, &bad) {
		return fmt.Sprintf("could not be read as CSV: %v", err)
	}
	what := bad.Err.Error()
	switch {
	case errors.Is(bad.Err, csv.ErrQuote):
		what = `a quote is not closed or stands in the middle of a cell; put the whole cell in quotes and write each quote in it twice ("")`
	case errors.Is(bad.Err, csv.ErrBareQuote):
		what = `a quote stands in a cell that does not begin with one; put the whole cell in quotes and write each quote in it twice ("")`
	}
	return fmt.Sprintf("line %d, column %d: this is not CSV: %s", bad.Line, bad.Column, what)
}

// sheet reads the rows of a CSV file that hold anything, and knows their
// numbers as a spreadsheet shows them: lines, less the line ends within cells.
type sheet struct {
	csv    *csv.Reader
	row    int // of the cells that next gave
	inside int // line ends within cells so far
}

func newSheet(data []byte) *sheet {
	s := &sheet{csv: csv.NewReader(bytes.NewReader(data))}
	s.csv.FieldsPerRecord = -1 // rows of another length are named with the others
	first, _, _ := bytes.Cut(bytes.TrimLeft(data, "\r\n"), []byte("\n"))
	if bytes.IndexByte(first, ',') < 0 && bytes.IndexByte(first, ';') >= 0 {
		s.csv.Comma = ';'
	}
	return s
}

// next gives the cells of the next row that is not blank.
func (s *sheet) next() ([]string, error) {
	for {
		cells, err := s.csv.Read()
		if err != nil {
			return nil, err
		}
		line, _ := s.csv.FieldPos(0)
		s.row = line - s.inside
		blank := true
		for _, c := range cells {
			s.inside += strings.Count(c, "\n")
			blank = blank && strings.TrimSpace(c) == ""
		}
		if !blank {
			return cells, nil
		}
	}
}

// header reads the column names; a column that is not known is nil. ok is
// false when there is no use in reading on.
func (d *importDecoder) header(cells []string) (columns []*column, ok bool) {
	if len(cells) > maxColumns {
		d.file("", "the first row has %d columns; it must name the columns of an import, such as id,title,customer.name", len(cells))
		return nil, false
	}
	known := csvColumns()
	names := make([]string, len(known))
	byName := map[string]*column{}
	for i := range known {
		names[i], byName[known[i].name] = known[i].name, &known[i]
	}
	columns = make([]*column, len(cells))
	seen := map[string]bool{}
	var bad Problems
	found := 0
	for i, c := range cells {
		name := clean(c)
		if name == "" {
			continue // well, as long as its cells are empty too
		}
		col := byName[name]
		switch {
		case col == nil:
			bad = append(bad, Problem{"row 1", shown(name), "unknown column" + suggestColumn(name, names)})
		case seen[name]:
			bad = append(bad, Problem{"row 1", name, "stands twice; keep one column"})
		default:
			columns[i] = col
			found++
		}
		seen[name] = true
	}
	if found == 0 {
		d.file("", "the first row names no column of an import; it must name them, such as id,title,customer.name,customer.email,site.lat")
		return nil, false
	}
	if len(bad) > maxRowProblems {
		bad = append(bad[:maxRowProblems], Problem{"row 1", "", fmt.Sprintf("more than %d problems in this row; the rest is not listed", maxRowProblems)})
	}
	d.problems = append(d.problems, bad...)
	return columns, true
}

// suggestColumn gives the nearest name; where none is near by its letters, the
// one whose last part it is ("area_m2" for roof.area_m2).
func suggestColumn(name string, known []string) string {
	if Nearest(name, known) == "" {
		for _, k := range known {
			if _, last, dotted := strings.Cut(k, "."); dotted && Nearest(name, []string{last}) != "" {
				return fmt.Sprintf("; did you mean %q?", k)
			}
		}
	}
	return suggest(name, known)
}

// csvRow reads one row through the checks of the JSON import.
func (d *importDecoder) csvRow(n int, columns []*column, cells []string) {
	kind := ""
	for i, c := range columns {
		if c != nil && c.name == rowColumn && i < len(cells) {
			kind = strings.ToLower(clean(cells[i]))
		}
	}
	b := rowBuilder{root: value{kind: objectValue}}
	read := d.job
	switch kind {
	case "crew":
		read = d.crew
	case "", "job":
		// so that what is missing is named cell by cell
		for _, group := range []string{"customer", "site", "roof"} {
			b.group(group)
		}
	default:
		read = func(o *object) { o.complain(rowColumn, "%q is not known; write job or crew", cut(kind, 40)) }
	}
	for i, cell := range cells {
		switch {
		case strings.TrimSpace(cell) == "":
		case i >= len(columns):
			b.stray = append(b.stray, i)
		case columns[i] != nil && columns[i].name != rowColumn:
			if columns[i].kind != numberCell {
				cell = meant(strings.TrimSpace(cell))
			}
			b.put(*columns[i], cell)
		}
	}
	d.row("row", n, b.root, b.count > maxRowValues, func(o *object) {
		for _, i := range b.stray {
			o.complain("", "cell %d %q has no column; is a comma in a cell that is not in quotes?", i+1, cut(clean(cells[i]), 40))
		}
		read(o)
	})
}

// rowBuilder makes a row of cells into the object that the JSON import would
// have held.
type rowBuilder struct {
	root  value
	count int   // values so far
	stray []int // cells beyond the last column
}

// group gives the object under a key, made where it is not there yet.
func (b *rowBuilder) group(key string) *value {
	if v := b.root.get(key); v != nil {
		return v
	}
	b.root.keys, b.root.items = append(b.root.keys, key), append(b.root.items, value{kind: objectValue})
	return &b.root.items[len(b.root.items)-1]
}

func (b *rowBuilder) put(c column, cell string) {
	into, key := &b.root, c.name
	if head, rest, dotted := strings.Cut(c.name, "."); dotted {
		into, key = b.group(head), rest
	}
	if c.kind >= wordsCell && len(cell) > maxListCell {
		b.count = maxRowValues + 1
		return
	}
	v := cellValue(c.kind, cell)
	b.count += 1 + len(v.items)
	into.keys, into.items = append(into.keys, key), append(into.items, v)
}
