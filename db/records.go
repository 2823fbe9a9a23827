package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"laycast/job"
	"laycast/job/aslaid"
)

const recordColumns = `SELECT seq, job, date, kind, body, prev, hash FROM records`

// Records reads the rows of a firm's records, in order: of one job, or ("") the
// whole chain.
func (d *DB) Records(ctx context.Context, uid, id string) ([]aslaid.Row, error) {
	rows, err := collect(ctx, d.reader, recordRow, recordColumns+` WHERE firm = $1 AND ($2 = '' OR job = $2) ORDER BY seq`, text(uid), text(id))
	if err != nil {
		return nil, fmt.Errorf("read the records of firm %q: %w", uid, err)
	}
	return rows, nil
}

// Recorded gives the days of each job, from a date on, whose record is closed.
func (d *DB) Recorded(ctx context.Context, uid string, from job.Date) (map[string][]job.Date, error) {
	rows, err := collect(ctx, d.reader, recordRow, recordColumns+` WHERE firm = $1 AND date >= $2 AND kind = $3 ORDER BY seq`,
		text(uid), from.String(), string(aslaid.KindDay))
	if err != nil {
		return nil, fmt.Errorf("read the records of firm %q: %w", uid, err)
	}
	out := map[string][]job.Date{}
	for _, r := range rows {
		out[r.Job] = append(out[r.Job], r.Date)
	}
	return out, nil
}

func recordRow(s scanner) (aslaid.Row, error) {
	var r aslaid.Row
	var kind string
	err := s.Scan(&r.Seq, &r.Job, (*dateText)(&r.Date), &kind, &r.Body, &r.Prev, &r.Hash)
	r.Kind = aslaid.Kind(kind)
	return r, err
}

// putRecords closes records: it puts them at the end of the firm's chain. One of a
// job and day that is closed already stays as it is. The firm's row is locked
// meanwhile, so the chain has one end.
func putRecords(ctx context.Context, tx *sql.Tx, firm string, records []aslaid.Record) error {
	if len(records) == 0 {
		return nil
	}
	ends, err := collect(ctx, tx, recordRow, recordColumns+` WHERE firm = $1 ORDER BY seq DESC LIMIT 1`, firm)
	if err != nil {
		return err
	}
	var last aslaid.Row
	if len(ends) > 0 {
		last = ends[0]
	}
	for _, r := range records {
		there, err := collect(ctx, tx, recordRow, recordColumns+` WHERE firm = $1 AND job = $2 AND date = $3 LIMIT 1`, firm, text(r.Job), r.Date.String())
		if err != nil {
			return err
		}
		if len(there) > 0 {
			continue
		}
		rows, err := r.Rows()
		if err == nil {
			rows, err = aslaid.Link(last, rows)
		}
		if err != nil {
			return fmt.Errorf("job %q on %s: %w", r.Job, r.Date, err)
		}
		for _, x := range rows {
			_, err := exec(ctx, tx, `INSERT INTO records (firm, seq, job, date, kind, body, prev, hash) VALUES ($1, $2, $3, $4, $5, $6, $7, $8)`,
				firm, x.Seq, text(x.Job), x.Date.String(), string(x.Kind), x.Body, x.Prev, x.Hash)
			if err != nil {
				return fmt.Errorf("row %d of job %q on %s: %w", x.Seq, r.Job, r.Date, err)
			}
			last = x
		}
	}
	return nil
}

// ErrRecordClosed says that the day's record is closed, so nothing is added to it.
var ErrRecordClosed = errors.New("the record of that day is closed; nothing is added to it any more")

// PutPhoto adds a photo of a job's day, or a link to one (image nil), while the
// day's record is open. The same one again changes nothing.
func (d *DB) PutPhoto(ctx context.Context, uid, id string, day job.Date, p aslaid.Photo, image []byte) error {
	if p.ID == "" || p.At.IsZero() || day.IsZero() || (image == nil) == (p.Link == "") {
		return errors.New("keep a photo: its id, time and day are needed, and either the picture or a link")
	}
	b, err := encode(p)
	if err != nil {
		return err
	}
	err = d.write(ctx, func(tx *sql.Tx) error {
		if _, err := firmOf(ctx, tx, uid, d.forUpdate()); err != nil { // a record that is closed just now comes before or after
			return err
		}
		there, err := collect(ctx, tx, recordRow, recordColumns+` WHERE firm = $1 AND job = $2 AND date = $3 LIMIT 1`, text(uid), text(id), day.String())
		if err != nil {
			return err
		}
		if len(there) > 0 {
			return ErrRecordClosed
		}
		_, err = exec(ctx, tx, `INSERT INTO photos (firm, id, job, date, at, body, image) VALUES ($1, $2, $3, $4, $5, $6, $7)
			ON CONFLICT (firm, job, date, id) DO NOTHING`, text(uid), text(p.ID), text(id), day.String(), ms(p.At), b, image)
		return err
	})
	if err != nil {
		return fmt.Errorf("keep a photo of job %q on %s: %w", id, day, err)
	}
	return nil
}

// Photos reads what is kept of the photos of a job's day, without the pictures,
// the oldest first.
func (d *DB) Photos(ctx context.Context, uid, id string, day job.Date) ([]aslaid.Photo, error) {
	ps, err := collect(ctx, d.reader, func(s scanner) (p aslaid.Photo, err error) {
		var b string
		if err = s.Scan(&b); err == nil {
			err = json.Unmarshal([]byte(b), &p)
		}
		return p, err
	}, `SELECT body FROM photos WHERE firm = $1 AND job = $2 AND date = $3 ORDER BY at, id`, text(uid), text(id), day.String())
	if err != nil {
		return nil, fmt.Errorf("read the photos of job %q on %s: %w", id, day, err)
	}
	return ps, nil
}

// Picture reads one photo's picture; ErrNotFound where it is not kept (any more).
func (d *DB) Picture(ctx context.Context, uid, job, id string) ([]byte, error) {
	pics, err := collect(ctx, d.reader, func(s scanner) (b []byte, err error) {
		err = s.Scan(&b)
		return b, err
	}, `SELECT image FROM photos WHERE firm = $1 AND job = $2 AND id = $3 AND image IS NOT NULL LIMIT 1`, text(uid), text(job), text(id))
	if err != nil {
		return nil, fmt.Errorf("read a photo of job %q: %w", job, err)
	}
	if len(pics) == 0 {
		return nil, fmt.Errorf("photo %q of job %q: %w", id, job, ErrNotFound)
	}
	return pics[0], nil
}
