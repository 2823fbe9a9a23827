package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"laycast/scheduler/task"
)

const taskColumns = `firm, name, due, slot, tries, note, lease, lease_until`

func scanTask(s scanner) (task.Task, error) {
	var t task.Task
	err := s.Scan(&t.Firm, &t.Name, into(&t.Due), into(&t.Slot), &t.Tries, &t.Note, &t.Lease, into(&t.LeaseUntil))
	return t, err
}

// SeedTasks adds the tasks that a firm does not have yet and leaves the others
// as they are.
func (d *DB) SeedTasks(ctx context.Context, ts []task.Task) error {
	err := d.write(ctx, func(tx *sql.Tx) error {
		_, err := d.each(ctx, tx, len(ts), `INSERT INTO tasks
			(firm, name, rank, due, slot, tries, note, lease, lease_until)
			VALUES ($1, $2, $3, $4, $5, $6, $7, '', `+none+`) ON CONFLICT (firm, name) DO NOTHING`,
			func(i int) ([]any, error) {
				t := ts[i]
				return []any{text(t.Firm), text(t.Name), task.Rank(t.Name), ms(t.Due), ms(t.Slot), t.Tries, text(t.Note)}, nil
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

// ClaimTask takes the first task that is due and free, or whose lease ran out,
// of one firm or (uid "") of any: the one due first, then by running order. It
// is leased until now+lease under a new token. ok is false when there is none.
//
// It looks before it writes, so that takers who find nothing do not keep others
// from SQLite's one right to write. The lease is tested again in the outer
// WHERE: without that PostgreSQL gives one row to two takers who read it at the
// same moment.
func (d *DB) ClaimTask(ctx context.Context, uid string, now time.Time, lease time.Duration) (t task.Task, ok bool, err error) {
	due, args := `t.due <= $1 AND t.lease_until <= $1`, []any{ms(now)}
	if uid != "" {
		due, args = due+` AND t.firm = $2`, append(args, text(uid))
	}
	_, some, err := one(ctx, d.reader, words, `SELECT t.name FROM tasks t WHERE `+due+` LIMIT 1`, args...)
	if some && err == nil {
		n := len(args)
		query := fmt.Sprintf(`UPDATE tasks SET lease = $%d, lease_until = $%d,
			armed_slot = CASE WHEN armed_due <= $1 THEN NULL ELSE armed_slot END,
			armed_due = CASE WHEN armed_due <= $1 THEN NULL ELSE armed_due END
			WHERE (firm, name) = (SELECT t.firm, t.name FROM tasks t WHERE %s
				ORDER BY t.due, t.rank, t.firm LIMIT 1%s)
			AND due <= $1 AND lease_until <= $1
			RETURNING %s`, n+1, n+2, due, d.skipLocked("t"), taskColumns)
		args = append(args, token(), ms(now.Add(lease)))
		err = d.write(ctx, func(tx *sql.Tx) (err error) {
			t, ok, err = one(ctx, tx, scanTask, query, args...)
			return err
		})
	}
	if err != nil {
		return task.Task{}, false, fmt.Errorf("take a due task: %w", err)
	}
	return t, ok, nil
}
