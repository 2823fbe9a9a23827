package db

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"

	"laycast/job"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

// Book reads all that a decision about a firm needs, in one snapshot, with the
// calls and the diary for days from callsFrom on (none: all of them).
func (d *DB) Book(ctx context.Context, uid string, callsFrom job.Date) (ledger.Book, error) {
	var b ledger.Book
	err := d.read(ctx, func(tx *sql.Tx) error {
		r, err := firmOf(ctx, tx, uid, "")
		if err != nil {
			return err
		}
		b = ledger.Book{Firm: r.firm, Revision: r.revision, Life: r.life, Mark: r.mark}
		return readBook(ctx, tx, &b, uid, callsFrom)
	})
	if err != nil {
		return ledger.Book{}, fmt.Errorf("read the book of firm %q: %w", uid, err)
	}
	return b, nil
}

func readBook(ctx context.Context, tx *sql.Tx, b *ledger.Book, uid string, callsFrom job.Date) (err error) {
	uid = text(uid)
	b.Crews, err = collect(ctx, tx, body[job.Crew], `SELECT body FROM crews WHERE firm = $1`, uid)
	if err != nil {
		return fmt.Errorf("crews: %w", err)
	}
	slices.SortFunc(b.Crews, func(x, y job.Crew) int { return strings.Compare(x.ID, y.ID) })

	b.Jobs, err = collect(ctx, tx, body[job.Booking], `SELECT body FROM jobs WHERE firm = $1`, uid)
	if err != nil {
		return fmt.Errorf("jobs: %w", err)
	}
	slices.SortFunc(b.Jobs, func(x, y job.Booking) int { return strings.Compare(x.ID, y.ID) })

	b.Visits, err = collect(ctx, tx, body[job.Visit],
		`SELECT body FROM visits WHERE firm = $1 AND state IN ('planned', 'started')`, uid)
	if err != nil {
		return fmt.Errorf("visits: %w", err)
	}
	slices.SortFunc(b.Visits, func(x, y job.Visit) int {
		return cmp.Or(strings.Compare(x.Job, y.Job), cmp.Compare(x.N, y.N))
	})

	week, ok, err := one(ctx, tx, body[plan.Week],
		`SELECT body FROM weeks WHERE firm = $1 ORDER BY revision DESC, id DESC LIMIT 1`, uid)
	if err != nil {
		return fmt.Errorf("week: %w", err)
	}
	if ok {
		b.Week = &week
	}
	if b.Calls, err = callsFromDate(ctx, tx, uid, callsFrom); err != nil {
		return err
	}
	if b.Diary, err = diaryOf(ctx, tx, ` WHERE firm = $1 AND date >= $2`, uid, callsFrom.String()); err != nil {
		return fmt.Errorf("diary: %w", err)
	}
	if b.Links, err = linksOf(ctx, tx, uid); err != nil {
		return err
	}
	if b.Stopped, err = stoppedOf(ctx, tx, uid); err != nil {
		return fmt.Errorf("stopped mails: %w", err)
	}
	if b.Published, err = publishedOf(ctx, tx, ` WHERE firm = $1`, uid); err != nil {
		return fmt.Errorf("published: %w", err)
	}
	return nil
}

func callsFromDate(ctx context.Context, q querier, uid string, from job.Date) ([]call.Call, error) {
	calls, err := collect(ctx, q, body[call.Call],
		`SELECT body FROM calls WHERE firm = $1 AND date >= $2`, text(uid), from.String())
	if err != nil {
		return nil, fmt.Errorf("calls: %w", err)
	}
	slices.SortFunc(calls, func(x, y call.Call) int {
		return cmp.Or(x.Made.Compare(y.Made), strings.Compare(x.Job, y.Job),
			x.Date.Compare(y.Date), cmp.Compare(x.Occasion, y.Occasion))
	})
	return calls, nil
}

// Booking reads one job, ErrNotFound when the firm has none of that id.
func (d *DB) Booking(ctx context.Context, uid, id string) (job.Booking, error) {
	b, ok, err := one(ctx, d.reader, body[job.Booking],
		`SELECT body FROM jobs WHERE firm = $1 AND id = $2`, text(uid), text(id))
	if err == nil && !ok {
		err = ErrNotFound
	}
	if err != nil {
		return job.Booking{}, fmt.Errorf("read job %q of firm %q: %w", id, uid, err)
	}
	return b, nil
}

// Visits reads every visit of a firm, past ones too, by job and number.
func (d *DB) Visits(ctx context.Context, uid string) ([]job.Visit, error) {
	vs, err := collect(ctx, d.reader, body[job.Visit], `SELECT body FROM visits WHERE firm = $1`, text(uid))
	if err != nil {
		return nil, fmt.Errorf("read the visits of firm %q: %w", uid, err)
	}
	slices.SortFunc(vs, func(x, y job.Visit) int {
		return cmp.Or(strings.Compare(x.Job, y.Job), cmp.Compare(x.N, y.N))
	})
	return vs, nil
}

// Calls reads every call of a firm, oldest first, then by job.
func (d *DB) Calls(ctx context.Context, uid string) ([]call.Call, error) {
	calls, err := callsFromDate(ctx, d.reader, uid, job.Date{})
	if err != nil {
		return nil, fmt.Errorf("read the calls of firm %q: %w", uid, err)
	}
	return calls, nil
}

// Weeks reads the plans of a firm, the one in force last; older ones are kept
// for 60 days.
func (d *DB) Weeks(ctx context.Context, uid string) ([]plan.Week, error) {
	ws, err := collect(ctx, d.reader, body[plan.Week],
		`SELECT body FROM weeks WHERE firm = $1 ORDER BY revision, id`, text(uid))
	if err != nil {
		return nil, fmt.Errorf("read the plans of firm %q: %w", uid, err)
	}
	return ws, nil
}
