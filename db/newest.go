package db

import (
	"context"
	"fmt"

	"laycast/notify"
)

// NewestMessages reads the newest messages of a firm without their wire bytes,
// newest first, at most so many.
func (d *DB) NewestMessages(ctx context.Context, uid string, most int) ([]notify.Message, error) {
	ms, err := collect(ctx, d.reader, func(s scanner) (notify.Message, error) { return scanMessage(s) },
		`SELECT `+messageColumns+` FROM messages WHERE firm = $1 ORDER BY created DESC, id DESC LIMIT $2`, text(uid), most)
	if err != nil {
		return nil, fmt.Errorf("read the newest messages of firm %q: %w", uid, err)
	}
	return ms, nil
}

// JobMessages reads the newest messages about one job of a firm, without their
// wire bytes, newest first, at most so many.
func (d *DB) JobMessages(ctx context.Context, uid, job string, most int) ([]notify.Message, error) {
	ms, err := collect(ctx, d.reader, func(s scanner) (notify.Message, error) { return scanMessage(s) },
		`SELECT `+messageColumns+` FROM messages WHERE firm = $1 AND job = $2 ORDER BY created DESC, id DESC LIMIT $3`, text(uid), text(job), most)
	if err != nil {
		return nil, fmt.Errorf("read the messages about job %q of firm %q: %w", job, uid, err)
	}
	return ms, nil
}

// NewestUntold reads whom a firm did not tell something lately, newest first, at
// most so many.
func (d *DB) NewestUntold(ctx context.Context, uid string, most int) ([]notify.Untold, error) {
	us, err := collect(ctx, d.reader, func(s scanner) (notify.Untold, error) {
		var u notify.Untold
		err := s.Scan(&u.Firm, &u.Person, &u.Job, (*dateText)(&u.Date), into(&u.At), &u.Reason)
		return u, err
	}, `SELECT firm, person, job, date, at, reason FROM untold WHERE firm = $1 ORDER BY at DESC, id LIMIT $2`, text(uid), most)
	if err != nil {
		return nil, fmt.Errorf("read whom firm %q did not tell lately: %w", uid, err)
	}
	return us, nil
}
