package db

import (
	"context"
	"fmt"
	"time"

	"laycast/scheduler/plan"
)

// WeeksSince gives the plan that was in force at a time, and all that were made
// after it, oldest first; without the former where there was none yet.
func (d *DB) WeeksSince(ctx context.Context, uid string, since time.Time) ([]plan.Week, error) {
	ws, err := collect(ctx, d.reader, body[plan.Week], `SELECT body FROM weeks WHERE firm = $1 AND revision >= COALESCE(
		(SELECT MAX(revision) FROM weeks WHERE firm = $1 AND made <= $2), 0) ORDER BY revision`, text(uid), ms(since))
	if err != nil {
		return nil, fmt.Errorf("read the plans of firm %q: %w", uid, err)
	}
	return ws, nil
}
