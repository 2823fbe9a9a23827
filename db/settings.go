package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"laycast/job"
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

// PutSettings keeps changed settings as the newest revision of them, and the
// firm as they make it, in one transaction. The older ones stay.
func (d *DB) PutSettings(ctx context.Context, f job.Firm, e job.Edits, who string, now time.Time) error {
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
		_, err := exec(ctx, tx, `INSERT INTO settings (firm, n, at, who, body)
			SELECT $1, COALESCE(MAX(n), 0) + 1, $2, $3, $4 FROM settings WHERE firm = $1`, text(f.UID), ms(now), text(who), edits)
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
