package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/pressly/goose/v3"

	"laycast/db/archive"
	"laycast/job"
)

// Restore puts what Backup wrote into this database: all firms of the file, or
// (uid given) one of them, all or nothing. It refuses a firm that is here and
// was ever used, and a file of a newer schema. A file of an older schema is
// brought up to date in a database of its own first. Forecasts that are here
// already stay as they are.
func (d *DB) Restore(ctx context.Context, r io.Reader, uid string) (archive.Contents, error) {
	a, err := archive.Open(r)
	if err != nil {
		return archive.Contents{}, fmt.Errorf("restore: %w", err)
	}
	c := a.Contents
	// the version is known for sure: opening brought the schema up to it
	know, err := d.schema(ctx)
	switch {
	case err != nil:
	case a.Schema > know:
		err = fmt.Errorf("its schema is version %d and this laycast knows up to %d: use the newer laycast that wrote it", a.Schema, know)
	case uid != "" && !slices.Contains(a.Firms, uid):
		err = fmt.Errorf("firm %q is not in it; it holds %s", uid, strings.Join(a.Firms, ", "))
	case a.Schema < know:
		err = d.restoreOlder(ctx, a, uid)
	default:
		err = d.fill(ctx, a, uid)
	}
	if err != nil {
		return c, fmt.Errorf("restore into %s: %w", d.name, err)
	}
	if uid != "" {
		c.Firms = []string{uid}
	}
	return c, nil
}

func (d *DB) schema(ctx context.Context) (v int64, err error) {
	err = d.read(ctx, func(tx *sql.Tx) error {
		v, err = schemaOf(ctx, tx)
		return err
	})
	return v, err
}

// restoreOlder lays the file into a database of its own schema, migrates that,
// and restores what it then holds.
func (d *DB) restoreOlder(ctx context.Context, a *archive.Reader, uid string) (err error) {
	dir, err := os.MkdirTemp("", "laycast-restore-")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	stage := &DB{name: "a copy", path: filepath.Join(dir, "stage.db"), held: map[string]func() error{}}
	if err := stage.openSQLite(); err != nil {
		return err
	}
	defer func() { err = errors.Join(err, stage.closePools()) }()
	if err := upTo(ctx, stage.writer.DB, goose.DialectSQLite3, a.Schema); err != nil {
		return err
	}
	if err := stage.fill(ctx, a, ""); err != nil {
		return err
	}
	if err := stage.migrate(ctx); err != nil {
		return err
	}
	read, write := io.Pipe()
	wrote := make(chan error, 1)
	go func() {
		_, err := stage.Backup(ctx, write, "")
		_ = write.CloseWithError(err) // never fails
		wrote <- err
	}()
	b, err := archive.Open(read)
	if err == nil {
		err = d.fill(ctx, b, uid)
	}
	_ = read.CloseWithError(errors.New("nobody reads on"))
	if e := <-wrote; err == nil {
		err = e
	}
	return err
}

// fill writes the rows of a file in one transaction.
func (d *DB) fill(ctx context.Context, a *archive.Reader, uid string) error {
	firms := a.Firms
	if uid != "" {
		firms = []string{uid}
	}
	// not tried again when the database undid it: the file has been read
	_, err := d.writeOnce(ctx, func(tx *sql.Tx) error {
		f := &filling{d: d, tx: tx, firms: firms, one: uid != "", tables: map[string]keptTable{}}
		for _, t := range keptTables() {
			f.tables[t.name] = t
		}
		for _, firm := range firms {
			if err := f.makeRoom(ctx, firm); err != nil {
				return err
			}
		}
		for {
			err := a.Next(func(t archive.Table, row archive.Row) error { return f.put(ctx, t, row) })
			if e := f.endTable(); err == nil {
				err = e
			}
			if err == io.EOF {
				return f.whole()
			}
			if err != nil {
				return err
			}
		}
	})
	return err
}

// filling is a restore on its way.
type filling struct {
	d      *DB
	tx     *sql.Tx
	firms  []string
	one    bool // only what belongs to the one firm
	tables map[string]keptTable

	there int             // firms written
	cells map[string]bool // of the jobs written
	stmt  *sql.Stmt       // of the table that is being written
}

// makeRoom sees that a firm is not here, or was only set up and never used; such
// an empty one is taken away.
func (f *filling) makeRoom(ctx context.Context, firm string) error {
	life, some, err := one(ctx, f.tx, words, `SELECT life FROM firms WHERE uid = $1`+f.d.forUpdate(), text(firm))
	if err != nil || !some {
		return err
	}
	if life != "new" {
		return fmt.Errorf("firm %q is here already and has been run: restore into an empty database, and move the old one away first", firm)
	}
	for _, t := range f.tables {
		if t.name == "firms" || t.scope != ofFirm && t.scope != ofChance {
			continue
		}
		_, some, err := one(ctx, f.tx, words, `SELECT firm FROM `+t.name+` WHERE firm = $1 LIMIT 1`, text(firm))
		if err != nil {
			return err
		}
		if some {
			return fmt.Errorf("firm %q is here already, with %s: restore into an empty database, and move the old one away first", firm, t.name)
		}
	}
	_, err = exec(ctx, f.tx, `DELETE FROM firms WHERE uid = $1`, text(firm))
	return err
}

// put writes one row, if it belongs to what is asked for.
func (f *filling) put(ctx context.Context, t archive.Table, row archive.Row) error {
	kept, ok := f.tables[t.Name]
	if !ok {
		kept = keptTable{name: t.Name, scope: ofHost} // one that an older schema had
	}
	mine, err := f.mine(kept, t, row)
	if err != nil || !mine {
		return err
	}
	if f.stmt == nil {
		if err := f.beginTable(ctx, kept, t); err != nil {
			return err
		}
	}
	if _, err := f.stmt.ExecContext(ctx, row...); err != nil {
		return err
	}
	if t.Name == "firms" {
		f.there++
	}
	return nil
}

// mine reports whether a row belongs to what is asked for.
func (f *filling) mine(kept keptTable, t archive.Table, row archive.Row) (bool, error) {
	at := func(name string) string {
		i := slices.IndexFunc(t.Columns, func(c archive.Column) bool { return c.Name == name })
		if i < 0 {
			return ""
		}
		s, _ := row[i].(string)
		return s
	}
	firm := ""
	if kept.scope == ofFirm || kept.scope == ofChance {
		firm = at(kept.firmColumn())
	}
	switch {
	case firm != "":
		if known := slices.Contains(f.firms, firm); !known && !f.one {
			return false, fmt.Errorf("it is of firm %q, which the contents do not name", firm)
		} else if !known {
			return false, nil
		}
		if t.Name == "jobs" && f.one {
			return true, f.noteCell(at("body"))
		}
		return true, nil
	case kept.scope == ofFirm:
		return false, errors.New("it is of no firm")
	case !f.one || kept.scope == ofSource:
		return true, nil
	case kept.scope == ofHost:
		return false, nil
	}
	return f.cells[at("cell")], nil
}

func (f *filling) noteCell(body string) error {
	var b job.Booking
	if err := json.Unmarshal([]byte(body), &b); err != nil {
		return fmt.Errorf("read the job: %w", err)
	}
	if f.cells == nil {
		f.cells = map[string]bool{}
	}
	f.cells[cellOf(b)] = true
	return nil
}

// beginTable prepares the writing of a table's rows; its columns must be those
// that the schema has.
func (f *filling) beginTable(ctx context.Context, kept keptTable, t archive.Table) error {
	have, err := columnsOf(ctx, f.tx, t.Name)
	if err != nil {
		return err
	}
	if !slices.Equal(have, t.Columns) {
		return fmt.Errorf("table %s has other columns than a schema of this version: %v, not %v", t.Name, t.Columns, have)
	}
	var names, marks []string
	for i, c := range t.Columns {
		names, marks = append(names, c.Name), append(marks, "$"+strconv.Itoa(i+1))
	}
	query := `INSERT INTO ` + t.Name + ` (` + strings.Join(names, ", ") + `) VALUES (` + strings.Join(marks, ", ") + `)`
	if kept.scope != ofFirm {
		query += ` ON CONFLICT DO NOTHING` // what this database knows of a place or a source stands
	}
	f.stmt, err = f.tx.PrepareContext(ctx, query)
	return err
}

func (f *filling) endTable() error {
	if f.stmt == nil {
		return nil
	}
	err := f.stmt.Close()
	f.stmt = nil
	return err
}

// whole sees that every firm came.
func (f *filling) whole() error {
	if f.there != len(f.firms) {
		return fmt.Errorf("%d of %d firms are in the file", f.there, len(f.firms))
	}
	return nil
}
