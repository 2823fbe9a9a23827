package physics_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// row is one line of a check file, by column name.
type row map[string]string

// num reads a column as a number.
func (r row) num(t *testing.T, column string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil {
		t.Fatalf("column %s of %v is not a number: %v", column, r, err)
	}
	return v
}

// readChecks reads a file of published check values, which is not part of this
// repository: it looks for shared/checks beside a parent folder and skips the
// test where there is none.
func readChecks(t *testing.T, name string) []row {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		path := filepath.Join(dir, "shared", "checks", name)
		if f, err := os.Open(path); err == nil {
			defer f.Close()
			return parseRows(t, f)
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Skipf("no shared/checks/%s: lay the folder shared beside the repository for the whole file; the values written here still hold", name)
		}
		dir = up
	}
}

func parseRows(t *testing.T, f *os.File) []row {
	t.Helper()
	lines, err := csv.NewReader(f).ReadAll()
	if err != nil || len(lines) < 2 {
		t.Fatalf("read %s: %d lines, %v", f.Name(), len(lines), err)
	}
	rows := make([]row, 0, len(lines)-1)
	for _, line := range lines[1:] {
		r := row{}
		for i, column := range lines[0] {
			r[column] = line[i]
		}
		rows = append(rows, r)
	}
	return rows
}

// near fails unless got lies within tol of want. NaN is never near.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6g, want %.6g ± %.2g", what, got, want, tol)
	}
}

// atLeast fails when a loop over a file checked fewer rows than it should, so
// that a filter that matches nothing cannot pass.
func atLeast(t *testing.T, checked, want int) {
	t.Helper()
	if checked < want {
		t.Errorf("only %d rows were checked, want at least %d", checked, want)
	}
}

// scan reads two numbers such as "20_15" cut from a row's id.
func scan(t *testing.T, parts []string) []float64 {
	t.Helper()
	out := make([]float64, len(parts))
	for i, p := range parts {
		v, err := strconv.ParseFloat(p, 64)
		if err != nil {
			t.Fatalf("%q in an id is not a number", p)
		}
		out[i] = v
	}
	return out
}
