package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"laycast/job"
)

// Unheard counts the evening calls of a firm, or (uid "") of all on the real
// clock, for days from `from` on, made before the given time, whose crew's
// message is not sent.
func (d *DB) Unheard(ctx context.Context, uid string, from job.Date, madeBefore time.Time) (int, error) {
	n := 0
	whose, args := `c.firm = $3`, []any{from.String(), ms(madeBefore), uid}
	if uid == "" {
		whose, args = onRealClock("c"), args[:2]
	}
	err := d.read(ctx, func(tx *sql.Tx) error {
		return tx.QueryRowContext(ctx, `SELECT COUNT(*) FROM calls c
			WHERE c.date >= $1 AND c.occasion = 'evening' AND c.made < $2 AND `+whose+` AND NOT EXISTS (
				SELECT 1 FROM messages m WHERE m.firm = c.firm AND m.job = c.job AND m.date = c.date
				AND m.kind = 'call' AND m.audience = 'crew' AND m.channel = 'mail' AND m.state IN ('sent', 'withdrawn'))`,
			args...).Scan(&n)
	})
	if err != nil {
		return 0, fmt.Errorf("count the calls of firm %q that were not heard: %w", uid, err)
	}
	return n, nil
}

// LastForecast gives when any source last answered, zero where none ever did.
func (d *DB) LastForecast(ctx context.Context) (time.Time, error) {
	states, err := d.SourceStates(ctx)
	if err != nil {
		return time.Time{}, err
	}
	last := time.Time{}
	for _, s := range states {
		if s.Good.After(last) {
			last = s.Good
		}
	}
	return last, nil
}
