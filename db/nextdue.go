package db

import (
	"context"
	"database/sql"
	"fmt"
	"time"

	"laycast/notify"
)

// NextDue gives the moment at which there is next something to take for one
// firm or (uid "") for any: a task, or a message to be delivered. It may lie in
// the past. ok is false when there is nothing at all.
func (d *DB) NextDue(ctx context.Context, uid string) (at time.Time, ok bool, err error) {
	args, ofFirm := []any{}, ""
	if uid != "" {
		args, ofFirm = []any{text(uid)}, " WHERE firm = $1"
	}
	err = d.read(ctx, func(tx *sql.Tx) error {
		at, ok, err = one(ctx, tx, scanTime, `SELECT CASE WHEN lease_until > due THEN lease_until ELSE due END AS at
			FROM tasks`+ofFirm+` ORDER BY at LIMIT 1`, args...)
		if err != nil {
			return err
		}
		message, some, err := nextMessage(ctx, tx, uid)
		if some && (!ok || message.Before(at)) {
			at, ok = message, true
		}
		return err
	})
	if err != nil {
		return time.Time{}, false, fmt.Errorf("find the next due time: %w", err)
	}
	return at, ok, nil
}

func scanTime(s scanner) (t time.Time, err error) {
	err = s.Scan(into(&t))
	return t, err
}

// openMessage is what decides when an open message may be taken.
type openMessage struct {
	line    line
	state   notify.State
	begun   time.Time
	from    time.Time // not before, and not before the next try
	leased  time.Time
	expires time.Time
}

// line is where messages wait for each other: one recipient and one visit.
type line struct {
	firm, recipient, job string
	visit                int
}

func scanOpen(s scanner) (m openMessage, err error) {
	var next time.Time
	err = s.Scan(&m.line.firm, &m.line.recipient, &m.line.job, &m.line.visit, &m.state, into(&m.begun),
		into(&m.from), into(&next), into(&m.leased), into(&m.expires))
	m.from = latest(m.from, next)
	return m, err
}

// nextMessage gives the moment at which ClaimMessage next finds something.
func nextMessage(ctx context.Context, q querier, uid string) (at time.Time, ok bool, err error) {
	args, ofFirm := []any{}, ""
	if uid != "" {
		args, ofFirm = []any{text(uid)}, " AND firm = $1"
	}
	open, err := collect(ctx, q, scanOpen, `SELECT firm, recipient, job, visit, state, begun,
		CASE WHEN not_before <= created THEN `+none+` ELSE not_before END, next_try,
		lease_until, expires FROM messages WHERE state IN ('pending', 'begun')`+ofFirm+` ORDER BY created, id`, args...)
	// for each line: when the messages so far are out of the way
	free := map[line]time.Time{}
	for _, m := range open {
		takeable, gone := m.times(free[m.line])
		if m.line.job != "" {
			free[m.line] = gone
		}
		if !takeable.Equal(never) && (!ok || takeable.Before(at)) {
			at, ok = takeable, true
		}
	}
	return at, ok, err
}

// never is later than any time.
var never = time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC)

// times gives when a message may be taken, given that those before it are out
// of the way at free, and when it is itself out of the way of later ones,
// unless it is delivered before.
func (m openMessage) times(free time.Time) (takeable, gone time.Time) {
	if m.state == notify.Begun {
		return latest(latest(m.begun, m.leased), free), never
	}
	takeable, gone = latest(latest(m.from, m.leased), free), never
	if !m.expires.IsZero() {
		gone = latest(latest(m.expires, m.leased), free)
		if !takeable.Before(m.expires) {
			takeable = never
		}
	}
	return takeable, gone
}

func latest(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}
