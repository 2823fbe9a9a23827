package archive

import (
	"archive/tar"
	"bufio"
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// Reader reads a file from front to back.
type Reader struct {
	Contents
	tar  *tar.Reader
	next int
}

// Open reads the contents of a file.
func Open(r io.Reader) (*Reader, error) {
	t := tar.NewReader(r)
	h, err := t.Next()
	if err != nil {
		return nil, fmt.Errorf("this is no file of laycast backup: %w", err)
	}
	if h.Name != contents || h.Size > maxContents {
		return nil, fmt.Errorf("this is no file of laycast backup: it begins with %q", h.Name)
	}
	b, err := io.ReadAll(t)
	if err != nil {
		return nil, fmt.Errorf("read its contents: %w", err)
	}
	out := &Reader{tar: t}
	// the version first: a newer one may hold what is not known here
	var version struct {
		Format int `json:"format"`
	}
	if err := json.Unmarshal(b, &version); err != nil {
		return nil, fmt.Errorf("read its contents: %w", err)
	}
	if version.Format <= Format {
		d := json.NewDecoder(bytes.NewReader(b))
		d.DisallowUnknownFields()
		if err := d.Decode(&out.Contents); err != nil {
			return nil, fmt.Errorf("read its contents: %w", err)
		}
	}
	out.Format = version.Format
	return out, out.check()
}

// Next reads the next table and hands its rows to take; it gives io.EOF after
// the last. A table is right only when Next returns without an error: what was
// taken before must then be given up.
func (r *Reader) Next(take func(Table, Row) error) error {
	if r.next == len(r.Tables) {
		if _, err := r.tar.Next(); err != io.EOF {
			return errors.New("there is more in the file than its contents say")
		}
		return io.EOF
	}
	t := r.Tables[r.next]
	r.next++
	h, err := r.tar.Next()
	if err == io.EOF {
		return fmt.Errorf("the file ends before table %s: it was cut short", t.Name)
	}
	if err != nil {
		return fmt.Errorf("read table %s: %w", t.Name, err)
	}
	if h.Name != fileName(t.Name) || h.Size != t.Bytes {
		return fmt.Errorf("%s of %d bytes stands where %s of %d bytes should", h.Name, h.Size, fileName(t.Name), t.Bytes)
	}
	return r.table(t, take)
}

func (r *Reader) table(t Table, take func(Table, Row) error) error {
	sum := sha256.New()
	lines := bufio.NewReaderSize(io.TeeReader(r.tar, sum), 64<<10)
	var n int64
	for {
		line, err := readLine(lines)
		if err == io.EOF {
			break
		}
		n++
		var row Row
		if err == nil {
			row, err = parseRow(line, t)
		}
		if err != nil {
			return fmt.Errorf("line %d of %s: %w", n, fileName(t.Name), err)
		}
		if err := take(t, row); err != nil {
			return fmt.Errorf("line %d of %s: %w", n, fileName(t.Name), err)
		}
	}
	if got := hex.EncodeToString(sum.Sum(nil)); got != t.SHA256 || n != t.Rows {
		return fmt.Errorf("%s is not what was written: it has %d lines and the sum %s, not %d and %s", fileName(t.Name), n, got, t.Rows, t.SHA256)
	}
	return nil
}
