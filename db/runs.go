package db

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/job"
)

// putRuns adds new runs, hours packed, and notes of old ones that they were
// seen again. In the order of their keys, so that two firms' fetches of the
// same cells cannot wait for each other's rows in a circle.
func (d *DB) putRuns(ctx context.Context, tx *sql.Tx, runs []forecast.Run) error {
	runs = slices.Clone(runs)
	slices.SortFunc(runs, func(x, y forecast.Run) int {
		return cmp.Or(cmp.Compare(x.Source, y.Source), cmp.Compare(x.Endpoint, y.Endpoint),
			cmp.Compare(x.Cell.String(), y.Cell.String()), cmp.Compare(x.Digest, y.Digest))
	})
	seen, err := d.each(ctx, tx, len(runs), `UPDATE runs SET
		last_seen = CASE WHEN last_seen < $5 THEN $5 ELSE last_seen END,
		changed = CASE WHEN changed < $6 THEN $6 ELSE changed END,
		model_run = CASE WHEN model_run < $7 THEN $7 ELSE model_run END,
		modified = CASE WHEN last_seen <= $5 THEN $8 ELSE modified END,
		expires = CASE WHEN last_seen <= $5 THEN $9 ELSE expires END
		WHERE source = $1 AND endpoint = $2 AND cell = $3 AND digest = $4`,
		func(i int) ([]any, error) {
			r := runs[i]
			return []any{text(r.Source), string(r.Endpoint), r.Cell.String(), text(r.Digest),
				ms(r.LastSeen), ms(r.Changed), ms(r.ModelRun), text(r.Modified), ms(r.Expires)}, nil
		})
	if err != nil {
		return err
	}
	for i, r := range runs {
		if seen[i] > 0 {
			continue
		}
		if err := addRun(ctx, tx, r); err != nil {
			return fmt.Errorf("%s of %s for %s: %w", r.Endpoint, r.Source, r.Cell, err)
		}
	}
	return nil
}

func addRun(ctx context.Context, tx *sql.Tx, r forecast.Run) error {
	if r.Hours.N == 0 {
		return fmt.Errorf("the run %s is new and has no hours", r.Digest)
	}
	hours, err := forecast.Pack(r.Hours)
	if err != nil {
		return fmt.Errorf("pack hours: %w", err)
	}
	notes, err := encode(r.Notes)
	if err != nil {
		return err
	}
	_, err = exec(ctx, tx, `INSERT INTO runs
		(source, endpoint, cell, digest, model, model_run, notes, first_seen, last_seen, changed, modified, expires, hours)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
		ON CONFLICT (source, endpoint, cell, digest) DO UPDATE SET
		last_seen = CASE WHEN runs.last_seen < excluded.last_seen THEN excluded.last_seen ELSE runs.last_seen END,
		changed = CASE WHEN runs.changed < excluded.changed THEN excluded.changed ELSE runs.changed END`,
		text(r.Source), string(r.Endpoint), r.Cell.String(), text(r.Digest), text(r.Model), ms(r.ModelRun), notes,
		ms(r.FirstSeen), ms(r.LastSeen), ms(r.Changed), text(r.Modified), ms(r.Expires), hours)
	return err
}

// headColumns are all of a run but its hours.
const headColumns = `r.source, r.endpoint, r.cell, r.digest, r.model, r.model_run, r.notes,
	r.first_seen, r.last_seen, r.changed, r.modified, r.expires`

func scanHead(s scanner) (forecast.Run, error) { return scanColumns(s) }

func scanRun(s scanner) (forecast.Run, error) {
	var hours []byte
	r, err := scanColumns(s, &hours)
	if err != nil {
		return forecast.Run{}, err
	}
	if r.Hours, err = forecast.Unpack(hours); err != nil {
		return forecast.Run{}, fmt.Errorf("unpack hours of %s for %s: %w", r.Digest, r.Cell, err)
	}
	return r, nil
}

// scanColumns reads headColumns and what more is asked for.
func scanColumns(s scanner, more ...any) (forecast.Run, error) {
	var r forecast.Run
	var cell string
	var notes jsonText[[]string]
	err := s.Scan(append([]any{&r.Source, &r.Endpoint, &cell, &r.Digest, &r.Model, into(&r.ModelRun), &notes,
		into(&r.FirstSeen), into(&r.LastSeen), into(&r.Changed), &r.Modified, into(&r.Expires)}, more...)...)
	if err != nil {
		return forecast.Run{}, err
	}
	r.Notes = notes.V
	r.Cell, err = forecast.ParseCell(cell)
	return r, err
}

// cellsAtOnce keeps a query's arguments few.
const cellsAtOnce = 200

// newest picks the run of each source, endpoint and cell that was last seen
// latest.
const newest = ` AND r.endpoint IN ('forecast', 'ensemble') AND r.digest = (
	SELECT n.digest FROM runs n
	WHERE n.source = r.source AND n.endpoint = r.endpoint AND n.cell = r.cell
	ORDER BY n.last_seen DESC, n.first_seen DESC, n.digest DESC LIMIT 1)`

// Runs reads the run of each endpoint and cell that was last seen latest, with
// its hours. Cells without any are left out.
func (d *DB) Runs(ctx context.Context, source string, cells []forecast.Cell) ([]forecast.Run, error) {
	return d.newestRuns(ctx, []string{source}, cells, headColumns+", r.hours", scanRun)
}

// Heads reads the same of several sources without the hours, in the order of
// cells and sources: enough to know what is due, at a fraction of the cost.
func (d *DB) Heads(ctx context.Context, sources []string, cells []forecast.Cell) ([]forecast.Run, error) {
	return d.newestRuns(ctx, sources, cells, headColumns, scanHead)
}

func (d *DB) newestRuns(ctx context.Context, sources []string, cells []forecast.Cell, columns string, scan func(scanner) (forecast.Run, error)) ([]forecast.Run, error) {
	var out []forecast.Run
	for some := range slices.Chunk(cells, cellsAtOnce) {
		var args []any
		list := func(n int, of func(i int) string) string {
			marks := make([]string, n)
			for i := range n {
				args = append(args, text(of(i)))
				marks[i] = "$" + strconv.Itoa(len(args))
			}
			return "(" + strings.Join(marks, ", ") + ")"
		}
		where := `r.source IN ` + list(len(sources), func(i int) string { return sources[i] }) +
			` AND r.cell IN ` + list(len(some), func(i int) string { return some[i].String() })
		runs, err := collect(ctx, d.reader, scan, `SELECT `+columns+` FROM runs r WHERE `+where+newest, args...)
		if err != nil {
			return nil, fmt.Errorf("read forecasts of %s: %w", strings.Join(sources, ", "), err)
		}
		out = append(out, runs...)
	}
	slices.SortFunc(out, func(x, y forecast.Run) int {
		return cmp.Or(strings.Compare(x.Cell.String(), y.Cell.String()),
			slices.Index(sources, x.Source)-slices.Index(sources, y.Source), cmp.Compare(y.Endpoint, x.Endpoint))
	})
	return out, nil
}

// RunByDigest reads one run, such as one that a call names; ErrNotFound when
// it is not kept.
func (d *DB) RunByDigest(ctx context.Context, source string, ep forecast.Endpoint, cell forecast.Cell, digest string) (forecast.Run, error) {
	r, ok, err := one(ctx, d.reader, scanRun, `SELECT `+headColumns+`, r.hours FROM runs r
		WHERE r.source = $1 AND r.endpoint = $2 AND r.cell = $3 AND r.digest = $4`,
		text(source), string(ep), cell.String(), text(digest))
	if err == nil && !ok {
		err = ErrNotFound
	}
	if err != nil {
		return forecast.Run{}, fmt.Errorf("read %s %s of %s for %s: %w", ep, digest, source, cell, err)
	}
	return r, nil
}

// Prune deletes the runs last seen before a time that no call names, and gives
// their number; and chances of days more than two years before that.
func (d *DB) Prune(ctx context.Context, before time.Time) (int, error) {
	var n int64
	err := d.write(ctx, func(tx *sql.Tx) (err error) {
		n, err = exec(ctx, tx, `DELETE FROM runs WHERE last_seen < $1
			AND digest NOT IN (SELECT det_digest FROM calls)
			AND digest NOT IN (SELECT ens_digest FROM calls)`, ms(before))
		if err != nil {
			return err
		}
		return pruneChances(ctx, tx, job.DateOf(before.UTC()).AddDays(-keepChances))
	})
	if err != nil {
		return 0, fmt.Errorf("drop old forecasts: %w", err)
	}
	return int(n), nil
}
