package db_test

import (
	"bytes"
	"compress/gzip"
	"database/sql"
	"errors"
	"io"
	"os"
	"slices"
	"strings"
	"testing"
	"time"

	"laycast/db"
	"laycast/db/archive"
	"laycast/db/pgtest"
	"laycast/job"
	"laycast/scheduler/ledger"
)

// schema7 is a backup of a database of schema 7 with a few rows of each table:
// an invented firm's, with text and bytes that are hard to carry.
func schema7(t testing.TB) []byte {
	t.Helper()
	f, err := os.Open("testdata/schema-7.tar.gz")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	b, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

const saltbox = "saltbox-laminates"

func openFresh(t testing.TB, dsn string) *db.DB {
	t.Helper()
	d, err := db.Open(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.Close() })
	return d
}

func backup(t testing.TB, d *db.DB, uid string) ([]byte, archive.Contents) {
	t.Helper()
	var b bytes.Buffer
	c, err := d.Backup(t.Context(), &b, uid)
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), c
}

func restore(t testing.TB, d *db.DB, file []byte, uid string) {
	t.Helper()
	if _, err := d.Restore(t.Context(), bytes.NewReader(file), uid); err != nil {
		t.Fatal(err)
	}
}

// counts gives the rows of each table.
func counts(c archive.Contents) map[string]int64 {
	out := map[string]int64{}
	for _, t := range c.Tables {
		out[t.Name] = t.Rows
	}
	return out
}

// A backup goes from engine to engine and back, from an old schema on, and each
// gives the same bytes again.
func TestBackupGoesBothWays(t *testing.T) {
	old := schema7(t)
	a, err := archive.Open(bytes.NewReader(old))
	if err != nil {
		t.Fatal(err)
	}
	lite := openFresh(t, freshSQLite(t))
	restore(t, lite, old, "")
	first, c := backup(t, lite, "")
	was, is := counts(a.Contents), counts(c)
	for name, n := range was {
		if n == 0 || is[name] != n {
			t.Errorf("table %s had %d rows and has %d", name, n, is[name])
		}
	}
	if c.Schema == a.Schema && !bytes.Equal(first, old) {
		t.Error("the same schema, and other bytes")
	}
	post := openFresh(t, pgtest.Start(t))
	restore(t, post, first, "")
	second, _ := backup(t, post, "")
	if !bytes.Equal(first, second) {
		t.Error("SQLite to PostgreSQL: another backup")
	}
	home := openFresh(t, freshSQLite(t))
	restore(t, home, second, "")
	third, _ := backup(t, home, "")
	if !bytes.Equal(first, third) {
		t.Error("PostgreSQL to SQLite: another backup")
	}
	again := openFresh(t, pgtest.Start(t)) // the old one as it is
	restore(t, again, old, "")
	if fourth, _ := backup(t, again, ""); !bytes.Equal(first, fourth) {
		t.Error("the old backup straight into PostgreSQL: another backup")
	}
}

// Every table of the schema is backed up, by its primary key and no other order.
func TestBackupLeavesNoTableOut(t *testing.T) {
	path := strings.TrimPrefix(plainSQLite(t), "sqlite:")
	d := openFresh(t, "sqlite:"+path)
	_, c := backup(t, d, "")
	raw, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = raw.Close() }()
	rows, err := raw.QueryContext(t.Context(), `SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'goose%' AND name NOT LIKE 'sqlite%'`)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = rows.Close() }()
	n := 0
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		n++
		if !slices.ContainsFunc(c.Tables, func(t archive.Table) bool { return t.Name == name }) {
			t.Errorf("table %s is not backed up: add it to keptTables", name)
		}
	}
	if err := rows.Err(); err != nil || n != len(c.Tables) {
		t.Errorf("%d tables are there and %d backed up: %v", n, len(c.Tables), err)
	}
	for name, key := range db.KeysForTest() {
		var pk []string
		cols, err := raw.QueryContext(t.Context(), `SELECT name FROM pragma_table_info('`+name+`') WHERE pk > 0 ORDER BY pk`)
		if err != nil {
			t.Fatal(err)
		}
		for cols.Next() {
			var col string
			if err := cols.Scan(&col); err != nil {
				t.Fatal(err)
			}
			pk = append(pk, col)
		}
		if err := errors.Join(cols.Err(), cols.Close()); err != nil || !slices.Equal(pk, key) {
			t.Errorf("table %s has the key %v, not %v (%v)", name, pk, key, err)
		}
	}
}

func plainSQLite(t testing.TB) string { return "sqlite:" + t.TempDir() + "/plain.db" }

// One firm of many comes out alone, with the forecasts of its places, and goes
// into a database where others live.
func TestBackupOfOneFirm(t *testing.T) {
	for _, dsn := range []string{freshSQLite(t), pgtest.Start(t)} {
		d := openFresh(t, dsn)
		restore(t, d, schema7(t), "")
		other := job.DefaultFirm()
		other.UID, other.Name, other.Zone, other.Email = "quay", "Quay Roofs", "Europe/Dublin", "office@quay.example"
		if _, err := d.SetFirm(t.Context(), other); err != nil {
			t.Fatal(err)
		}
		far := job.Job{ID: "Q1", Customer: job.Customer{Name: "Cobb", Email: "cobb@customer.example"}, Site: job.Site{Lat: 53.3, Lon: -6.2, ElevationM: 10}}
		if _, err := d.Import(t.Context(), "quay", job.Import{Jobs: []job.Job{far}}, time.Now()); err != nil {
			t.Fatal(err)
		}
		all, _ := backup(t, d, "")
		one, c := backup(t, d, saltbox)
		if bytes.Contains(one, []byte("cobb@")) || !bytes.Contains(all, []byte("cobb@")) {
			t.Error("one firm's backup holds another's customer, or the whole does not")
		}
		is := counts(c)
		if c.Whole || !slices.Equal(c.Firms, []string{saltbox}) || is["jobs"] != 2 || is["runs"] == 0 || is["chances"] == 0 || is["sources"] != 0 {
			t.Errorf("one firm's backup holds %v of %v", is, c.Firms)
		}
		quay, _ := backup(t, d, "quay")
		if bytes.Contains(quay, []byte("saltbox")) {
			t.Error("the other firm's backup holds the first one's rows")
		}
		// one firm out of the whole is what its own backup would be
		fresh := openFresh(t, freshSQLite(t))
		restore(t, fresh, all, saltbox)
		got, _ := backup(t, fresh, saltbox)
		if !bytes.Equal(got, one) {
			t.Error("a firm restored from the whole differs from its own backup")
		}
		restore(t, fresh, quay, "") // beside it
		if back, _ := backup(t, fresh, "quay"); !bytes.Equal(back, quay) {
			t.Error("the second firm differs")
		}
		if _, err := d.Backup(t.Context(), io.Discard, "nobody"); !errors.Is(err, db.ErrNotFound) || !strings.Contains(err.Error(), "quay, "+saltbox) {
			t.Errorf("a firm that is not there: %v", err)
		}
	}
}

// What is here is never overwritten.
func TestRestoreRefuses(t *testing.T) {
	for _, dsn := range []string{freshSQLite(t), pgtest.Start(t)} {
		d := openFresh(t, dsn)
		f := job.DefaultFirm()
		f.UID, f.Zone = saltbox, "America/Halifax"
		if _, err := d.SetFirm(t.Context(), f); err != nil {
			t.Fatal(err)
		}
		file := schema7(t)
		refused := func(file []byte, uid string, words ...string) {
			t.Helper()
			before, _ := backup(t, d, "")
			_, err := d.Restore(t.Context(), bytes.NewReader(file), uid)
			for _, w := range words {
				if err == nil || !strings.Contains(err.Error(), w) {
					t.Errorf("%v does not say %q", err, w)
				}
			}
			if after, _ := backup(t, d, ""); !bytes.Equal(before, after) {
				t.Error("something was written")
			}
		}
		refused(bytes.Replace(file, []byte(`"schema": 7,`), []byte(`"schema":99,`), 1), "", "version 99", "newer laycast")
		refused(bytes.Replace(file, []byte(`"format": 1,`), []byte(`"format": 9,`), 1), "", "version 9", "newer laycast")
		refused(bytes.Replace(file, []byte(`office@saltbox`), []byte(`0ffice@saltbox`), 1), "", "not what was written")
		refused(file[:len(file)/2], "", "")
		refused(file[:len(file)-8*1024], "", "EOF")
		refused(nil, "", "no file of laycast backup")
		refused(file, "nobody", `"nobody" is not in it`, saltbox)
		if _, err := d.Import(t.Context(), saltbox, job.Import{Crews: []job.Crew{{ID: "heron"}}}, time.Now()); err != nil {
			t.Fatal(err)
		}
		refused(file, "", saltbox, "with crews")
		if err := d.SetLife(t.Context(), saltbox, ledger.Live, time.Now()); err != nil {
			t.Fatal(err)
		}
		refused(file, "", saltbox, "has been run")
	}
}

// A firm that was set up and never used makes room for its backup.
func TestRestoreIntoAnInitialisedDatabase(t *testing.T) {
	d := openFresh(t, freshSQLite(t))
	f := job.DefaultFirm()
	f.UID, f.Zone = saltbox, "Europe/Dublin"
	if _, err := d.SetFirm(t.Context(), f); err != nil {
		t.Fatal(err)
	}
	restore(t, d, schema7(t), "")
	if got, err := d.Firm(t.Context(), saltbox); err != nil || got.Zone != "America/Halifax" {
		t.Errorf("the firm is %+v, %v", got, err)
	}
}
