package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// Status counts how the work of a firm stands, or (uid "") that of all on the
// real clock: a handful of queries, however many firms there are. now is the
// moment it is asked about.
func (d *DB) Status(ctx context.Context, uid string, now time.Time) (ledger.Status, error) {
	out := ledger.Status{
		Firms: map[ledger.Life]int{}, Tasks: map[task.Name]ledger.TaskCount{},
		Open: map[notify.State]int{}, Settled: map[notify.State]int{},
	}
	q := statusQuery{uid: uid, now: now}
	err := d.read(ctx, func(tx *sql.Tx) error {
		for _, part := range []func(context.Context, *sql.Tx, *ledger.Status) error{q.firms, q.tasks, q.messages, q.calls, q.spending} {
			if err := part(ctx, tx, &out); err != nil {
				return err
			}
		}
		return nil
	})
	if err == nil {
		out.Sources, err = d.SourceStates(ctx)
	}
	if err != nil {
		return ledger.Status{}, fmt.Errorf("count how the work stands: %w", err)
	}
	return out, nil
}

// statusQuery is whose work is counted, and when. Its parts set, never add to, what
// they fill, for the transaction may run twice.
type statusQuery struct {
	uid string
	now time.Time
}

// whose gives the condition on a table's rows, and its arguments after those given.
func (q statusQuery) whose(table string, args ...any) (string, []any) {
	if q.uid == "" {
		return onRealClock(table), args
	}
	return fmt.Sprintf("%s.firm = $%d", table, len(args)+1), append(args, text(q.uid))
}

func (q statusQuery) firms(ctx context.Context, tx *sql.Tx, out *ledger.Status) error {
	where, args := `1 = 1`, []any(nil)
	if q.uid != "" {
		where, args = `uid = $1`, []any{text(q.uid)}
	}
	_, err := collect(ctx, tx, func(s scanner) (struct{}, error) {
		var life ledger.Life
		n := 0
		err := s.Scan(&life, &n)
		out.Firms[life] = n
		return struct{}{}, err
	}, `SELECT life, COUNT(*) FROM firms WHERE `+where+` GROUP BY life`, args...)
	return err
}

func (q statusQuery) tasks(ctx context.Context, tx *sql.Tx, out *ledger.Status) error {
	where, args := q.whose("t", ms(q.now), ms(q.now.Add(-ledger.LateAfter)))
	_, err := collect(ctx, tx, func(s scanner) (struct{}, error) {
		var name task.Name
		var c ledger.TaskCount
		err := s.Scan(&name, &c.Due, &c.Late, &c.Failed, into(&c.Oldest))
		if c.Due == 0 {
			c.Oldest = time.Time{}
		}
		out.Tasks[name] = c
		return struct{}{}, err
	}, `SELECT t.name, SUM(CASE WHEN t.due <= $1 THEN 1 ELSE 0 END), SUM(CASE WHEN t.due <= $2 THEN 1 ELSE 0 END),
		SUM(CASE WHEN t.tries > 0 THEN 1 ELSE 0 END), MIN(t.due)
		FROM tasks t WHERE (t.due <= $1 OR t.tries > 0) AND `+where+` GROUP BY t.name`, args...)
	return err
}

func (q statusQuery) messages(ctx context.Context, tx *sql.Tx, out *ledger.Status) error {
	where, args := q.whose("m", ms(q.now))
	_, err := collect(ctx, tx, func(s scanner) (struct{}, error) {
		var state notify.State
		n, since := 0, time.Time{}
		err := s.Scan(&state, &n, into(&since))
		out.Open[state] = n
		if since.Before(q.now) && (out.Waiting.IsZero() || since.Before(out.Waiting)) {
			out.Waiting = since
		}
		return struct{}{}, err
	}, `SELECT m.state, COUNT(*), MIN(CASE WHEN m.not_before > $1 THEN m.not_before
			WHEN m.not_before > m.created THEN m.not_before ELSE m.created END)
		FROM messages m WHERE m.state IN ('pending', 'begun') AND `+where+` GROUP BY m.state`, args...)
	if err != nil {
		return err
	}
	where, args = q.whose("m", ms(q.now.AddDate(0, 0, -1)))
	_, err = collect(ctx, tx, func(s scanner) (struct{}, error) {
		var state notify.State
		n := 0
		err := s.Scan(&state, &n)
		out.Settled[state] = n
		return struct{}{}, err
	}, `SELECT m.state, COUNT(*) FROM messages m WHERE m.settled > $1 AND `+where+` GROUP BY m.state`, args...)
	return err
}

func (q statusQuery) calls(ctx context.Context, tx *sql.Tx, out *ledger.Status) (err error) {
	where, args := q.whose("c", job.DateOf(q.now.UTC()).AddDays(-1).String())
	out.Calls, err = collect(ctx, tx, func(s scanner) (ledger.CallCount, error) {
		var c ledger.CallCount
		err := s.Scan(&c.Occasion, &c.Outcome, &c.N)
		return c, err
	}, `SELECT (CASE WHEN c.occasion LIKE 'change%' THEN 'change' ELSE c.occasion END) AS at, c.outcome, COUNT(*)
		FROM calls c WHERE c.date >= $1 AND `+where+` GROUP BY 1, c.outcome ORDER BY 1, c.outcome`, args...)
	return err
}

func (q statusQuery) spending(ctx context.Context, tx *sql.Tx, out *ledger.Status) (err error) {
	out.Spending, err = collect(ctx, tx, func(s scanner) (ledger.Spending, error) {
		v, a := ledger.Spending{}, allowance{}
		err := s.Scan(&v.Source, into(&a.from[0]), &a.spent[0], into(&a.from[1]), &a.spent[1], into(&a.from[2]), &a.spent[2])
		for i, to := range []*float64{&v.Minute, &v.Hour, &v.Day} {
			if q.now.UTC().Truncate(windows[i]).Equal(a.from[i]) {
				*to = float64(a.spent[i]) / 100
			}
		}
		return v, err
	}, `SELECT source, minute, minute_spent, hour, hour_spent, day, day_spent FROM allowances ORDER BY source`)
	return err
}
