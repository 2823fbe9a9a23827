package db

import (
	"context"
	"fmt"

	"laycast/job"
)

// Firm reads the settings of a firm alone, ErrNotFound when there is none.
func (d *DB) Firm(ctx context.Context, uid string) (job.Firm, error) {
	r, err := firmOf(ctx, d.reader, uid, "")
	return r.firm, err
}

// Crew reads one crew, ErrNotFound when the firm has none of that id.
func (d *DB) Crew(ctx context.Context, uid, id string) (job.Crew, error) {
	c, ok, err := one(ctx, d.reader, body[job.Crew], `SELECT body FROM crews WHERE firm = $1 AND id = $2`, text(uid), text(id))
	if err == nil && !ok {
		err = ErrNotFound
	}
	if err != nil {
		return job.Crew{}, fmt.Errorf("read crew %q of firm %q: %w", id, uid, err)
	}
	return c, nil
}

// Revision gives the revision of a firm's book: it moves with every change of it.
func (d *DB) Revision(ctx context.Context, uid string) (int64, error) {
	r, err := firmOf(ctx, d.reader, uid, "")
	return r.revision, err
}
