package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"

	"laycast/job"
)

// The kinds of rows of a diary.
const (
	diaryReport  = "report"
	diaryReading = "reading"
	diaryBatch   = "batch"
)

// Diary reads all that was noted of one visit of a job, in the order in which it
// came; n 0: of all its visits.
func (d *DB) Diary(ctx context.Context, uid, id string, n int) (job.Diary, error) {
	out, err := diaryOf(ctx, d.reader, ` WHERE firm = $1 AND job = $2 AND ($3 = 0 OR n = $3)`, text(uid), text(id), int64(n))
	if err != nil {
		return job.Diary{}, fmt.Errorf("read what was noted of job %q of firm %q: %w", id, uid, err)
	}
	return out, nil
}

type diaryRow struct{ kind, body string }

func diaryOf(ctx context.Context, q querier, where string, args ...any) (job.Diary, error) {
	var out job.Diary
	rows, err := collect(ctx, q, func(s scanner) (diaryRow, error) {
		var r diaryRow
		err := s.Scan(&r.kind, &r.body)
		return r, err
	}, `SELECT kind, body FROM diary`+where+` ORDER BY job, seq`, args...)
	if err != nil {
		return out, err
	}
	for _, r := range rows {
		switch r.kind {
		case diaryReport:
			out.Reports, err = decodeOnto(out.Reports, r.body)
		case diaryReading:
			out.Readings, err = decodeOnto(out.Readings, r.body)
		case diaryBatch:
			out.Batches, err = decodeOnto(out.Batches, r.body)
		}
		if err != nil {
			return job.Diary{}, fmt.Errorf("read a %s: %w", r.kind, err)
		}
	}
	return out, nil
}

func decodeOnto[T any](list []T, body string) ([]T, error) {
	var v T
	if err := json.Unmarshal([]byte(body), &v); err != nil {
		return nil, err
	}
	return append(list, v), nil
}

// putDiary adds lines to the diary; one that is there by its id stays as it was
// noted first. The firm's row is locked meanwhile, so numbers do not clash.
func (d *DB) putDiary(ctx context.Context, tx *sql.Tx, firm string, x job.Diary) error {
	for _, r := range x.Reports {
		if err := addLine(ctx, tx, firm, diaryReport, r.Entry, r); err != nil {
			return err
		}
	}
	for _, r := range x.Readings {
		if err := addLine(ctx, tx, firm, diaryReading, r.Entry, r); err != nil {
			return err
		}
	}
	for _, b := range x.Batches {
		if err := addLine(ctx, tx, firm, diaryBatch, b.Entry, b); err != nil {
			return err
		}
	}
	return nil
}

func addLine(ctx context.Context, tx *sql.Tx, firm, kind string, e job.Entry, line any) error {
	if e.ID == "" || e.Job == "" || e.N < 1 || e.Date.IsZero() || e.At.IsZero() || e.Noted.IsZero() {
		return errors.New("a line of the diary needs its id, job, visit, day and times")
	}
	b, err := encode(line)
	if err != nil {
		return fmt.Errorf("job %q on %s: %w", e.Job, e.Date, err)
	}
	_, err = exec(ctx, tx, `INSERT INTO diary (firm, id, kind, job, seq, n, date, noted, body)
		VALUES ($1, $2, $3, $4, (SELECT COALESCE(MAX(seq), 0) + 1 FROM diary WHERE firm = $1 AND job = $4), $5, $6, $7, $8)
		ON CONFLICT (firm, id) DO NOTHING`,
		firm, text(e.ID), kind, text(e.Job), e.N, e.Date.String(), ms(e.Noted), b)
	if err != nil {
		return fmt.Errorf("a %s of job %q on %s: %w", kind, e.Job, e.Date, err)
	}
	return nil
}
