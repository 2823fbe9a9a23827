package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"laycast/job"
	"laycast/scheduler/ledger"
)

// EditJob puts one order into the book, as Import does, for somebody who saw it
// at revision seen (job.Booking.Revision; 0: it is new). ledger.ErrMoved says that
// it was changed meanwhile, ledger.ErrTaken that there is a job of a new one's id.
func (d *DB) EditJob(ctx context.Context, uid string, j job.Job, seen int64, now time.Time) error {
	return d.edit(ctx, uid, "job", j.ID, func(tx *sql.Tx) error {
		have, there, err := one(ctx, tx, body[job.Booking], `SELECT body FROM jobs WHERE firm = $1 AND id = $2`, text(uid), text(j.ID))
		switch {
		case err != nil:
			return err
		case seen == 0 && there:
			return ledger.ErrTaken
		case seen != 0 && (!there || have.Revision != seen):
			return ledger.ErrMoved
		}
		var rep ImportReport
		return d.importJobs(ctx, tx, text(uid), []job.Job{j}, now, &rep)
	})
}

// EditCrew puts one crew into the book for somebody who saw it as seen; a seen
// without an id: it is new. Errors are those of EditJob.
func (d *DB) EditCrew(ctx context.Context, uid string, c, seen job.Crew, now time.Time) error {
	return d.edit(ctx, uid, "crew", c.ID, func(tx *sql.Tx) error {
		have, there, err := one(ctx, tx, body[job.Crew], `SELECT body FROM crews WHERE firm = $1 AND id = $2`, text(uid), text(c.ID))
		if err != nil {
			return err
		}
		was, err := encode(have)
		if err != nil {
			return err
		}
		is, err := encode(seen)
		switch {
		case err != nil:
			return err
		case seen.ID == "" && there:
			return ledger.ErrTaken
		case seen.ID != "" && (!there || was != is):
			return ledger.ErrMoved
		}
		var rep ImportReport
		return d.importCrews(ctx, tx, text(uid), []job.Crew{c}, now, &rep)
	})
}

// edit does one change of the book and raises its revision.
func (d *DB) edit(ctx context.Context, uid, what, id string, do func(tx *sql.Tx) error) error {
	err := d.write(ctx, func(tx *sql.Tx) error {
		if _, err := firmOf(ctx, tx, uid, d.forUpdate()); err != nil {
			return err
		}
		if err := do(tx); err != nil {
			return err
		}
		_, err := exec(ctx, tx, `UPDATE firms SET revision = revision + 1 WHERE uid = $1`, text(uid))
		return err
	})
	if err != nil {
		return fmt.Errorf("change %s %q of firm %q: %w", what, id, uid, err)
	}
	return nil
}
