package job

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"unicode/utf8"
)

// Import is what an import file brings: crews and jobs in the file's order.
type Import struct {
	Crews []Crew
	Jobs  []Job
}

// Problem is one thing wrong with an import file, in words for whoever has to
// mend it.
type Problem struct {
	Row    string // `job 3 "J-003"`, or "file"
	Field  string // "site.lat", or "" for the row as a whole
	Reason string // "95 is not a latitude; give degrees from -90 to 90"
}

// String gives the problem on one line.
func (p Problem) String() string {
	if p.Field == "" {
		return p.Row + ": " + p.Reason
	}
	return p.Row + ": " + p.Field + ": " + p.Reason
}

// Problems are all the things wrong with an import file, in the file's order.
// A file with any problem is to be refused whole.
type Problems []Problem

// Error gives one line a problem.
func (ps Problems) Error() string {
	lines := make([]string, len(ps))
	for i, p := range ps {
		lines[i] = p.String()
	}
	return strings.Join(lines, "\n")
}

// Err gives the problems as an error, nil when there are none.
func (ps Problems) Err() error {
	if len(ps) == 0 {
		return nil
	}
	return ps
}

// Limits of an import file: far above any firm's book, far below what would
// trouble the machine. Common practice, no source.
const (
	maxImportBytes = 20 << 20
	maxImportRows  = 20_000
	maxRowValues   = 5_000
	maxRowProblems = 40
)

// DecodeImport reads the JSON import file of a firm: {"crews": […], "jobs":
// […]}. It is strict (unknown keys, wrong types and double keys are problems)
// and reports every problem of every row, not only the first. When there is
// any problem the Import is only what could be read and must not be used.
// Sites without a zone get the firm's.
func DecodeImport(r io.Reader, firm Firm) (Import, Problems) {
	d := &importDecoder{firm: firm, crewIDs: map[string]int{}, jobIDs: map[string]int{}}
	data, err := io.ReadAll(io.LimitReader(r, maxImportBytes+1))
	switch {
	case err != nil:
		d.file("", "could not be read: %v", err)
	case len(data) > maxImportBytes:
		d.file("", "larger than %d MB; divide it into several files and import them one after another", maxImportBytes>>20)
	default:
		d.decode(bytes.TrimPrefix(data, []byte("\xef\xbb\xbf")))
	}
	return d.out, d.problems
}

type importDecoder struct {
	firm            Firm
	out             Import
	problems        Problems
	crewIDs, jobIDs map[string]int // id to the row that had it first
	noun            string         // what a row is called; "" = crew or job
}

func (d *importDecoder) file(field, format string, args ...any) {
	d.problems = append(d.problems, Problem{"file", field, fmt.Sprintf(format, args...)})
}

func (d *importDecoder) decode(data []byte) {
	if at := firstBadUTF8(data); at >= 0 {
		d.file("", "%s: this is not UTF-8 text; save the file as UTF-8", place(data, at))
		return
	}
	// One pass for form alone: what follows may trust the brackets.
	var form json.RawMessage
	if err := json.Unmarshal(data, &form); err != nil {
		d.file("", "%s", syntaxReason(data, err))
		return
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	dec.UseNumber()
	if err := d.top(dec); err != nil {
		d.file("", "could not be read: %v", err)
	}
}

// top walks the outermost object row by row, so that only one row is held as a
// tree at a time.
func (d *importDecoder) top(dec *json.Decoder) error {
	tok, err := dec.Token()
	if err != nil {
		return err
	}
	if tok != json.Delim('{') {
		d.file("", `the file must be one object, {"crews": [...], "jobs": [...]}`)
		return nil
	}
	seen := map[string]bool{}
	for dec.More() {
		tok, err := dec.Token()
		if err != nil {
			return err
		}
		key, _ := tok.(string)
		if seen[key] {
			d.file(shown(key), "stands twice; keep one")
		}
		seen[key] = true
		if err := d.section(dec, key); err != nil {
			return err
		}
	}
	return nil
}

func (d *importDecoder) section(dec *json.Decoder, key string) error {
	var read func(*object)
	what := ""
	switch key {
	case "crews":
		what, read = "crew", d.crew
	case "jobs":
		what, read = "job", d.job
	default:
		d.file(shown(key), "unknown key%s", suggest(key, []string{"crews", "jobs"}))
	}
	tok, err := dec.Token()
	if err != nil {
		return err
	}
	if read == nil || tok != json.Delim('[') {
		if read != nil && tok != nil { // null is as good as absent
			d.file(key, "must be a list of %ss in [ ]", what)
		}
		budget := 0
		_, err := finish(dec, tok, &budget)
		return err
	}
	for n := 1; dec.More(); n++ {
		budget := maxRowValues
		v, err := readValue(dec, &budget)
		if err != nil {
			return err
		}
		switch {
		case n == maxImportRows+1:
			d.file(key, "more than %d rows; divide the file into several", maxImportRows)
		case n <= maxImportRows:
			d.row(what, n, v, budget < 0, read)
		}
	}
	_, err = dec.Token() // the closing bracket
	return err
}

// row reads one crew or job.
func (d *importDecoder) row(what string, n int, v value, tooMany bool, read func(*object)) {
	o := &object{row: &rowReader{name: fmt.Sprintf("%s %d", what, n), n: n, problems: &d.problems}, v: v}
	if id := v.get("id"); id != nil && id.kind == textValue {
		o.row.name += fmt.Sprintf(" %q", cut(clean(id.text), 60))
	}
	switch {
	case tooMany:
		o.complain("", "more than %d values in one row", maxRowValues)
	case v.kind != objectValue:
		o.complain("", "must be an object in { }, not %s", v.kind)
	default:
		read(o)
	}
}

// firstBadUTF8 gives the offset of the first byte that is not UTF-8, or -1.
func firstBadUTF8(b []byte) int {
	if utf8.Valid(b) {
		return -1
	}
	for i := 0; i < len(b); {
		r, n := utf8.DecodeRune(b[i:])
		if r == utf8.RuneError && n == 1 {
			return i
		}
		i += n
	}
	return -1
}

// place gives "line 3, column 14" of an offset; columns count characters.
func place(data []byte, at int) string {
	at = min(max(at, 0), len(data))
	head := data[:at]
	line := 1 + bytes.Count(head, []byte("\n"))
	col := 1 + utf8.RuneCount(head[bytes.LastIndexByte(head, '\n')+1:])
	return fmt.Sprintf("line %d, column %d", line, col)
}

func syntaxReason(data []byte, err error) string {
	var bad *json.SyntaxError
	if !errors.As(err, &bad) {
		return fmt.Sprintf("this is not JSON: %v", err)
	}
	if len(bytes.TrimSpace(data)) == 0 {
		return `the file is empty; it must be one object, {"crews": [...], "jobs": [...]}`
	}
	at := int(bad.Offset)
	if at < len(data) || !strings.Contains(bad.Error(), "unexpected end") {
		at-- // Offset counts the offending byte itself
	}
	return fmt.Sprintf("%s: this is not JSON: %v", place(data, at), bad)
}
