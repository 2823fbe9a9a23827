// Package archive is the open format in which laycast's rows are carried from
// one database to another: a tar file of JSON lines, one file a table, with a
// table of contents before them. It knows nothing of what the rows mean and
// nothing of databases; docs/backup.md describes the format for others.
package archive

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Format is the version of the format that is written, and the newest that is
// read. It is raised when an older reader would misread a file.
const Format = 1

// contents is the name of the first file in the tar.
const contents = "contents.json"

// Bounds on what is read: a file from elsewhere must not fill the memory. The
// longest row is a mail with its pictures, far below a megabyte.
const (
	maxContents = 4 << 20
	maxRow      = 64 << 20
	maxTables   = 1000
)

// Contents is what a file holds.
type Contents struct {
	Format int      `json:"format"`
	Schema int64    `json:"schema"` // version of the tables
	Whole  bool     `json:"whole"`  // everything a database held, not some firms alone
	Firms  []string `json:"firms"`  // uids, in order
	Tables []Table  `json:"tables"` // in the order of the files
}

// Table is one file of rows.
type Table struct {
	Name    string   `json:"name"`
	Columns []Column `json:"columns"`
	Rows    int64    `json:"rows"`
	Bytes   int64    `json:"bytes"`
	SHA256  string   `json:"sha256"` // of the file, in hexadecimal
}

// Column is one column of a table.
type Column struct {
	Name string `json:"name"`
	Kind Kind   `json:"kind"`
}

// Kind is what a column holds.
type Kind string

// The kinds. Any of them may also be null.
const (
	Text   Kind = "text"   // string
	Number Kind = "number" // int64
	Bytes  Kind = "bytes"  // []byte; in the file base64
)

// Row is one row: nil, string, int64 or []byte for each column in order.
type Row []any

// check refuses contents that cannot be right.
func (c Contents) check() error {
	switch {
	case c.Format < 1:
		return errors.New("it does not say which version of the format it has")
	case c.Format > Format:
		return fmt.Errorf("its format is version %d and this laycast reads up to %d: use the newer laycast that wrote it", c.Format, Format)
	case c.Schema < 1:
		return errors.New("it does not say which version its tables have")
	case len(c.Tables) > maxTables:
		return fmt.Errorf("it lists %d tables, which cannot be right", len(c.Tables))
	}
	seen := map[string]bool{}
	for _, t := range c.Tables {
		if !plainName(t.Name) || seen[t.Name] || len(t.Columns) == 0 || t.Rows < 0 || t.Bytes < 0 {
			return fmt.Errorf("its table %q cannot be right", t.Name)
		}
		seen[t.Name] = true
		cols := map[string]bool{}
		for _, col := range t.Columns {
			if !plainName(col.Name) || cols[col.Name] || col.Kind != Text && col.Kind != Number && col.Kind != Bytes {
				return fmt.Errorf("column %q of its table %s cannot be right", col.Name, t.Name)
			}
			cols[col.Name] = true
		}
	}
	return nil
}

// plainName reports whether s is made of small letters, digits and underscores,
// so that it can stand in a path and in SQL as it is.
func plainName(s string) bool {
	return s != "" && len(s) <= 63 && strings.Trim(s, "abcdefghijklmnopqrstuvwxyz0123456789_") == ""
}

// fileName is the name of a table's file in the tar.
func fileName(table string) string { return table + ".jsonl" }

// appendRow writes a row as one line of JSON.
func appendRow(b []byte, t Table, r Row) ([]byte, error) {
	if len(r) != len(t.Columns) {
		return nil, fmt.Errorf("a row of %s has %d columns, not %d", t.Name, len(r), len(t.Columns))
	}
	b = append(b, '{')
	for i, v := range r {
		if i > 0 {
			b = append(b, ',')
		}
		col := t.Columns[i]
		b = append(append(append(b, '"'), col.Name...), '"', ':')
		ok := true
		switch v := v.(type) {
		case nil:
			b = append(b, "null"...)
		case string:
			var err error
			if ok = col.Kind == Text; ok {
				b, err = appendText(b, v)
			}
			if err != nil {
				return nil, fmt.Errorf("column %s of %s: %w", col.Name, t.Name, err)
			}
		case int64:
			ok = col.Kind == Number
			b = strconv.AppendInt(b, v, 10)
		case []byte:
			ok = col.Kind == Bytes
			b = append(base64.StdEncoding.AppendEncode(append(b, '"'), v), '"')
		default:
			ok = false
		}
		if !ok {
			return nil, fmt.Errorf("column %s of %s holds a %T, not %s", col.Name, t.Name, v, col.Kind)
		}
	}
	return append(b, '}', '\n'), nil
}

// appendText writes a string as JSON, and refuses one that JSON cannot carry.
func appendText(b []byte, s string) ([]byte, error) {
	if !utf8.ValidString(s) {
		return nil, errors.New("it holds bytes that are no text")
	}
	var buf bytes.Buffer
	e := json.NewEncoder(&buf)
	e.SetEscapeHTML(false)
	if err := e.Encode(s); err != nil {
		return nil, err
	}
	return append(b, bytes.TrimSuffix(buf.Bytes(), []byte("\n"))...), nil
}

// parseRow reads one line, which must hold every column and nothing else.
func parseRow(line []byte, t Table) (Row, error) {
	d := json.NewDecoder(bytes.NewReader(line))
	d.UseNumber()
	m := map[string]any{}
	if err := d.Decode(&m); err != nil {
		return nil, err
	}
	if _, err := d.Token(); err != io.EOF {
		return nil, errors.New("more than one value in a line")
	}
	row := make(Row, len(t.Columns))
	for i, col := range t.Columns {
		v, ok := m[col.Name]
		if !ok {
			return nil, fmt.Errorf("column %s is missing", col.Name)
		}
		delete(m, col.Name)
		var err error
		if row[i], err = value(v, col.Kind); err != nil {
			return nil, fmt.Errorf("column %s: %w", col.Name, err)
		}
	}
	for name := range m {
		return nil, fmt.Errorf("column %q is not in the contents", name)
	}
	return row, nil
}

func value(v any, k Kind) (any, error) {
	if v == nil {
		return nil, nil
	}
	switch k {
	case Number:
		if n, ok := v.(json.Number); ok {
			return strconv.ParseInt(n.String(), 10, 64)
		}
	case Text:
		if s, ok := v.(string); ok {
			return s, nil
		}
	case Bytes:
		if s, ok := v.(string); ok {
			return base64.StdEncoding.Strict().DecodeString(s)
		}
	}
	return nil, fmt.Errorf("it is a %T, not %s", v, k)
}

// readLine gives the next line without its end; io.EOF after the last.
func readLine(r *bufio.Reader) ([]byte, error) {
	var line []byte
	for {
		part, err := r.ReadSlice('\n')
		line = append(line, part...)
		switch {
		case len(line) > maxRow:
			return nil, fmt.Errorf("a line is longer than %d bytes", maxRow)
		case errors.Is(err, bufio.ErrBufferFull):
		case err == io.EOF && len(line) > 0:
			return nil, io.ErrUnexpectedEOF
		case err != nil:
			return nil, err
		default:
			return line[:len(line)-1], nil
		}
	}
}
