package db

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"time"

	"github.com/jackc/pgx/v5/pgconn"
	"modernc.org/sqlite"
)

// tries is how often a transaction is begun that the database undid for reasons
// of its own: once for each connection of the pool, which a restarted server
// leaves dead, and once for a new one.
const tries = connections + 2

// How long to wait for another process's SQLite transaction. The wait for the
// right to write is cut into turns: SQLite looks ever more seldom the longer it
// has waited, up to ten times a second, so that among busy processes the oldest
// waiter comes last (seen: eight of them, one starved for 10 s). With each turn
// it begins anew. The lengths are ours, no source.
const (
	patience = 10 * time.Second
	turn     = 50 * time.Millisecond
	turns    = 600
)

// begin begins a transaction that writes.
func (d *DB) begin(ctx context.Context) (*sql.Tx, error) {
	for n := 1; ; n++ {
		tx, err := d.writer.BeginTx(ctx, nil)
		if err == nil || !busy(err) {
			return tx, err
		}
		if n == turns {
			return nil, fmt.Errorf("wait to write to %s, where another process has been writing for long: %w", d.name, err)
		}
	}
}

// busy reports whether SQLite gave up waiting for another's lock.
func busy(err error) bool {
	const sqliteBusy = 5 // SQLITE_BUSY, the low byte of its kinds
	var e *sqlite.Error
	return errors.As(err, &e) && e.Code()&0xff == sqliteBusy
}

// write runs fn in one transaction, and again when the database undid it. fn
// must therefore set, not add to, what it hands out.
func (d *DB) write(ctx context.Context, fn func(tx *sql.Tx) error) error {
	for n := 1; ; n++ {
		undone, err := d.writeOnce(ctx, fn)
		d.noteFailure(err)
		if err == nil || n == tries || !undone {
			return err
		}
	}
}

// writeOnce also tells whether the database undid the transaction. A connection
// that is lost before the commit undoes it; one lost at the commit leaves it in
// doubt, which the caller has to know.
func (d *DB) writeOnce(ctx context.Context, fn func(tx *sql.Tx) error) (undone bool, err error) {
	tx, err := d.begin(ctx)
	if err != nil {
		return lost(err), err
	}
	if err := fn(tx); err != nil {
		// the transaction's own error matters, not that of giving it up
		_ = tx.Rollback()
		return lost(err) || clash(err), err
	}
	err = tx.Commit()
	return clash(err), err
}

// read runs fn on one snapshot of the database, and again when the connection
// was lost.
func (d *DB) read(ctx context.Context, fn func(tx *sql.Tx) error) error {
	for n := 1; ; n++ {
		err := d.readOnce(ctx, fn)
		d.noteFailure(err)
		if err == nil || n == tries || !lost(err) {
			return err
		}
	}
}

func (d *DB) readOnce(ctx context.Context, fn func(tx *sql.Tx) error) error {
	tx, err := d.reader.BeginTx(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true})
	if err != nil {
		return err
	}
	// nothing was written, so there is nothing to commit
	defer func() { _ = tx.Rollback() }()
	return fn(tx)
}

// pool is connections to the database.
type pool struct {
	*sql.DB
	of *DB
}

// noteFailure counts an error that is the database's own: what a transaction of
// ours refuses is none, nor is a caller that went away.
func (d *DB) noteFailure(err error) {
	var pg *pgconn.PgError
	var lite *sqlite.Error
	if err != nil && !errors.Is(err, context.Canceled) &&
		(errors.As(err, &pg) || errors.As(err, &lite) || lost(err) || errors.Is(err, context.DeadlineExceeded)) {
		d.failures.Add(1)
	}
}

// Failures counts the errors of the database since it was opened, those that were
// mended by trying again among them.
func (d *DB) Failures() int64 { return d.failures.Load() }

// clash reports whether the database undid a transaction for the sake of
// another: a deadlock or a serialization failure.
func clash(err error) bool {
	var pg *pgconn.PgError
	return errors.As(err, &pg) && (pg.Code == "40P01" || pg.Code == "40001")
}

// lost reports whether the connection to the server ended: cut, or told by the
// server that it ends (class 08, and 57P01 to 57P03, of PostgreSQL's codes).
func lost(err error) bool {
	var pg *pgconn.PgError
	if errors.As(err, &pg) {
		return strings.HasPrefix(pg.Code, "08") || strings.HasPrefix(pg.Code, "57P0")
	}
	var network net.Error
	return errors.As(err, &network) && !network.Timeout() || errors.Is(err, io.EOF) ||
		errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, driver.ErrBadConn) || pgconn.SafeToRetry(err)
}
