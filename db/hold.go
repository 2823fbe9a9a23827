package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"hash/fnv"
	"os"
	"sync"
	"time"

	"github.com/jackc/pgx/v5"
)

// errHeld says that somebody else has the lock.
var errHeld = errors.New("held by another process")

// Hold takes a firm for this process alone until release is called; it fails
// at once when another holds it. The operating system (SQLite: a lock on
// PATH.lock, for all firms of the file) or the server (PostgreSQL: a lock of a
// connection of its own) frees it when the process dies. On PostgreSQL it is
// also gone when that connection is cut, so writes are still fenced by leases
// and revisions.
func (d *DB) Hold(ctx context.Context, uid string) (release func(), err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.held[uid] != nil {
		return nil, fmt.Errorf("hold firm %q: this process holds it already", uid)
	}
	var free func() error
	if d.pg != nil {
		free, err = d.holdPostgres(ctx, uid)
	} else {
		free, err = d.holdSQLite()
	}
	if errors.Is(err, errHeld) {
		return nil, fmt.Errorf("hold firm %q: another laycast process has it in %s; end that one first", uid, d.name)
	}
	if err != nil {
		return nil, fmt.Errorf("hold firm %q: %w", uid, err)
	}
	let := sync.OnceValue(func() error {
		d.mu.Lock()
		defer d.mu.Unlock()
		delete(d.held, uid)
		return free()
	})
	d.held[uid] = let
	// a lock that cannot be given back ends with the process
	return func() { _ = let() }, nil
}

func (d *DB) holdPostgres(ctx context.Context, uid string) (func() error, error) {
	conn, err := pgx.ConnectConfig(ctx, d.pg.Copy())
	if err != nil {
		return nil, err
	}
	h := fnv.New64a()
	_, _ = h.Write([]byte("laycast hold " + text(uid))) // never fails
	var got bool
	err = conn.QueryRow(ctx, `SELECT pg_try_advisory_lock($1)`, int64(h.Sum64())).Scan(&got)
	if err == nil && !got {
		err = errHeld
	}
	closeIt := func() error { return conn.Close(context.WithoutCancel(ctx)) }
	if err != nil {
		return nil, errors.Join(err, closeIt())
	}
	return closeIt, nil
}

// holdSQLite takes the lock file once for all firms that this DB holds.
func (d *DB) holdSQLite() (func() error, error) {
	if d.lock == nil {
		f, err := lockFile(d.path + ".lock")
		if err != nil {
			return nil, err
		}
		d.lock = f
	}
	return func() error {
		if len(d.held) > 0 {
			return nil
		}
		f := d.lock
		d.lock = nil
		return unlockFile(f)
	}, nil
}

// FreeLeases frees every lease on a firm's tasks, messages and requests. Only whoever
// holds the firm may do that.
func (d *DB) FreeLeases(ctx context.Context, uid string) error {
	err := d.write(ctx, func(tx *sql.Tx) error {
		if _, err := firmOf(ctx, tx, uid, d.forUpdate()); err != nil {
			return err
		}
		_, err := exec(ctx, tx, `UPDATE tasks SET lease = '', lease_until = `+none+`,
			due = CASE WHEN armed_due < due THEN armed_due ELSE due END,
			slot = CASE WHEN armed_due < due THEN armed_slot ELSE slot END,
			armed_due = NULL, armed_slot = NULL
			WHERE firm = $1 AND lease <> ''`, text(uid))
		if err != nil {
			return err
		}
		_, err = exec(ctx, tx, `UPDATE messages SET lease = '', lease_until = `+none+`
			WHERE firm = $1 AND lease <> '' AND state IN ('pending', 'begun')`, text(uid))
		if err != nil {
			return err
		}
		_, err = exec(ctx, tx, `UPDATE allowances SET holder = '', task = '', held_until = `+none+` WHERE holder = $1`, text(uid))
		return err
	})
	if err != nil {
		return fmt.Errorf("free the leases of firm %q: %w", uid, err)
	}
	return nil
}

// CutLeases lets no lease on tasks and messages, of a firm or (uid "") of any that
// lives on the real clock, last beyond a time.
func (d *DB) CutLeases(ctx context.Context, uid string, until time.Time) error {
	for _, table := range []string{"tasks", "messages"} {
		where, args := ` WHERE lease <> '' AND lease_until > $1`, []any{ms(until)}
		if uid != "" {
			where, args = where+` AND firm = $2`, append(args, text(uid))
		} else {
			where += ` AND ` + onRealClock(table)
		}
		// asked at each wake and hardly ever needed: look before waiting for the
		// right to write
		_, some, err := one(ctx, d.reader, words, `SELECT firm FROM `+table+where+` LIMIT 1`, args...)
		if some && err == nil {
			_, err = d.execOne(ctx, `UPDATE `+table+` SET lease_until = $1`+where, args...)
		}
		if err != nil {
			return fmt.Errorf("cut leases on %s: %w", table, err)
		}
	}
	return nil
}

// openLock opens a lock file for everybody who may open the database.
func openLock(path string, flags int) (*os.File, error) {
	return os.OpenFile(path, os.O_RDWR|os.O_CREATE|flags, 0o600)
}
