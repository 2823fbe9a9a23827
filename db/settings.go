package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"laycast/job"
	"laycast/scheduler/ledger"
)

// Settings gives the settings of a firm that were changed by the pages; none
// where nothing was.
func (d *DB) Settings(ctx context.Context, uid string) (job.Edits, error) {
	e, _, err := one(ctx, d.reader, body[job.Edits], `SELECT body FROM settings WHERE firm = $1 ORDER BY n DESC LIMIT 1`, text(uid))
	if err != nil {
		return nil, fmt.Errorf("read the settings of firm %q: %w", uid, err)
	}
	return e, nil
}

// SettingsRevision gives the number of the settings in force, 0 where the pages
// never made any.
func (d *DB) SettingsRevision(ctx context.Context, uid string) (int64, error) {
	n, _, err := one(ctx, d.reader, scanInt, `SELECT COALESCE(MAX(n), 0) FROM settings WHERE firm = $1`, text(uid))
	if err != nil {
		return 0, fmt.Errorf("read the revision of the settings of firm %q: %w", uid, err)
	}
	return n, nil
}

func scanInt(s scanner) (int64, error) {
	var n int64
	err := s.Scan(&n)
	return n, err
}

// PutSettings keeps changed settings as the newest revision of them, and the
// firm as they make it, in one transaction. The older ones stay. They were made
// from those of revision seen; where others came meanwhile, ledger.ErrMoved says
// so and nothing is kept.
func (d *DB) PutSettings(ctx context.Context, f job.Firm, e job.Edits, seen int64, who string, now time.Time) error {
	if who == "" {
		return errors.New("change settings: nobody is named")
	}
	edits, err := encode(e)
	if err != nil {
		return fmt.Errorf("change the settings of firm %q: %w", f.UID, err)
	}
	firm, err := encode(f)
	if err != nil {
		return fmt.Errorf("change the settings of firm %q: %w", f.UID, err)
	}
	err = d.write(ctx, func(tx *sql.Tx) error {
		if _, err := firmOf(ctx, tx, f.UID, d.forUpdate()); err != nil {
			return err
		}
		n, _, err := one(ctx, tx, scanInt, `SELECT COALESCE(MAX(n), 0) FROM settings WHERE firm = $1`, text(f.UID))
		switch {
		case err != nil:
			return err
		case n != seen:
			return ledger.ErrMoved
		}
		_, err = exec(ctx, tx, `INSERT INTO settings (firm, n, at, who, body)
			VALUES ($1, $2, $3, $4, $5)`, text(f.UID), n+1, ms(now), text(who), edits)
		if err != nil {
			return err
		}
		_, err = exec(ctx, tx, `UPDATE firms SET body = $2, revision = revision + 1 WHERE uid = $1`, text(f.UID), firm)
		return err
	})
	if err != nil {
		return fmt.Errorf("change the settings of firm %q: %w", f.UID, err)
	}
	return nil
}
