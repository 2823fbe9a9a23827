package db

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/job/access"
	"laycast/job/aslaid"
	"laycast/scheduler/plan"
)

// gone stands where something about a customer stood.
const gone = "(erased)"

// ErrStillBooked says that a customer has work before them, so is not erased.
var ErrStillBooked = errors.New("work is still to come for this customer")

// Erasure says what erasing a customer came to: rows by what was done to them.
type Erasure struct {
	Jobs     []string // ids
	Blanked  int      // messages whose text was taken away
	Deleted  int      // links, calendar rows, photos and the like
	Mended   int      // other rows in which words of the customer's stood
	Records  int      // rows of closed records, which stay as they are
	Speaking []int64  // Seq of rows of closed records in which somebody wrote words of the customer's
	Swept    bool     // false: SQLite's file may still hold old copies in its free places
}

// erasing is one customer being erased.
type erasing struct {
	d     *DB
	tx    *sql.Tx
	uid   string
	c     Customer
	as    string   // the address that takes the place of the customer's
	words []string // of the customer's; see wordsOf
	parts []string // of the customer's name; see partsOf
	now   time.Time
	plain func(wire []byte) (string, error)
	out   Erasure
}

// EraseCustomer takes out of the book who a customer is: name, mail address, phone,
// street address, exact place, notes and the texts of mails that tell any of them,
// of all the customer's jobs. The jobs, what was decided and the closed records,
// which name nobody, stay, so the chain of records holds. plain gives the text of a
// mail as a reader sees it. ErrStillBooked where a job is booked or a mail under way.
// It is written down as a deed of `by`.
func (d *DB) EraseCustomer(ctx context.Context, uid, who, by string, now time.Time, plain func(wire []byte) (string, error)) (Erasure, error) {
	var out Erasure
	err := d.write(ctx, func(tx *sql.Tx) error {
		if _, err := firmOf(ctx, tx, uid, d.forUpdate()); err != nil {
			return err
		}
		c, err := findCustomer(ctx, tx, uid, who)
		if err != nil {
			return err
		}
		e := &erasing{d: d, tx: tx, uid: uid, c: c, now: now, plain: plain, words: wordsOf(c), parts: partsOf(c)}
		sum := sha256.Sum256([]byte(uid + "\n" + c.ids()[0]))
		e.as = "erased-" + hex.EncodeToString(sum[:6]) + "@customer.invalid" // RFC 2606: no such domain
		for _, step := range []func(context.Context) error{
			e.allowed, e.closedRecords, e.messages, e.diary, e.texts, e.weeks, e.deletions, e.orders, func(ctx context.Context) error { return e.deed(ctx, by) },
		} {
			if err := step(ctx); err != nil {
				return err
			}
		}
		e.out.Jobs = c.ids()
		out = e.out
		_, err = exec(ctx, tx, `UPDATE firms SET revision = revision + 1 WHERE uid = $1`, text(uid))
		return err
	})
	if err != nil {
		return Erasure{}, fmt.Errorf("erase the customer %q of firm %q: %w", who, uid, err)
	}
	out.Swept, err = d.sweep(ctx)
	return out, err
}

// sweep writes SQLite's file anew: what is deleted or changed there stands on in
// free places of the file and in the log of writes until something else takes them.
// false: another process kept it from it.
func (d *DB) sweep(ctx context.Context) (bool, error) {
	if d.pg != nil {
		return true, nil
	}
	for _, do := range []string{`VACUUM`, `PRAGMA wal_checkpoint(TRUNCATE)`} {
		for n := 1; ; n++ {
			_, err := d.writer.ExecContext(ctx, do)
			if err == nil {
				break
			}
			if !busy(err) {
				return false, fmt.Errorf("the customer is erased, but the database file could not be written anew: %w; see that the disk has room for a second one", err)
			}
			if n == turns {
				return false, nil
			}
		}
	}
	return true, nil
}

// allowed refuses while there is work or a mail to come.
func (e *erasing) allowed(ctx context.Context) error {
	var open []string
	for _, b := range e.c.Jobs {
		if b.State == job.Booked {
			open = append(open, b.ID)
		}
	}
	if len(open) > 0 {
		return fmt.Errorf("%w: job %s; cancel it first (laycast job cancel %s), or let it be finished", ErrStillBooked, strings.Join(open, ", "), open[0])
	}
	where, args := e.where("messages")
	under, err := collect(ctx, e.tx, words, `SELECT subject FROM messages`+where+` AND state IN ('pending', 'begun')`, args...)
	if err == nil && len(under) > 0 {
		err = fmt.Errorf("%w: %d mails about it are still under way; let the daemon send them and try again (laycast messages)", ErrStillBooked, len(under))
	}
	return err
}

func (e *erasing) where(table string) (string, []any) {
	i := slices.IndexFunc(customerTables(), func(t customerTable) bool { return t.name == table })
	return e.c.about(customerTables()[i], e.uid)
}

// closedRecords counts what stays, and looks whether a crew wrote in it who lives
// there.
func (e *erasing) closedRecords(ctx context.Context) error {
	rows, err := collect(ctx, e.tx, recordRow, recordColumns+` WHERE firm = $1 ORDER BY seq`, text(e.uid))
	for _, r := range rows {
		if slices.Contains(e.c.ids(), r.Job) {
			e.out.Records++
		}
		if r.Kind != aslaid.KindHour && e.tellsOf(r.Job, unescaped(r.Body)) {
			e.out.Speaking = append(e.out.Speaking, r.Seq)
		}
	}
	return err
}

// messages takes away the text of each mail to the customer, about the customer's
// jobs, or in which the customer is named, whoever was written to.
func (e *erasing) messages(ctx context.Context) error {
	where, args := e.where("messages")
	about, err := collect(ctx, e.tx, words, `SELECT id FROM messages`+where, args...)
	if err != nil {
		return err
	}
	type letter struct{ id, job, to, subject, reason, note string }
	var hit []letter
	_, err = collect(ctx, e.tx, func(s scanner) (struct{}, error) { // kept one at a time: they are large
		var l letter
		var wire []byte
		if err := s.Scan(&l.id, &l.job, &l.to, &l.subject, &l.reason, &l.note, &wire); err != nil {
			return struct{}{}, err
		}
		says, err := e.plain(wire)
		if err != nil {
			says = unescaped(string(wire)) // a webhook's, or nothing
		}
		if slices.Contains(about, l.id) || e.tells(l.subject+"\n"+l.reason+"\n"+l.note+"\n"+l.to+"\n"+says) {
			hit = append(hit, l)
		}
		return struct{}{}, nil
	}, `SELECT id, job, recipient, subject, reason, note, wire FROM messages WHERE firm = $1 AND state NOT IN ('pending', 'begun')`, text(e.uid))
	if err != nil {
		return err
	}
	e.out.Blanked = len(hit)
	_, err = e.d.each(ctx, e.tx, len(hit), `UPDATE messages SET recipient = $3, subject = $4, reason = $5, note = $6, wire = $7 WHERE firm = $1 AND id = $2`,
		func(i int) ([]any, error) {
			l := hit[i]
			if strings.ToLower(l.to) == e.c.Email {
				l.to = e.as
			}
			return []any{text(e.uid), l.id, text(l.to), gone, text(e.clean(l.job, l.reason)), text(e.clean(l.job, l.note)), []byte{}}, nil
		})
	return err
}

// diary takes out what crews wrote of the customer; what they measured stays.
func (e *erasing) diary(ctx context.Context) error {
	where, args := e.where("diary")
	type line struct{ id, job, body string }
	lines, err := collect(ctx, e.tx, func(s scanner) (l line, err error) {
		err = s.Scan(&l.id, &l.job, &l.body)
		return l, err
	}, `SELECT id, job, body FROM diary`+where, args...)
	if err != nil {
		return err
	}
	for _, l := range lines {
		mended, changed, err := e.mend(l.job, l.body)
		if err != nil {
			return fmt.Errorf("line %s of the diary: %w", l.id, err)
		}
		if !changed {
			continue
		}
		e.out.Mended++
		if _, err := exec(ctx, e.tx, `UPDATE diary SET body = $3 WHERE firm = $1 AND id = $2`, text(e.uid), l.id, mended); err != nil {
			return err
		}
	}
	return nil
}

// texts mends the columns in which somebody may have written of the customer.
func (e *erasing) texts(ctx context.Context) error {
	for _, t := range []struct{ table, job, cols string }{{"untold", "job", "person reason"}, {"deeds", "about", "about detail"}, {"deeds", "about", "did outcome"}} {
		first, second, _ := strings.Cut(t.cols, " ")
		type row struct{ id, job, first, second string }
		rows, err := collect(ctx, e.tx, func(s scanner) (r row, err error) {
			err = s.Scan(&r.id, &r.job, &r.first, &r.second)
			return r, err
		}, `SELECT id, `+t.job+`, `+first+`, `+second+` FROM `+t.table+` WHERE firm = $1`, text(e.uid))
		if err != nil {
			return err
		}
		for _, r := range rows {
			a, b := r.first, e.clean(r.job, r.second)
			if first != t.job || !slices.Contains(e.c.ids(), r.job) { // a job's id stays, whatever it is
				a = e.clean(r.job, a)
			}
			if a == r.first && b == r.second {
				continue
			}
			e.out.Mended++
			if _, err := exec(ctx, e.tx, `UPDATE `+t.table+` SET `+first+` = $3, `+second+` = $4 WHERE firm = $1 AND id = $2`, text(e.uid), r.id, text(a), text(b)); err != nil {
				return err
			}
		}
	}
	return nil
}

// weeks takes the customer's words out of why plans left a job out or moved it.
func (e *erasing) weeks(ctx context.Context) error {
	ws, err := collect(ctx, e.tx, body[plan.Week], `SELECT body FROM weeks WHERE firm = $1`, text(e.uid))
	if err != nil {
		return err
	}
	for _, w := range ws {
		changed := false
		mend := func(id string, s *string) {
			if c := e.clean(id, *s); c != *s {
				*s, changed = c, true
			}
		}
		for i := range w.Left {
			mend(w.Left[i].Job, &w.Left[i].Reason)
		}
		for i := range w.Changes {
			mend(w.Changes[i].Job, &w.Changes[i].Reason)
		}
		if !changed {
			continue
		}
		e.out.Mended++
		b, err := encode(w)
		if err != nil {
			return err
		}
		if _, err := exec(ctx, e.tx, `UPDATE weeks SET body = $3 WHERE firm = $1 AND id = $2`, text(e.uid), text(w.ID), b); err != nil {
			return err
		}
	}
	return nil
}

// deletions drops what is the customer's alone, or shows the house.
func (e *erasing) deletions(ctx context.Context) error {
	for _, table := range []string{"photos", "links", "published", "stopped", "signins"} {
		where, args := e.where(table)
		n, err := exec(ctx, e.tx, `DELETE FROM `+table+where, args...)
		if err != nil {
			return err
		}
		e.out.Deleted += int(n)
	}
	return nil
}

// orders takes out of the jobs and their visits who they were for. The place
// becomes the forecasts' cell, some kilometres wide, so that calls can still be
// explained.
func (e *erasing) orders(ctx context.Context) error {
	for i := range e.c.Jobs {
		b := &e.c.Jobs[i]
		b.Revision++
		cell := forecast.CellOf(b.Site.Lat, b.Site.Lon, b.Site.ElevationM)
		b.Title, b.Phone, b.Customer, b.Notes, b.Invite = gone, "", job.Customer{Name: gone, Email: e.as}, job.Notes{}, false
		b.Site.Address, b.Site.Lat, b.Site.Lon, b.Site.ElevationM = gone, cell.Lat, cell.Lon, float64(cell.Elev)
		b.Blackout, b.Unsuited = nil, nil
		b.HoldReason, b.Held = e.clean(b.ID, b.HoldReason), e.clean(b.ID, b.Held)
		for k := range b.Needs {
			b.Needs[k].What = e.clean(b.ID, b.Needs[k].What)
		}
	}
	if err := e.d.putBookings(ctx, e.tx, text(e.uid), e.c.Jobs, e.now); err != nil {
		return err
	}
	where, args := e.where("visits")
	visits, err := collect(ctx, e.tx, body[job.Visit], `SELECT body FROM visits`+where, args...)
	if err != nil {
		return err
	}
	for i := range visits {
		visits[i].Thread, visits[i].MovedWhy = nil, e.clean(visits[i].Job, visits[i].MovedWhy)
	}
	return e.d.putVisits(ctx, e.tx, text(e.uid), visits)
}

// deed writes down that it was done, and not to whom.
func (e *erasing) deed(ctx context.Context, by string) error {
	_, err := exec(ctx, e.tx, `INSERT INTO deeds (id, firm, at, who, did, about, detail, outcome) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
		token(), text(e.uid), ms(e.now), text(by), "erase a customer", text(e.c.ids()[0]), "", access.DeedDone)
	return err
}
