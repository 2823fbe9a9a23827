package archive_test

import (
	"bytes"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"

	"laycast/db/archive"
)

func sample() (archive.Contents, [][]archive.Row) {
	c := archive.Contents{Schema: 7, Whole: true, Firms: []string{"saltbox"}, Tables: []archive.Table{
		{Name: "jobs", Columns: []archive.Column{{Name: "id", Kind: archive.Text}, {Name: "n", Kind: archive.Number}, {Name: "wire", Kind: archive.Bytes}}},
		{Name: "none", Columns: []archive.Column{{Name: "id", Kind: archive.Text}}},
	}}
	return c, [][]archive.Row{{
		{"J1", int64(math.MinInt64), []byte{}},
		{"a \"b\" <c> & \u2028 \t\n é 🌧 \\", int64(math.MaxInt64), []byte{0, 255, '\n'}},
		{nil, nil, nil},
	}, nil}
}

func write(t testing.TB) []byte {
	t.Helper()
	c, rows := sample()
	var b bytes.Buffer
	if _, err := archive.Write(&b, c, from(rows)); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func from(rows [][]archive.Row) archive.Rows {
	return func(i int, emit func(archive.Row) error) error {
		for _, r := range rows[i] {
			if err := emit(r); err != nil {
				return err
			}
		}
		return nil
	}
}

// read reads a file whole.
func read(file []byte) (c archive.Contents, rows [][]archive.Row, err error) {
	r, err := archive.Open(bytes.NewReader(file))
	if err != nil {
		return c, nil, err
	}
	for i := 0; ; i++ {
		var some []archive.Row
		err := r.Next(func(_ archive.Table, row archive.Row) error { some = append(some, row); return nil })
		if err == io.EOF {
			return r.Contents, rows, nil
		}
		if err != nil {
			return c, nil, err
		}
		rows = append(rows, some)
	}
}

func TestWrittenIsRead(t *testing.T) {
	file := write(t)
	if !bytes.Equal(file, write(t)) {
		t.Error("the same rows make other bytes")
	}
	c, rows, err := read(file)
	if err != nil {
		t.Fatal(err)
	}
	_, want := sample()
	if !reflect.DeepEqual(rows, want) {
		t.Errorf("%#v\nwas read for\n%#v", rows, want)
	}
	if c.Format != archive.Format || c.Tables[0].Rows != 3 || c.Tables[1].Rows != 0 || !c.Whole {
		t.Errorf("contents %+v", c)
	}
}

// Any byte that changes and any length that is missing is noticed: but for the
// unused ends of the tar's blocks, what it says of owners, and the columns of a
// table that has no rows.
func TestDamageIsNoticed(t *testing.T) {
	file := write(t)
	whole, rows, err := read(file)
	if err != nil {
		t.Fatal(err)
	}
	for n := range len(file) - 1024 { // a tar ends with two empty blocks
		if _, _, err := read(file[:n]); err == nil {
			t.Fatalf("the first %d of %d bytes pass for the whole", n, len(file))
		}
	}
	for i := range file {
		bad := bytes.Clone(file)
		bad[i] ^= 0x15
		c, got, err := read(bad)
		if err == nil && (!reflect.DeepEqual(got, rows) || !reflect.DeepEqual(c.Tables[0], whole.Tables[0])) {
			t.Fatalf("byte %d was changed, and other rows were read: %v", i, got)
		}
	}
}

func TestRowsThatDoNotFitAreRefused(t *testing.T) {
	c, rows := sample()
	for name, row := range map[string]archive.Row{
		"too few": {"J1"}, "a number for text": {int64(1), int64(1), []byte{}}, "text for bytes": {"a", int64(1), "b"},
		"a float": {"a", 1.5, []byte{}}, "no text": {"\xff", int64(1), []byte{}},
	} {
		if _, err := archive.Write(io.Discard, c, from([][]archive.Row{{row}, nil})); err == nil {
			t.Errorf("%s: %v was written", name, row)
		}
	}
	n := 0
	moving := func(i int, emit func(archive.Row) error) error {
		if i == 0 {
			n++
			return emit(archive.Row{"J1", int64(n), []byte{}})
		}
		return nil
	}
	if _, err := archive.Write(io.Discard, c, moving); err == nil || !strings.Contains(err.Error(), "changed while") {
		t.Errorf("rows that changed between the passes: %v", err)
	}
	c.Tables[0].Name = "jobs; DROP TABLE jobs"
	if _, err := archive.Write(io.Discard, c, from(rows)); err == nil {
		t.Error("a name that is no name was written")
	}
}

// FuzzRead: whatever a file holds, reading it ends with rows of the kinds that
// its contents say, or an error; and what was read can be written again.
func FuzzRead(f *testing.F) {
	f.Add(write(f))
	f.Add([]byte("contents.json"))
	f.Fuzz(func(t *testing.T, file []byte) {
		c, rows, err := read(file)
		if err != nil {
			return
		}
		var b bytes.Buffer
		if _, err := archive.Write(&b, c, from(rows)); err != nil {
			t.Fatalf("what was read cannot be written: %v", err)
		}
		_, again, err := read(b.Bytes())
		if err != nil || !reflect.DeepEqual(rows, again) {
			t.Fatalf("%v was read again as %v, %v", rows, again, err)
		}
	})
}
