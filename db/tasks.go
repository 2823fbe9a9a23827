package db

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"time"

	"laycast/scheduler/task"
)

const taskColumns = `firm, name, due, slot, tries, note, near, lease, lease_until`

func scanTask(s scanner) (task.Task, error) {
	var t task.Task
	err := s.Scan(&t.Firm, &t.Name, into(&t.Due), into(&t.Slot), &t.Tries, &t.Note, &t.Near, &t.Lease, into(&t.LeaseUntil))
	return t, err
}

// SeedTasks adds the tasks that a firm does not have yet and leaves the others
// as they are.
func (d *DB) SeedTasks(ctx context.Context, ts []task.Task) error {
	err := d.write(ctx, func(tx *sql.Tx) error {
		_, err := d.each(ctx, tx, len(ts), `INSERT INTO tasks
			(firm, name, rank, lane, due, slot, tries, note, lease, lease_until)
			VALUES ($1, $2, $3, $8, $4, $5, $6, $7, '', `+none+`) ON CONFLICT (firm, name) DO NOTHING`,
			func(i int) ([]any, error) {
				t := ts[i]
				return []any{text(t.Firm), text(t.Name), task.Rank(t.Name), ms(t.Due), ms(t.Slot), t.Tries, text(t.Note), int(task.LaneOf(t.Name))}, nil
			})
		return err
	})
	if err != nil {
		return fmt.Errorf("set up tasks: %w", err)
	}
	return nil
}

// Tasks reads the tasks of a firm in running order.
func (d *DB) Tasks(ctx context.Context, uid string) ([]task.Task, error) {
	ts, err := collect(ctx, d.reader, scanTask, `SELECT `+taskColumns+` FROM tasks WHERE firm = $1 ORDER BY rank, name`, text(uid))
	if err != nil {
		return nil, fmt.Errorf("read the tasks of firm %q: %w", uid, err)
	}
	return ts, nil
}

// MoveTask makes a task wait for another time, if it waits as it was read: nobody
// runs it at now, and no other moved it. Else it does nothing.
func (d *DB) MoveTask(ctx context.Context, was task.Task, due, now time.Time) error {
	err := d.write(ctx, func(tx *sql.Tx) error {
		_, err := exec(ctx, tx, `UPDATE tasks SET due = $3, slot = $3
			WHERE firm = $1 AND name = $2 AND due = $4 AND slot = $5 AND tries = $6 AND lease_until <= $7`,
			text(was.Firm), text(was.Name), ms(due), ms(was.Due), ms(was.Slot), was.Tries, ms(now))
		return err
	})
	if err != nil {
		return fmt.Errorf("move %s of firm %q: %w", was.Name, was.Firm, err)
	}
	return nil
}

// takeable is since when a task could be taken, in SQL: when it fell due, or when the
// lease of one who did not finish it ran out.
const takeable = `(CASE WHEN t.lease_until > t.due THEN t.lease_until ELSE t.due END)`

// ClaimTask takes a task that is due and free, or whose lease ran out, and
// leases it until now+lease under a new token. ok is false when there is none.
//
// Of one firm it is the one due first, then by running order. With uid "" it is
// one of any firm that does not live on a virtual clock, in a fair order: by
// lane, then the one that could be taken longest; of those that could be equally long,
// by the order in which a firm's work runs and by where it lies. Work of one firm is then not
// given out beside other work of it, nor before weather of its own that was due
// earlier: so that a call does not run ahead of its forecast.
func (d *DB) ClaimTask(ctx context.Context, uid string, now time.Time, lease time.Duration) (t task.Task, ok bool, err error) {
	if uid != "" {
		t, ok, err = d.claim(ctx, `t.due <= $1 AND t.lease_until <= $1 AND t.firm = $2`, `t.due, t.rank`, []any{ms(now), text(uid)}, now, lease)
	} else {
		for _, l := range task.Lanes() {
			where := `t.lane = $2 AND ` + takeable + ` <= $1 AND ` + onRealClock("t") + ` AND NOT EXISTS (SELECT 1 FROM tasks e
				WHERE e.firm = t.firm AND e.name <> t.name AND (e.lease_until > $1 OR
				e.lane = ` + weather + ` AND t.lane <> ` + weather + ` AND e.due <= $1 AND (e.due < t.due OR e.due = t.due AND e.rank < t.rank)))`
			t, ok, err = d.claim(ctx, where, takeable+`, t.rank, t.near, t.firm`, []any{ms(now), int(l)}, now, lease)
			if ok || err != nil {
				break
			}
		}
	}
	if err != nil {
		return task.Task{}, false, fmt.Errorf("take a due task: %w", err)
	}
	return t, ok, nil
}

// weather is task.Weather in SQL.
const weather = `1`

// onRealClock holds for rows of firms that live on the real clock: the others belong to
// whoever moves their clock.
func onRealClock(table string) string {
	return `EXISTS (SELECT 1 FROM firms f WHERE f.uid = ` + table + `.firm AND f.life <> 'virtual')`
}

// claim leases the first task t for which where holds; $1 is now.
func (d *DB) claim(ctx context.Context, where, order string, args []any, now time.Time, lease time.Duration) (t task.Task, ok bool, err error) {
	n := len(args)
	// in the order of an index, or PostgreSQL reads all tasks of all firms where none is due
	look := `SELECT t.name FROM tasks t WHERE ` + where + ` ORDER BY ` + order + ` LIMIT 1`
	take := fmt.Sprintf(`UPDATE tasks SET lease = $%d, lease_until = $%d,
		armed_slot = CASE WHEN armed_due <= $1 THEN NULL ELSE armed_slot END,
		armed_due = CASE WHEN armed_due <= $1 THEN NULL ELSE armed_due END
		WHERE (firm, name) = (SELECT t.firm, t.name FROM tasks t WHERE %s
			ORDER BY %s LIMIT 1%s)
		AND due <= $1 AND lease_until <= $1
		RETURNING %s`, n+1, n+2, where, order, d.skipLocked("t"), taskColumns)
	return takeFirst(ctx, d, scanTask, look, take, args, token(), ms(now.Add(lease)))
}

// takeFirst leases the first of what waits by an UPDATE, whose arguments are those of
// a query that looks whether there is any and two more. It looks first, so that takers
// who find nothing do not keep others from SQLite's one right to write, and cost little.
// The lease is to be tested again in the UPDATE's outer WHERE: without that PostgreSQL
// gives one row to two takers who read it at the same moment.
func takeFirst[T any](ctx context.Context, d *DB, scan func(scanner) (T, error), look, take string, args []any, lease ...any) (v T, ok bool, err error) {
	_, some, err := one(ctx, d.reader, words, look, args...)
	if err != nil || !some {
		return v, false, err
	}
	err = d.write(ctx, func(tx *sql.Tx) (err error) {
		if err := d.walkIndex(ctx, tx); err != nil {
			return err
		}
		v, ok, err = one(ctx, tx, scan, take, append(slices.Clone(args), lease...)...)
		return err
	})
	return v, ok, err
}

// walkIndex tells PostgreSQL to walk, in this transaction, the index that has a query's
// order. By statistics of a time when little waited it may choose to read and sort all
// that waits for each one that is taken, and keep to it for as long as a connection
// lives: of an evening's mails that is a square (seen with 400 firms: 56 s of its
// processor in place of 12). Nor is it to compile a plan that only looks costly.
func (d *DB) walkIndex(ctx context.Context, tx *sql.Tx) error {
	if d.pg == nil {
		return nil
	}
	_, err := exec(ctx, tx, `SELECT set_config('enable_sort', 'off', true), set_config('jit', 'off', true)`)
	return err
}
