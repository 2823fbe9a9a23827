package db

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/ledger"
)

const messageColumns = `id, firm, kind, job, visit, date, occasion, recipient, channel, audience, message_id, subject,
	reason, created, not_before, expires, state, tries, begun, settled, next_try, note, lease`

// scanMessage scans messageColumns and whatever more is given.
func scanMessage(s scanner, more ...any) (notify.Message, error) {
	var m notify.Message
	err := s.Scan(append([]any{&m.ID, &m.Firm, &m.Kind, &m.Job, &m.Visit, (*dateText)(&m.Date), &m.Occasion, &m.Recipient,
		&m.Channel, &m.Audience, &m.MessageID, &m.Subject, &m.Reason, into(&m.Created), into(&m.NotBefore),
		into(&m.Expires), &m.State, &m.Tries, into(&m.Begun), into(&m.Settled), into(&m.NextTry), &m.Note, &m.Lease},
		more...)...)
	return m, err
}

func scanWithWire(s scanner) (notify.Message, error) {
	var wire []byte
	m, err := scanMessage(s, &wire)
	m.Wire = wire
	return m, err
}

// overtakes is true of a message m to whose recipient an earlier one about the
// same visit, by the same channel, is still on its way at $1. One that is past its use, and that
// nobody holds, holds up nobody.
const overtakes = `(m.job <> '' AND EXISTS (SELECT 1 FROM messages e
	WHERE e.firm = m.firm AND e.recipient = m.recipient AND e.job = m.job AND e.visit = m.visit AND e.channel = m.channel
	AND e.state IN ('pending', 'begun')
	AND (e.state = 'begun' OR e.lease_until > $1 OR e.expires > $1 OR e.expires = ` + none + `)
	AND (e.created < m.created OR (e.created = m.created AND e.id < m.id))))`

// ready is since when an open message m could be taken, in SQL: when the lease of one
// who did not end it ran out, when it may be tried again, or when its time came. One
// that could go when it was made goes at once, be it that the clock was ahead then.
// The indexes messages_ready and messages_ready_firm are of this expression.
const ready = `(CASE
	WHEN m.state = 'begun' OR (m.lease_until >= m.next_try AND (m.not_before <= m.created OR m.lease_until >= m.not_before)) THEN m.lease_until
	WHEN m.not_before <= m.created OR m.next_try >= m.not_before THEN m.next_try ELSE m.not_before END)`

// messageOrder is the order in which messages are taken: what was never held or tried
// comes first, the oldest of it before the others; one that waited for its hour, or
// that failed and is tried again, counts from that moment on.
const messageOrder = ready + `, m.created, m.id`

// ClaimMessage takes the first message that may be delivered now, of one firm
// or (uid "") of any that does not live on a virtual clock, and leases it until now+lease: a pending one whose time
// has come and which has not expired, or a begun one whose lease ran out. No
// message overtakes an earlier one to the same recipient about the same visit.
// ok is false when there is none.
func (d *DB) ClaimMessage(ctx context.Context, uid string, now time.Time, lease time.Duration) (m notify.Message, ok bool, err error) {
	due, args := dueMessages(uid, now)
	n := len(args)
	take := fmt.Sprintf(`UPDATE messages SET lease = $%d, lease_until = $%d
		WHERE id = (SELECT m.id FROM messages m WHERE %s ORDER BY %s LIMIT 1%s)
		AND state IN ('pending', 'begun') AND lease_until <= $1
		RETURNING %s, wire`, n+1, n+2, due, messageOrder, d.skipLocked("m"), messageColumns)
	look := `SELECT m.id FROM messages m WHERE ` + due + ` LIMIT 1` // any: no order, nothing to sort
	m, ok, err = takeFirst(ctx, d, scanWithWire, look, take, args, token(), ms(now.Add(lease)))
	if err != nil {
		return notify.Message{}, false, fmt.Errorf("take a message to deliver: %w", err)
	}
	return m, ok, nil
}

// dueMessages tells, in SQL, which messages m may be taken; $1 is now.
func dueMessages(uid string, now time.Time) (due string, args []any) {
	due = `m.state IN ('pending', 'begun') AND ` + ready + ` <= $1
		AND (m.state = 'begun' OR m.expires > $1 OR m.expires = ` + none + `)
		AND NOT ` + overtakes
	if uid != "" {
		return due + ` AND m.firm = $2`, []any{ms(now), text(uid)}
	}
	return due + ` AND ` + onRealClock("m"), []any{ms(now)}
}

// BeginMessage notes that a leased message is being handed to the transport:
// whatever happens from here on, it may have been sent. It counts a try.
func (d *DB) BeginMessage(ctx context.Context, m notify.Message, now time.Time) error {
	n, err := d.execOne(ctx, `UPDATE messages SET state = 'begun', begun = $3, tries = tries + 1
		WHERE id = $1 AND lease = $2 AND lease <> '' AND state IN ('pending', 'begun')`, text(m.ID), m.Lease, ms(now))
	return leased(n, err, "begin", m)
}

// SettleMessage writes how a delivery ended (State, Settled, NextTry, Note) and
// frees the lease. State Pending with a NextTry means: try again then.
func (d *DB) SettleMessage(ctx context.Context, m notify.Message) error {
	settled := m.Settled
	switch {
	case m.State == notify.Pending:
		settled = time.Time{}
	case m.State == notify.Begun:
		return fmt.Errorf("settle message %s: begun is not an end", m.ID)
	case settled.IsZero():
		return fmt.Errorf("settle message %s as %s: the time is missing", m.ID, m.State)
	}
	n, err := d.execOne(ctx, `UPDATE messages SET state = $3, settled = $4, next_try = $5, note = $6,
		lease = '', lease_until = `+none+`
		WHERE id = $1 AND lease = $2 AND lease <> '' AND state IN ('pending', 'begun')`,
		text(m.ID), m.Lease, string(m.State), ms(settled), ms(m.NextTry), text(m.Note))
	return leased(n, err, "settle", m)
}

// execOne runs one statement in a transaction of its own.
func (d *DB) execOne(ctx context.Context, query string, args ...any) (n int64, err error) {
	err = d.write(ctx, func(tx *sql.Tx) (err error) {
		n, err = exec(ctx, tx, query, args...)
		return err
	})
	return n, err
}

func leased(n int64, err error, verb string, m notify.Message) error {
	if err == nil && n == 0 {
		err = ledger.ErrLeaseLost
	}
	if err != nil {
		return fmt.Errorf("%s message %s: %w", verb, m.ID, err)
	}
	return nil
}

// ExpireMessages marks the pending messages of a firm, or (uid "") of any, that
// are past their use and that nobody is delivering, and gives their number.
func (d *DB) ExpireMessages(ctx context.Context, uid string, now time.Time) (int, error) {
	args, ofFirm := []any{ms(now)}, ""
	if uid != "" {
		args, ofFirm = append(args, text(uid)), " AND firm = $2"
	}
	where := ` WHERE state IN ('pending', 'begun') AND state = 'pending'
		AND expires <= $1 AND expires > ` + none + ` AND lease_until <= $1` + ofFirm
	// asked often and seldom needed: look before waiting for the right to write
	_, some, err := one(ctx, d.reader, words, `SELECT id FROM messages`+where+` LIMIT 1`, args...)
	var n int64
	if some && err == nil {
		n, err = d.execOne(ctx, `UPDATE messages SET state = 'expired', settled = $1, lease = '', lease_until = `+none+`,
			note = CASE WHEN note = '' THEN 'too late to be of use' ELSE note END`+where, args...)
	}
	if err != nil {
		return 0, fmt.Errorf("expire messages of firm %q: %w", uid, err)
	}
	return int(n), nil
}

// Messages reads the messages of a firm without their wire bytes, oldest first.
func (d *DB) Messages(ctx context.Context, uid string) ([]notify.Message, error) {
	ms, err := collect(ctx, d.reader, func(s scanner) (notify.Message, error) { return scanMessage(s) },
		`SELECT `+messageColumns+` FROM messages WHERE firm = $1`, text(uid))
	if err != nil {
		return nil, fmt.Errorf("read the messages of firm %q: %w", uid, err)
	}
	slices.SortFunc(ms, func(x, y notify.Message) int {
		return cmp.Or(x.Created.Compare(y.Created), strings.Compare(x.ID, y.ID))
	})
	return ms, nil
}

// Message reads one message whole; ErrNotFound when the firm has none of that id.
func (d *DB) Message(ctx context.Context, uid, id string) (notify.Message, error) {
	m, ok, err := one(ctx, d.reader, scanWithWire,
		`SELECT `+messageColumns+`, wire FROM messages WHERE firm = $1 AND id = $2`, text(uid), text(id))
	if err == nil && !ok {
		err = ErrNotFound
	}
	if err != nil {
		return notify.Message{}, fmt.Errorf("read message %q of firm %q: %w", id, uid, err)
	}
	return m, nil
}

// Untold reads why people of a firm were not told something, oldest first.
func (d *DB) Untold(ctx context.Context, uid string) ([]notify.Untold, error) {
	scan := func(s scanner) (notify.Untold, error) {
		var u notify.Untold
		err := s.Scan(&u.Firm, &u.Person, &u.Job, (*dateText)(&u.Date), into(&u.At), &u.Reason)
		return u, err
	}
	us, err := collect(ctx, d.reader, scan,
		`SELECT firm, person, job, date, at, reason FROM untold WHERE firm = $1`, text(uid))
	if err != nil {
		return nil, fmt.Errorf("read whom firm %q did not tell: %w", uid, err)
	}
	slices.SortFunc(us, func(x, y notify.Untold) int {
		return cmp.Or(x.At.Compare(y.At), strings.Compare(x.Person, y.Person), strings.Compare(x.Job, y.Job),
			job.Date.Compare(x.Date, y.Date), strings.Compare(x.Reason, y.Reason))
	})
	return us, nil
}
