// Package db keeps the book, the decisions, the forecasts, the tasks and the
// messages in SQLite or PostgreSQL, with one SQL text for both. It owns every
// transaction: one method per use case, all of it or nothing. It decides
// nothing and never looks at the clock.
package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"sync"
	"sync/atomic"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
)

// ErrNotFound says that the firm, job, message or run asked for is not there.
var ErrNotFound = errors.New("not found")

// DB is an open database. It is safe for use by many goroutines; many
// processes may have the same database open.
type DB struct {
	name string // the DSN without its password
	// writer and reader are two pools on SQLite (one immediate connection;
	// several query-only ones), and the same pool on PostgreSQL.
	writer, reader *pool
	failures       atomic.Int64    // what Failures tells
	pg             *pgx.ConnConfig // nil on SQLite
	path           string          // of the SQLite file

	mu   sync.Mutex
	held map[string]func() error // SQLite: firms held by this DB, by uid
	lock *os.File                // SQLite: the lock file while any is held
}

// Sizes of the pools. Common practice, no source.
const (
	readers     = 4
	connections = 8
)

// Open opens the database that dsn names, "sqlite:PATH" or "postgres://…",
// creates what is missing and brings the schema up to date. It refuses a
// schema newer than this program. Errors name the DSN without its password.
func Open(ctx context.Context, dsn string) (*DB, error) {
	target, err := parseDSN(dsn)
	if err != nil {
		return nil, err
	}
	d := &DB{name: target.name, pg: target.pg, path: target.path, held: map[string]func() error{}}
	if d.pg != nil {
		d.openPostgres()
	} else if err := d.openSQLite(); err != nil {
		return nil, fmt.Errorf("open database %s: %w", d.name, err)
	}
	if err := d.migrate(ctx); err != nil {
		d.closePools()
		return nil, fmt.Errorf("open database %s: %w", d.name, err)
	}
	return d, nil
}

func (d *DB) openPostgres() {
	both := &pool{stdlib.OpenDB(*d.pg), d}
	both.SetMaxOpenConns(connections)
	both.SetMaxIdleConns(connections)
	both.SetConnMaxIdleTime(5 * time.Minute)
	d.writer, d.reader = both, both
}

func (d *DB) openSQLite() error {
	// created here so that nobody else on the machine can read customers'
	// addresses; SQLite gives its side files the same mode
	f, err := os.OpenFile(d.path, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return fmt.Errorf("%w; the folder must exist and be writable", err)
	}
	if err := f.Close(); err != nil {
		return err
	}
	writer, err := sql.Open("sqlite", sqliteURI(d.path, true, turn))
	if err != nil {
		return err
	}
	writer.SetMaxOpenConns(1)
	reader, err := sql.Open("sqlite", sqliteURI(d.path, false, patience))
	if err != nil {
		return errors.Join(err, writer.Close())
	}
	reader.SetMaxOpenConns(readers)
	reader.SetMaxIdleConns(readers)
	d.writer, d.reader = &pool{writer, d}, &pool{reader, d}
	return nil
}

// Close gives up every hold and closes the database.
func (d *DB) Close() error {
	d.mu.Lock()
	releases := make([]func() error, 0, len(d.held))
	for _, release := range d.held {
		releases = append(releases, release)
	}
	d.mu.Unlock()
	var errs []error
	for _, release := range releases {
		errs = append(errs, release())
	}
	return errors.Join(append(errs, d.closePools())...)
}

func (d *DB) closePools() error {
	if d.reader == d.writer {
		return d.writer.Close()
	}
	// the writer last, so that it is the one to fold SQLite's log back
	return errors.Join(d.reader.Close(), d.writer.Close())
}

// Ping reports whether the database answers.
func (d *DB) Ping(ctx context.Context) error {
	if _, _, err := one(ctx, d.reader, words, `SELECT 'here'`); err != nil {
		return fmt.Errorf("ask database %s: %w", d.name, err)
	}
	return nil
}

// forUpdate locks the rows of a SELECT on PostgreSQL; SQLite's transactions
// are immediate and need no more.
func (d *DB) forUpdate() string {
	if d.pg != nil {
		return " FOR UPDATE"
	}
	return ""
}

// skipLocked makes a SELECT lock its rows and pass over those that others hold.
func (d *DB) skipLocked(table string) string {
	if d.pg != nil {
		return " FOR UPDATE OF " + table + " SKIP LOCKED"
	}
	return ""
}
