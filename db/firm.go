package db

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"laycast/job"
	"laycast/scheduler/ledger"
)

// firmRow is a firm with what the book keeps about it.
type firmRow struct {
	firm     job.Firm
	revision int64
	life     ledger.Life
	mark     time.Time
}

func scanFirm(s scanner) (firmRow, error) {
	var r firmRow
	var b jsonText[job.Firm]
	err := s.Scan(&r.revision, &r.life, into(&r.mark), &b)
	r.firm = b.V
	return r, err
}

// firmOf reads one firm, with its row locked when lock is d.forUpdate().
func firmOf(ctx context.Context, q querier, uid, lock string) (firmRow, error) {
	r, ok, err := one(ctx, q, scanFirm,
		`SELECT revision, life, mark, body FROM firms WHERE uid = $1`+lock, text(uid))
	if err == nil && !ok {
		err = ErrNotFound
	}
	if err != nil {
		return firmRow{}, fmt.Errorf("read firm %q: %w", uid, err)
	}
	return r, nil
}

// SetFirm keeps the settings of a firm: a new firm is added, one that is there
// is changed, with a higher revision, where its settings differ. The uid is the
// key and never changes. It gives the firm as kept.
func (d *DB) SetFirm(ctx context.Context, f job.Firm) (job.Firm, error) {
	if f.UID == "" {
		return job.Firm{}, errors.New("keep firm: it has no uid")
	}
	b, err := encode(f)
	if err != nil {
		return job.Firm{}, fmt.Errorf("keep firm %q: %w", f.UID, err)
	}
	err = d.write(ctx, func(tx *sql.Tx) error {
		added, err := exec(ctx, tx, `INSERT INTO firms (uid, revision, life, mark, body)
			VALUES ($1, 1, 'new', $2, $3) ON CONFLICT (uid) DO NOTHING`, text(f.UID), ms(time.Time{}), b)
		if err != nil || added > 0 {
			return err
		}
		old, err := firmOf(ctx, tx, f.UID, d.forUpdate())
		if err != nil {
			return err
		}
		// written anew, so that a field this version added is no difference
		was, err := encode(old.firm)
		if err != nil || was == b {
			return err
		}
		_, err = exec(ctx, tx, `UPDATE firms SET body = $2, revision = revision + 1 WHERE uid = $1`, text(f.UID), b)
		return err
	})
	if err != nil {
		return job.Firm{}, fmt.Errorf("keep firm %q: %w", f.UID, err)
	}
	r, err := firmOf(ctx, d.reader, f.UID, "")
	return r.firm, err
}

// Firms gives the uids of all firms, in order.
func (d *DB) Firms(ctx context.Context) ([]string, error) {
	uids, err := collect(ctx, d.reader, words, `SELECT uid FROM firms`)
	if err != nil {
		return nil, fmt.Errorf("list firms: %w", err)
	}
	slices.Sort(uids)
	return uids, nil
}

// NewFirms gives the firms that were set up and never run, by uid.
func (d *DB) NewFirms(ctx context.Context) ([]job.Firm, error) {
	rows, err := collect(ctx, d.reader, scanFirm, `SELECT revision, life, mark, body FROM firms WHERE life = 'new'`)
	if err != nil {
		return nil, fmt.Errorf("look for new firms: %w", err)
	}
	var out []job.Firm
	for _, r := range rows {
		out = append(out, r.firm)
	}
	slices.SortFunc(out, func(a, b job.Firm) int { return strings.Compare(a.UID, b.UID) })
	return out, nil
}

// SetLife gives a new firm its life, live or virtual, for ever; mark is how far
// a virtual firm's clock has come. A firm that already has that life stays as
// it is, its mark never moving back. Anything else is an error in plain words.
func (d *DB) SetLife(ctx context.Context, uid string, life ledger.Life, mark time.Time) error {
	return d.write(ctx, func(tx *sql.Tx) error {
		r, err := firmOf(ctx, tx, uid, d.forUpdate())
		if err != nil {
			return err
		}
		if err := mayLive(uid, r.life, life); err != nil {
			return err
		}
		at := r.mark
		if life == ledger.Virtual && mark.After(at) {
			at = mark
		}
		_, err = exec(ctx, tx, `UPDATE firms SET life = $2, mark = $3 WHERE uid = $1`, text(uid), string(life), ms(at))
		if err != nil {
			return fmt.Errorf("set the clock of firm %q: %w", uid, err)
		}
		return nil
	})
}

func mayLive(uid string, was, want ledger.Life) error {
	switch {
	case want != ledger.Live && want != ledger.Virtual && want != was:
		return fmt.Errorf("firm %q cannot become %q: a firm is live or virtual", uid, want)
	case was == ledger.New || was == want:
		return nil
	case was == ledger.Virtual:
		return fmt.Errorf("firm %q lives on a virtual clock: it was rehearsed, shown as a demo or run with a pretended time, and stays so; use another database for real work", uid)
	}
	return fmt.Errorf("firm %q is live, on the real clock: rehearsing would send and decide in its name; use another database for that", uid)
}
