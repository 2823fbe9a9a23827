package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"time"

	"laycast/job"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
	"laycast/scheduler/task"
)

// Commit writes what a task decided, in one transaction: all of it or nothing.
//
// It fails with ledger.ErrLeaseLost when the task is no longer held under the
// lease that the decision bears, and with ledger.ErrMoved when the decision
// was computed from another revision of the firm than the present one. A
// decision that changes the book (week, bookings, visits, calls, diary, published rows) raises the
// revision by one. Unique names make writing the same thing twice add nothing:
// a call that is there stays as it is, and so does a message. A new message
// about somebody's day withdraws those about the same day that were not begun.
func (d *DB) Commit(ctx context.Context, dec ledger.Decision) error {
	if err := sound(dec); err != nil {
		return fmt.Errorf("write decision of firm %q: %w", dec.Firm, err)
	}
	err := d.write(ctx, func(tx *sql.Tx) error { return d.commit(ctx, tx, dec) })
	if err != nil {
		return fmt.Errorf("write decision of firm %q: %w", dec.Firm, err)
	}
	return nil
}

// changesBook reports whether a decision writes what other decisions read.
func changesBook(dec ledger.Decision) bool {
	return dec.Week != nil || len(dec.Bookings)+len(dec.Visits)+len(dec.Calls)+len(dec.Published)+dec.Diary.Len() > 0
}

// sound refuses decisions that contradict themselves.
func sound(dec ledger.Decision) error {
	switch {
	case changesBook(dec) && dec.Revision == 0:
		return errors.New("it changes the book without the revision that was read")
	case dec.Task.Name != "" && dec.Next.Name != dec.Task.Name:
		return fmt.Errorf("task %s has %q as its next state", dec.Task.Name, dec.Next.Name)
	case dec.Task.Name != "" && dec.Task.Firm != dec.Firm:
		return fmt.Errorf("task %s is of firm %q", dec.Task.Name, dec.Task.Firm)
	}
	return soundNames(dec)
}

// soundNames checks that all parts are of the decision's firm.
func soundNames(dec ledger.Decision) error {
	for _, c := range dec.Calls {
		if c.Firm != dec.Firm {
			return fmt.Errorf("the call for job %q is of firm %q", c.Job, c.Firm)
		}
	}
	for _, m := range dec.Messages {
		if m.Firm != dec.Firm {
			return fmt.Errorf("the message %q is of firm %q", m.ID, m.Firm)
		}
	}
	for _, u := range dec.Untold {
		if u.Firm != dec.Firm {
			return fmt.Errorf("the reason not to tell %q is of firm %q", u.Person, u.Firm)
		}
	}
	for _, c := range dec.Chances {
		if c.Firm != dec.Firm && c.Firm != "" {
			return fmt.Errorf("the chance of job %q is of firm %q", c.Job, c.Firm)
		}
	}
	for _, l := range dec.Links {
		if l.Firm != dec.Firm {
			return fmt.Errorf("a %s link is of firm %q", l.Purpose, l.Firm)
		}
	}
	for _, t := range dec.Arm {
		if t.Firm != dec.Firm {
			return fmt.Errorf("the task %s to be armed is of firm %q", t.Name, t.Firm)
		}
	}
	return nil
}

// commit locks the firm's row first: decisions of one firm come one after the
// other, so that they cannot wait for each other's rows in a circle.
func (d *DB) commit(ctx context.Context, tx *sql.Tx, dec ledger.Decision) error {
	revision, err := d.advance(ctx, tx, dec)
	if err != nil {
		return err
	}
	if err := finish(ctx, tx, dec); err != nil {
		return err
	}
	if err := d.arm(ctx, tx, dec.Arm); err != nil {
		return fmt.Errorf("arm tasks: %w", err)
	}
	firm := text(dec.Firm)
	if dec.Week != nil {
		if err := putWeek(ctx, tx, firm, *dec.Week, revision); err != nil {
			return fmt.Errorf("week %s: %w", dec.Week.ID, err)
		}
	}
	if err := d.putBookings(ctx, tx, firm, dec.Bookings, dec.Now); err != nil {
		return fmt.Errorf("jobs: %w", err)
	}
	if err := d.putVisits(ctx, tx, firm, dec.Visits); err != nil {
		return fmt.Errorf("visits: %w", err)
	}
	if err := d.putCalls(ctx, tx, dec.Calls); err != nil {
		return fmt.Errorf("calls: %w", err)
	}
	if err := d.putDiary(ctx, tx, firm, dec.Diary); err != nil {
		return fmt.Errorf("diary: %w", err)
	}
	if err := putRecords(ctx, tx, firm, dec.Records); err != nil {
		return fmt.Errorf("as-laid records: %w", err)
	}
	if err := d.putAccess(ctx, tx, firm, dec); err != nil {
		return err
	}
	if err := d.putMessages(ctx, tx, dec); err != nil {
		return fmt.Errorf("messages: %w", err)
	}
	if err := d.putUntold(ctx, tx, dec.Untold); err != nil {
		return fmt.Errorf("people not told: %w", err)
	}
	if err := d.putRuns(ctx, tx, dec.Runs); err != nil {
		return fmt.Errorf("forecasts: %w", err)
	}
	if err := d.putSources(ctx, tx, dec.Sources); err != nil {
		return fmt.Errorf("sources: %w", err)
	}
	if err := d.putChances(ctx, tx, dec.Chances); err != nil {
		return fmt.Errorf("chances given: %w", err)
	}
	if err := d.putRecals(ctx, tx, dec.Recals); err != nil {
		return fmt.Errorf("recalibrations: %w", err)
	}
	if err := d.putSkill(ctx, tx, dec.Skill); err != nil {
		return fmt.Errorf("error statistics: %w", err)
	}
	if err := d.putRefused(ctx, tx, dec.Refused); err != nil {
		return fmt.Errorf("refused places: %w", err)
	}
	if err := d.endRequest(ctx, tx, dec.Asked); err != nil {
		return fmt.Errorf("end the request: %w", err)
	}
	return nil
}

// advance locks the firm, verifies its revision, raises it where the book
// changes and moves a virtual firm's mark on. It gives the new revision.
func (d *DB) advance(ctx context.Context, tx *sql.Tx, dec ledger.Decision) (int64, error) {
	r, err := firmOf(ctx, tx, dec.Firm, d.forUpdate())
	if err != nil {
		return 0, err
	}
	if dec.Revision != 0 && dec.Revision != r.revision {
		return 0, fmt.Errorf("revision %d was read, now it is %d: %w", dec.Revision, r.revision, ledger.ErrMoved)
	}
	next, mark := r.revision, r.mark
	if changesBook(dec) || !dec.Dropped.IsZero() { // calendars are kept by the revision
		next++
	}
	if r.life == ledger.Virtual && dec.Now.After(mark) {
		mark = dec.Now
	}
	if next == r.revision && mark.Equal(r.mark) {
		return next, nil
	}
	_, err = exec(ctx, tx, `UPDATE firms SET revision = $2, mark = $3 WHERE uid = $1`, text(dec.Firm), next, ms(mark))
	return next, err
}

// finish sets the task that decided to its next state and frees its lease,
// provided that the decision still holds it. What others armed meanwhile is
// folded in.
func finish(ctx context.Context, tx *sql.Tx, dec ledger.Decision) error {
	if dec.Task.Name == "" {
		return nil
	}
	n, err := exec(ctx, tx, `UPDATE tasks SET tries = $4, note = $5, near = $8, lease = '', lease_until = `+none+`,
		due = CASE WHEN armed_due < $6 THEN armed_due ELSE $6 END,
		slot = CASE WHEN armed_due < $6 THEN armed_slot ELSE $7 END,
		armed_due = NULL, armed_slot = NULL
		WHERE firm = $1 AND name = $2 AND lease = $3 AND lease <> ''`,
		text(dec.Task.Firm), text(dec.Task.Name), dec.Task.Lease,
		dec.Next.Tries, text(dec.Next.Note), ms(dec.Next.Due), ms(dec.Next.Slot), dec.Next.Near)
	if err != nil {
		return fmt.Errorf("finish task %s: %w", dec.Task.Name, err)
	}
	if n == 0 {
		return fmt.Errorf("finish task %s: %w", dec.Task.Name, ledger.ErrLeaseLost)
	}
	return nil
}

// arm makes tasks due at their Due, for their Slot, unless they are due
// earlier. One that is leased is not touched: it is due again after its holder
// is done.
func (d *DB) arm(ctx context.Context, tx *sql.Tx, ts []task.Task) error {
	_, err := d.each(ctx, tx, len(ts), `INSERT INTO tasks
		(firm, name, rank, lane, due, slot, tries, note, lease, lease_until)
		VALUES ($1, $2, $3, $6, $4, $5, 0, '', '', `+none+`)
		ON CONFLICT (firm, name) DO UPDATE SET
		due = CASE WHEN tasks.lease = '' AND excluded.due < tasks.due THEN excluded.due ELSE tasks.due END,
		slot = CASE WHEN tasks.lease = '' AND excluded.due < tasks.due THEN excluded.slot ELSE tasks.slot END,
		armed_due = CASE WHEN tasks.lease <> '' AND (tasks.armed_due IS NULL OR excluded.due < tasks.armed_due)
			THEN excluded.due ELSE tasks.armed_due END,
		armed_slot = CASE WHEN tasks.lease <> '' AND (tasks.armed_due IS NULL OR excluded.due < tasks.armed_due)
			THEN excluded.slot ELSE tasks.armed_slot END`,
		func(i int) ([]any, error) {
			t := ts[i]
			slot := t.Slot
			if slot.IsZero() {
				slot = t.Due
			}
			return []any{text(t.Firm), text(t.Name), task.Rank(t.Name), ms(t.Due), ms(slot), int(task.LaneOf(t.Name))}, nil
		})
	return err
}

// keepWeeks is how long plans that are no longer in force are kept: longer
// than any told date is ahead, so that a move can be explained. Ours, no source.
const keepWeeks = 60 * 24 * time.Hour // elapsed: a rough age, no date

// putWeek puts a plan in force and drops plans that are too old.
func putWeek(ctx context.Context, tx *sql.Tx, firm string, w plan.Week, revision int64) error {
	b, err := encode(w)
	if err != nil {
		return err
	}
	_, err = exec(ctx, tx, `INSERT INTO weeks (firm, id, revision, made, body) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (firm, id) DO UPDATE SET revision = excluded.revision, made = excluded.made, body = excluded.body`,
		firm, text(w.ID), revision, ms(w.Made), b)
	if err != nil {
		return err
	}
	_, err = exec(ctx, tx, `DELETE FROM weeks WHERE firm = $1 AND revision < $2 AND made < $3`,
		firm, revision, ms(w.Made.Add(-keepWeeks)))
	return err
}

func (d *DB) putBookings(ctx context.Context, tx *sql.Tx, firm string, bs []job.Booking, now time.Time) error {
	_, err := d.each(ctx, tx, len(bs), `INSERT INTO jobs (firm, id, state, changed, body) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (firm, id) DO UPDATE SET state = excluded.state, changed = excluded.changed, body = excluded.body`,
		func(i int) ([]any, error) {
			b, err := encode(bs[i])
			if err != nil {
				return nil, fmt.Errorf("%q: %w", bs[i].ID, err)
			}
			return []any{firm, text(bs[i].ID), string(bs[i].State), ms(now), b}, nil
		})
	return err
}

func (d *DB) putVisits(ctx context.Context, tx *sql.Tx, firm string, vs []job.Visit) error {
	_, err := d.each(ctx, tx, len(vs), `INSERT INTO visits (firm, job, n, state, body) VALUES ($1, $2, $3, $4, $5)
		ON CONFLICT (firm, job, n) DO UPDATE SET state = excluded.state, body = excluded.body`,
		func(i int) ([]any, error) {
			b, err := encode(vs[i])
			if err != nil {
				return nil, fmt.Errorf("%q: %w", vs[i].Job, err)
			}
			return []any{firm, text(vs[i].Job), vs[i].N, string(vs[i].State), b}, nil
		})
	return err
}
