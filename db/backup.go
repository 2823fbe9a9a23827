package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"laycast/db/archive"
	"laycast/forecast"
	"laycast/job"
)

// scope says whose the rows of a table are.
type scope int

const (
	ofFirm   scope = iota // column firm (of table firms: uid)
	ofCell                // of a place, and everybody's who has sites there
	ofChance              // of a firm, or with firm = '' of a place
	ofSource              // of a source as a whole
	ofHost                // how this installation stands with its sources
)

// keptTable is a table as it is backed up.
type keptTable struct {
	name  string
	key   []string // its primary key: the order of its rows
	scope scope
}

// keptTables are all tables, those that others refer to first.
func keptTables() []keptTable {
	return []keptTable{
		{"firms", []string{"uid"}, ofFirm},
		{"settings", []string{"firm", "n"}, ofFirm},
		{"crews", []string{"firm", "id"}, ofFirm},
		{"jobs", []string{"firm", "id"}, ofFirm},
		{"visits", []string{"firm", "job", "n"}, ofFirm},
		{"weeks", []string{"firm", "id"}, ofFirm},
		{"calls", []string{"firm", "job", "date", "occasion"}, ofFirm},
		{"diary", []string{"firm", "id"}, ofFirm},
		{"records", []string{"firm", "seq"}, ofFirm},
		{"photos", []string{"firm", "job", "date", "id"}, ofFirm},
		{"tasks", []string{"firm", "name"}, ofFirm},
		{"links", []string{"firm", "audience", "id", "purpose"}, ofFirm},
		{"published", []string{"firm", "job", "n", "reader"}, ofFirm},
		{"messages", []string{"id"}, ofFirm},
		{"untold", []string{"id"}, ofFirm},
		{"stopped", []string{"firm", "person", "kind"}, ofFirm},
		{"signins", []string{"hash"}, ofFirm},
		{"sessions", []string{"hash"}, ofFirm},
		{"deeds", []string{"id"}, ofFirm},
		{"chances", []string{"source", "cell", "firm", "job", "date", "lead"}, ofChance},
		{"runs", []string{"source", "endpoint", "cell", "digest"}, ofCell},
		{"skill", []string{"source", "cell"}, ofCell},
		{"recals", []string{"source"}, ofSource},
		{"sources", []string{"source", "endpoint"}, ofHost},
		{"refused", []string{"source", "endpoint", "cell"}, ofHost},
		{"allowances", []string{"source"}, ofHost},
	}
}

// firmColumn gives the column that names the firm.
func (t keptTable) firmColumn() string {
	if t.name == "firms" {
		return "uid"
	}
	return "firm"
}

// Backup writes everything that the database holds, or (uid given) one firm and
// what belongs to it: its rows, and the forecasts, error statistics and chances
// of the places of its jobs. It is one moment of the database, whatever others
// write meanwhile. The same content makes the same bytes, on both engines.
func (d *DB) Backup(ctx context.Context, w io.Writer, uid string) (archive.Contents, error) {
	var c archive.Contents
	// not tried again when the connection is lost: w has been written to
	err := d.readOnce(ctx, func(tx *sql.Tx) (err error) {
		c, err = d.backup(ctx, tx, w, uid)
		return err
	})
	if err != nil {
		return c, fmt.Errorf("back up %s: %w", d.name, err)
	}
	return c, nil
}

func (d *DB) backup(ctx context.Context, tx *sql.Tx, w io.Writer, uid string) (archive.Contents, error) {
	c := archive.Contents{Whole: uid == ""}
	var err error
	if c.Schema, err = schemaOf(ctx, tx); err != nil {
		return c, err
	}
	if c.Firms, err = collect(ctx, tx, words, `SELECT uid FROM firms`); err != nil {
		return c, err
	}
	slices.Sort(c.Firms)
	var cells []string
	if uid != "" {
		if !slices.Contains(c.Firms, uid) {
			return c, fmt.Errorf("firm %q: %w; it holds %s", uid, ErrNotFound, strings.Join(c.Firms, ", "))
		}
		c.Firms = []string{uid}
		bookings, err := collect(ctx, tx, body[job.Booking], `SELECT body FROM jobs WHERE firm = $1`, text(uid))
		if err != nil {
			return c, err
		}
		cells = cellsOf(bookings)
	}
	var from []keptTable
	for _, t := range keptTables() {
		if uid != "" && t.scope == ofHost {
			continue
		}
		cols, err := columnsOf(ctx, tx, t.name)
		if err != nil {
			return c, err
		}
		c.Tables, from = append(c.Tables, archive.Table{Name: t.name, Columns: cols}), append(from, t)
	}
	return archive.Write(w, c, func(i int, emit func(archive.Row) error) error {
		where, args := whose(from[i], uid, cells)
		return d.rowsOf(ctx, tx, c.Tables[i], `SELECT * FROM `+from[i].name+where+d.inOrder(from[i], c.Tables[i]), args, emit)
	})
}

// cellsOf gives the cells of jobs, each once, in order.
func cellsOf(bookings []job.Booking) []string {
	var out []string
	for _, b := range bookings {
		out = append(out, cellOf(b))
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func cellOf(b job.Booking) string {
	return forecast.CellOf(b.Site.Lat, b.Site.Lon, b.Site.ElevationM).String()
}

// whose gives the condition on the rows that belong to a firm, "" = any.
func whose(t keptTable, uid string, cells []string) (string, []any) {
	if uid == "" || t.scope == ofSource {
		return "", nil
	}
	if t.scope == ofFirm {
		return ` WHERE ` + t.firmColumn() + ` = $1`, []any{text(uid)}
	}
	args, marks := []any{text(uid)}, []string{"''"} // no cell has this name, and a list may not be empty
	for _, c := range cells {
		args = append(args, c)
		marks = append(marks, "$"+strconv.Itoa(len(args)))
	}
	in := `cell IN (` + strings.Join(marks, ", ") + `)`
	if t.scope == ofChance {
		return ` WHERE (firm = $1 OR firm = '' AND ` + in + `)`, args
	}
	return ` WHERE $1 <> '' AND ` + in, args
}

// inOrder orders rows by their key, byte by byte whatever the server's language.
func (d *DB) inOrder(t keptTable, cols archive.Table) string {
	var by []string
	for _, k := range t.key {
		i := slices.IndexFunc(cols.Columns, func(c archive.Column) bool { return c.Name == k })
		if d.pg != nil && i >= 0 && cols.Columns[i].Kind == archive.Text {
			k += ` COLLATE "C"`
		}
		by = append(by, k)
	}
	return ` ORDER BY ` + strings.Join(by, ", ")
}

// rowsOf hands the rows of a query on.
func (d *DB) rowsOf(ctx context.Context, tx *sql.Tx, t archive.Table, query string, args []any, emit func(archive.Row) error) error {
	rows, err := tx.QueryContext(ctx, query, args...)
	if err != nil {
		return fmt.Errorf("read table %s: %w", t.Name, err)
	}
	defer func() { _ = rows.Close() }()
	row := make(archive.Row, len(t.Columns))
	into := make([]any, len(row))
	for i := range into {
		into[i] = &row[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return fmt.Errorf("read table %s: %w", t.Name, err)
		}
		for i, c := range t.Columns {
			row[i] = asKept(row[i], c.Kind)
		}
		if err := emit(row); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read table %s: %w", t.Name, err)
	}
	return nil
}

// asKept gives a value in the archive's terms: the drivers do not agree on how
// they hand out text and empty bytes.
func asKept(v any, k archive.Kind) any {
	switch {
	case k == archive.Bytes && v == nil: // no such column may be null
		return []byte{}
	case k == archive.Text:
		if s, err := asText(v); err == nil {
			return text(s)
		}
	}
	return v
}

// columnsOf gives the columns of a table in the order of SELECT *.
func columnsOf(ctx context.Context, tx *sql.Tx, table string) ([]archive.Column, error) {
	rows, err := tx.QueryContext(ctx, `SELECT * FROM `+table+` LIMIT 0`)
	if err != nil {
		return nil, fmt.Errorf("look at table %s: %w", table, err)
	}
	defer func() { _ = rows.Close() }()
	types, err := rows.ColumnTypes()
	if err != nil {
		return nil, fmt.Errorf("look at table %s: %w", table, err)
	}
	var out []archive.Column
	for _, t := range types {
		c := archive.Column{Name: t.Name()}
		switch t.DatabaseTypeName() {
		case "TEXT":
			c.Kind = archive.Text
		case "BIGINT", "INT8":
			c.Kind = archive.Number
		case "BYTEA":
			c.Kind = archive.Bytes
		default:
			return nil, fmt.Errorf("column %s of table %s is %s, which no backup carries", t.Name(), table, t.DatabaseTypeName())
		}
		out = append(out, c)
	}
	return out, rows.Err()
}

// schemaOf gives the version of the schema that a transaction sees.
func schemaOf(ctx context.Context, tx *sql.Tx) (int64, error) {
	var v sql.NullInt64
	if err := tx.QueryRowContext(ctx, `SELECT MAX(version_id) FROM goose_db_version WHERE is_applied`).Scan(&v); err != nil {
		return 0, fmt.Errorf("read schema version: %w", err)
	}
	if v.Int64 == 0 {
		return 0, errors.New("it has no schema yet")
	}
	return v.Int64, nil
}
