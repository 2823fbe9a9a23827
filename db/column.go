package db

import (
	"context"
	"crypto/rand"
	"database/sql"
	"database/sql/driver"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	"laycast/job"
)

// Millis is a time as the database keeps it: milliseconds since 1970 in UTC.
// The zero time is kept as none, its own number, and comes back as the zero
// time, so that "none" sorts before every real time.
type Millis time.Time

// none is the zero time in SQL.
const none = "-62135596800000"

// Value gives the number of milliseconds.
func (m Millis) Value() (driver.Value, error) { return time.Time(m).UnixMilli(), nil }

// Scan reads what Value gave.
func (m *Millis) Scan(src any) error {
	n, ok := src.(int64)
	if !ok {
		return fmt.Errorf("read a time: want a whole number of milliseconds, got %T", src)
	}
	*m = Millis(time.UnixMilli(n).UTC())
	return nil
}

// ms gives a time as an argument of a query.
func ms(t time.Time) int64 { return t.UnixMilli() }

// into gives the place of a time as a destination of a scan.
func into(t *time.Time) *Millis { return (*Millis)(t) }

// dateText is a civil date as the database keeps it.
type dateText job.Date

// Scan reads "2027-04-14", or "" for none.
func (d *dateText) Scan(src any) error {
	s, err := asText(src)
	if err != nil {
		return fmt.Errorf("read a date: %w", err)
	}
	return (*job.Date)(d).UnmarshalText([]byte(s))
}

// jsonText reads a JSON column into V. Not json.RawMessage: SQLite's driver
// gives strings, which do not scan into it.
type jsonText[T any] struct{ V T }

// Scan decodes the JSON.
func (j *jsonText[T]) Scan(src any) error {
	s, err := asText(src)
	if err != nil {
		return fmt.Errorf("read JSON: %w", err)
	}
	if err := json.Unmarshal([]byte(s), &j.V); err != nil {
		return fmt.Errorf("read JSON: %w", err)
	}
	return nil
}

func asText(src any) (string, error) {
	switch v := src.(type) {
	case string:
		return v, nil
	case []byte:
		return string(v), nil
	}
	return "", fmt.Errorf("want text, got %T", src)
}

// encode gives v as JSON text. It fails on numbers that are not finite, which
// therefore must not stand in anything that is kept.
func encode(v any) (string, error) {
	b, err := json.Marshal(v)
	if err != nil {
		return "", fmt.Errorf("write %T as JSON: %w", v, err)
	}
	return string(b), nil
}

// text gives s as both databases can keep it: PostgreSQL takes neither NUL nor
// broken UTF-8, so both become the replacement character on both engines.
func text[S ~string](s S) string {
	return strings.ReplaceAll(strings.ToValidUTF8(string(s), "\uFFFD"), "\x00", "\uFFFD")
}

// token names a new lease: 130 random bits.
func token() string { return rand.Text() }

// querier is a transaction or a pool.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

// scanner is one row.
type scanner interface{ Scan(dest ...any) error }

// collect runs a query and scans each of its rows. Outside a transaction it
// runs it again when the connection was lost.
func collect[T any](ctx context.Context, q querier, scan func(scanner) (T, error), query string, args ...any) ([]T, error) {
	p, outside := q.(*pool)
	for n := 1; ; n++ {
		out, err := collectOnce(ctx, q, scan, query, args...)
		if outside {
			p.of.noteFailure(err)
		}
		if err == nil || !outside || n == tries || !lost(err) {
			return out, err
		}
	}
}

func collectOnce[T any](ctx context.Context, q querier, scan func(scanner) (T, error), query string, args ...any) ([]T, error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	var out []T
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, v)
	}
	return out, rows.Err()
}

// one runs a query for at most one row.
func one[T any](ctx context.Context, q querier, scan func(scanner) (T, error), query string, args ...any) (T, bool, error) {
	all, err := collect(ctx, q, scan, query, args...)
	if err != nil || len(all) == 0 {
		var zero T
		return zero, false, err
	}
	return all[0], true, nil
}

// body scans a row of one JSON column.
func body[T any](s scanner) (T, error) {
	var j jsonText[T]
	err := s.Scan(&j)
	return j.V, err
}

// words scans a row of one text column.
func words(s scanner) (string, error) {
	var v string
	err := s.Scan(&v)
	return v, err
}

// each runs one statement for each of n sets of arguments and gives the number
// of rows that each touched. SQLite gains by preparing it once; PostgreSQL's
// driver keeps prepared statements by itself.
func (d *DB) each(ctx context.Context, tx *sql.Tx, n int, query string, args func(i int) ([]any, error)) ([]int64, error) {
	if n == 0 {
		return nil, nil
	}
	run := func(a []any) (sql.Result, error) { return tx.ExecContext(ctx, query, a...) }
	if d.pg == nil && n > 1 {
		stmt, err := tx.PrepareContext(ctx, query)
		if err != nil {
			return nil, err
		}
		defer func() { _ = stmt.Close() }()
		run = func(a []any) (sql.Result, error) { return stmt.ExecContext(ctx, a...) }
	}
	touched := make([]int64, n)
	for i := range n {
		a, err := args(i)
		if err != nil {
			return nil, err
		}
		res, err := run(a)
		if err != nil {
			return nil, err
		}
		if touched[i], err = res.RowsAffected(); err != nil {
			return nil, err
		}
	}
	return touched, nil
}

// exec runs one statement and gives the number of rows it touched.
func exec(ctx context.Context, e execer, query string, args ...any) (int64, error) {
	res, err := e.ExecContext(ctx, query, args...)
	if err != nil {
		return 0, err
	}
	return res.RowsAffected()
}

// execer is a transaction or a pool.
type execer interface {
	ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error)
}
