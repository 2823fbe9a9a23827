package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"laycast/job/access"
)

// sessionRow is a session as it is looked at.
type sessionRow struct {
	seen time.Time
	body []byte
}

// Session gives what is kept of the session whose token has this hash; false
// where there is none or it is over: unused for access.SessionIdle, or begun
// access.SessionLasts ago. That it was used is noted once in a while.
func (d *DB) Session(ctx context.Context, uid, hash string, now time.Time) ([]byte, bool, error) {
	r, ok, err := one(ctx, d.reader, func(s scanner) (sessionRow, error) {
		var r sessionRow
		err := s.Scan(into(&r.seen), &r.body)
		return r, err
	}, `SELECT seen, body FROM sessions WHERE firm = $1 AND hash = $2 AND created > $3 AND seen > $4`,
		text(uid), text(hash), ms(now.Add(-access.SessionLasts)), ms(now.Add(-access.SessionIdle)))
	if err == nil && ok && now.Sub(r.seen) >= access.SessionTouch {
		_, err = d.execOne(ctx, `UPDATE sessions SET seen = $3 WHERE firm = $1 AND hash = $2 AND seen < $3`, text(uid), text(hash), ms(now))
	}
	if err != nil {
		return nil, false, fmt.Errorf("look up a session: %w", err)
	}
	return r.body, ok, nil
}

// PutSession keeps a session, a new one or what changed of one, and drops those
// that are over.
func (d *DB) PutSession(ctx context.Context, uid, hash string, body []byte, now time.Time) error {
	err := d.write(ctx, func(tx *sql.Tx) error {
		if err := dropSessions(ctx, tx, uid, now); err != nil {
			return err
		}
		_, err := exec(ctx, tx, `INSERT INTO sessions (hash, firm, created, seen, body) VALUES ($1, $2, $3, $3, $4)
			ON CONFLICT (hash) DO UPDATE SET body = excluded.body WHERE sessions.firm = excluded.firm`,
			text(hash), text(uid), ms(now), body)
		return err
	})
	if err != nil {
		return fmt.Errorf("keep a session of firm %q: %w", uid, err)
	}
	return nil
}

// dropSessions deletes a firm's sessions that are over.
func dropSessions(ctx context.Context, tx *sql.Tx, uid string, now time.Time) error {
	_, err := exec(ctx, tx, `DELETE FROM sessions WHERE firm = $1 AND (created <= $2 OR seen <= $3)`,
		text(uid), ms(now.Add(-access.SessionLasts)), ms(now.Add(-access.SessionIdle)))
	return err
}

// ForgetSignIns deletes a firm's sessions that are over, and who asked for sign-in
// links more than access.SignInsKept ago: anybody's address may stand there, and
// nobody may ask or sign in again for long.
func (d *DB) ForgetSignIns(ctx context.Context, uid string, now time.Time) error {
	err := d.write(ctx, func(tx *sql.Tx) error {
		if err := dropSessions(ctx, tx, uid, now); err != nil {
			return err
		}
		_, err := exec(ctx, tx, `DELETE FROM signins WHERE firm = $1 AND created < $2`, text(uid), ms(now.Add(-access.SignInsKept)))
		return err
	})
	if err != nil {
		return fmt.Errorf("forget old sign-ins of firm %q: %w", uid, err)
	}
	return nil
}

// EndSession drops a session; one that is not there is no error.
func (d *DB) EndSession(ctx context.Context, uid, hash string) error {
	if _, err := d.execOne(ctx, `DELETE FROM sessions WHERE firm = $1 AND hash = $2`, text(uid), text(hash)); err != nil {
		return fmt.Errorf("end a session of firm %q: %w", uid, err)
	}
	return nil
}
