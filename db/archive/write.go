package archive

import (
	"archive/tar"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"hash"
	"io"
	"time"
)

// Rows gives the rows of table i of the contents to emit, in a fixed order.
type Rows func(i int, emit func(Row) error) error

// Write writes a file. rows is asked for every table twice, first to measure it:
// so nothing is put aside on a disk. Both times must give the same, or it
// fails. The Rows, Bytes and SHA256 of c.Tables are filled in; the same rows
// make the same bytes.
func Write(w io.Writer, c Contents, rows Rows) (Contents, error) {
	c.Format = Format
	c.Tables = append([]Table{}, c.Tables...)
	if c.Firms == nil {
		c.Firms = []string{}
	}
	if err := c.check(); err != nil {
		return c, err
	}
	for i := range c.Tables {
		m := &measure{w: io.Discard, sum: sha256.New()}
		if err := m.all(c.Tables[i], i, rows); err != nil {
			return c, err
		}
		m.note(&c.Tables[i])
	}
	head, err := json.MarshalIndent(c, "", "  ")
	if err != nil {
		return c, err
	}
	tw := tar.NewWriter(w)
	if err := begin(tw, contents, int64(len(head)+1)); err != nil {
		return c, err
	}
	if _, err := tw.Write(append(head, '\n')); err != nil {
		return c, err
	}
	for i, t := range c.Tables {
		if err := begin(tw, fileName(t.Name), t.Bytes); err != nil {
			return c, err
		}
		m, again := &measure{w: tw, sum: sha256.New()}, t
		if err := m.all(t, i, rows); err != nil {
			return c, err
		}
		if m.note(&again); again.SHA256 != t.SHA256 {
			return c, fmt.Errorf("table %s changed while it was written", t.Name)
		}
	}
	return c, tw.Close()
}

// begin begins a file in the tar. Its time is always the same: what is kept is
// named by its content alone.
func begin(tw *tar.Writer, name string, size int64) error {
	return tw.WriteHeader(&tar.Header{Typeflag: tar.TypeReg, Name: name, Mode: 0o600, Size: size, ModTime: time.Unix(0, 0), Format: tar.FormatPAX})
}

// measure writes rows and counts them.
type measure struct {
	w     io.Writer
	sum   hash.Hash
	rows  int64
	bytes int64
	line  []byte
}

func (m *measure) all(t Table, i int, rows Rows) error {
	return rows(i, func(r Row) (err error) {
		if m.line, err = appendRow(m.line[:0], t, r); err != nil {
			return err
		}
		if len(m.line) > maxRow {
			return fmt.Errorf("a row of %s is longer than %d bytes", t.Name, maxRow)
		}
		m.rows++
		m.bytes += int64(len(m.line))
		m.sum.Write(m.line)
		_, err = m.w.Write(m.line)
		return err
	})
}

func (m *measure) note(t *Table) {
	t.Rows, t.Bytes, t.SHA256 = m.rows, m.bytes, hex.EncodeToString(m.sum.Sum(nil))
}
