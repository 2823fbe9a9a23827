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
	"laycast/forecast/skill"
	"laycast/scheduler/ledger"
)

// putSkill keeps error statistics, unless later ones are there, other than those
// they say they replace: two processes that learned from the same day wrote the
// same.
func (d *DB) putSkill(ctx context.Context, tx *sql.Tx, ss []ledger.CellStats) error {
	ss = slices.Clone(ss)
	slices.SortFunc(ss, func(x, y ledger.CellStats) int {
		return cmp.Or(cmp.Compare(x.Source, y.Source), cmp.Compare(x.Cell.String(), y.Cell.String()))
	})
	_, err := d.each(ctx, tx, len(ss), `INSERT INTO skill (source, cell, through, body) VALUES ($1, $2, $3, $4)
		ON CONFLICT (source, cell) DO UPDATE SET through = excluded.through, body = excluded.body
		WHERE skill.through < excluded.through OR skill.through = $5`,
		func(i int) ([]any, error) {
			s := ss[i]
			b, err := encode(s.Stats)
			if err != nil {
				return nil, fmt.Errorf("%s of %s: %w", s.Cell, s.Source, err)
			}
			return []any{text(s.Source), s.Cell.String(), ms(s.Stats.Through), b, ms(s.Over)}, nil
		})
	return err
}

// Skill reads the error statistics of a source's cells. Cells that were never
// learned from are left out.
func (d *DB) Skill(ctx context.Context, source string, cells []forecast.Cell) ([]ledger.CellStats, error) {
	scan := func(s scanner) (ledger.CellStats, error) {
		out := ledger.CellStats{Source: source}
		var cell string
		var body jsonText[skill.Stats]
		if err := s.Scan(&cell, &body); err != nil {
			return out, err
		}
		out.Stats = body.V
		var err error
		out.Cell, err = forecast.ParseCell(cell)
		return out, err
	}
	var out []ledger.CellStats
	for some := range slices.Chunk(cells, cellsAtOnce) {
		marks, args := cellMarks([]any{text(source)}, some)
		ss, err := collect(ctx, d.reader, scan, `SELECT cell, body FROM skill WHERE source = $1 AND cell IN (`+marks+`)`, args...)
		if err != nil {
			return nil, fmt.Errorf("read how %s has erred: %w", source, err)
		}
		out = append(out, ss...)
	}
	slices.SortFunc(out, func(x, y ledger.CellStats) int { return strings.Compare(x.Cell.String(), y.Cell.String()) })
	return out, nil
}

// cellMarks adds cells to a query's arguments and gives their marks.
func cellMarks(args []any, cells []forecast.Cell) (string, []any) {
	marks := make([]string, len(cells))
	for i, c := range cells {
		args = append(args, c.String())
		marks[i] = "$" + strconv.Itoa(len(args))
	}
	return strings.Join(marks, ", "), args
}

// RunsAt reads the run of each endpoint that stood at a moment for one cell:
// of those first seen by then the latest, none that was last seen before
// `since`.
func (d *DB) RunsAt(ctx context.Context, source string, cell forecast.Cell, at, since time.Time) ([]forecast.Run, error) {
	runs, err := collect(ctx, d.reader, scanRun, `SELECT `+headColumns+`, r.hours FROM runs r
		WHERE r.source = $1 AND r.cell = $2 AND r.endpoint IN ('forecast', 'ensemble') AND r.digest = (
			SELECT n.digest FROM runs n
			WHERE n.source = r.source AND n.endpoint = r.endpoint AND n.cell = r.cell
			AND n.first_seen <= $3 AND n.last_seen >= $4
			ORDER BY n.first_seen DESC, n.digest DESC LIMIT 1)`, text(source), cell.String(), ms(at), ms(since))
	if err != nil {
		return nil, fmt.Errorf("read the forecasts of %s for %s as of %s: %w", source, cell, at.UTC().Format(time.RFC3339), err)
	}
	slices.SortFunc(runs, func(x, y forecast.Run) int { return cmp.Compare(y.Endpoint, x.Endpoint) })
	return runs, nil
}
