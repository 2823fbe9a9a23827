package db

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/scheduler/ledger"
)

// putChances adds chances that were given, and closes those that are scored or
// lost. One that is there stays as it was given: who comes second adds nothing,
// and what is closed stays closed.
func (d *DB) putChances(ctx context.Context, tx *sql.Tx, cs []ledger.Chance) error {
	cs = slices.Clone(cs)
	slices.SortFunc(cs, compareChances)
	_, err := d.each(ctx, tx, len(cs), `INSERT INTO chances
		(source, cell, firm, job, date, lead, state, sealed, rain_open, was_sealed, was_rained, body)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
		ON CONFLICT (source, cell, firm, job, date, lead) DO UPDATE SET state = excluded.state,
		was_sealed = excluded.was_sealed, was_rained = excluded.was_rained, body = excluded.body
		WHERE chances.state = 'open' AND excluded.state <> 'open'`,
		func(i int) ([]any, error) {
			c := cs[i]
			b, err := encode(c)
			if err != nil {
				return nil, fmt.Errorf("%s, %s: %w", c.Cell, c.Date, err)
			}
			return []any{text(c.Source), c.Cell.String(), text(c.Firm), text(c.Job), c.Date.String(), c.Lead, string(c.State),
				thousandths(c.Members.Sealed), thousandths(c.Members.RainOpen), one01(c.Sealed), one01(c.Rained), b}, nil
		})
	return err
}

func compareChances(x, y ledger.Chance) int {
	return cmp.Or(strings.Compare(x.Source, y.Source), strings.Compare(x.Cell.String(), y.Cell.String()), strings.Compare(x.Firm, y.Firm),
		strings.Compare(x.Job, y.Job), x.Date.Compare(y.Date), cmp.Compare(x.Lead, y.Lead))
}

func thousandths(p float64) int64 { return int64(math.Round(1000 * p)) }

func one01(is bool) int64 {
	if is {
		return 1
	}
	return 0
}

// Chances reads the chances in one state for days from `from` on and not after
// `to` (zero: no bound): those of a firm's calls, and those of the reference
// roof of a source ("" = of all) in some cells.
func (d *DB) Chances(ctx context.Context, firm, source string, cells []forecast.Cell, state ledger.ChanceState, from, to job.Date) ([]ledger.Chance, error) {
	last := "9999-12-31"
	if !to.IsZero() {
		last = to.String()
	}
	args := []any{string(state), from.String(), last}
	out, err := collect(ctx, d.reader, body[ledger.Chance], `SELECT body FROM chances
		WHERE state = $1 AND date >= $2 AND date <= $3 AND firm = $4 AND firm <> ''`, append(slices.Clone(args), text(firm))...)
	if err != nil {
		return nil, fmt.Errorf("read the chances given to firm %q: %w", firm, err)
	}
	for some := range slices.Chunk(cells, cellsAtOnce) {
		with := append(slices.Clone(args), text(source))
		marks := make([]string, len(some))
		for i, c := range some {
			with = append(with, c.String())
			marks[i] = "$" + strconv.Itoa(len(with))
		}
		cs, err := collect(ctx, d.reader, body[ledger.Chance], `SELECT body FROM chances
			WHERE state = $1 AND date >= $2 AND date <= $3 AND firm = '' AND ($4 = '' OR source = $4) AND cell IN (`+strings.Join(marks, ", ")+`)`, with...)
		if err != nil {
			return nil, fmt.Errorf("read the chances of %s: %w", source, err)
		}
		out = append(out, cs...)
	}
	slices.SortFunc(out, compareChances)
	return out, nil
}

// JobChances reads the chances of a job's calls, scored or not, by day and lead.
func (d *DB) JobChances(ctx context.Context, firm, id string) ([]ledger.Chance, error) {
	cs, err := collect(ctx, d.reader, body[ledger.Chance], `SELECT body FROM chances WHERE firm = $1 AND job = $2 AND firm <> ''`, text(firm), text(id))
	if err != nil {
		return nil, fmt.Errorf("read the chances of job %q of firm %q: %w", id, firm, err)
	}
	slices.SortFunc(cs, func(x, y ledger.Chance) int { return cmp.Or(x.Date.Compare(y.Date), cmp.Compare(x.Lead, y.Lead)) })
	return cs, nil
}

// Tallies counts the scored chances of a source for days from `from` on, by
// lead, day and chance in hundredths, in that order.
func (d *DB) Tallies(ctx context.Context, source string, from job.Date) ([]ledger.Tally, error) {
	scan := func(s scanner) (ledger.Tally, error) {
		var t ledger.Tally
		var date dateText
		var sealed, rain int64
		err := s.Scan(&t.Lead, &date, &sealed, &rain, &t.N, &t.Was, &t.Rained)
		t.Date, t.Sealed, t.RainOpen = job.Date(date), float64(sealed)/1000, float64(rain)/1000
		return t, err
	}
	ts, err := collect(ctx, d.reader, scan, `SELECT lead, date, MIN(sealed), MIN(rain_open), COUNT(*),
		CAST(SUM(was_sealed) AS BIGINT), CAST(SUM(was_rained) AS BIGINT)
		FROM chances WHERE source = $1 AND date >= $2 AND state = 'scored'
		GROUP BY lead, date, sealed / 10, rain_open / 10`, text(source), from.String())
	if err != nil {
		return nil, fmt.Errorf("count the scored chances of %s: %w", source, err)
	}
	slices.SortFunc(ts, func(x, y ledger.Tally) int {
		return cmp.Or(cmp.Compare(x.Lead, y.Lead), x.Date.Compare(y.Date), cmp.Compare(x.Sealed, y.Sealed), cmp.Compare(x.RainOpen, y.RainOpen))
	})
	return ts, nil
}

// putRecals keeps sources' recalibrations, unless ones fitted to later days are
// there.
func (d *DB) putRecals(ctx context.Context, tx *sql.Tx, rs []ledger.Recal) error {
	rs = slices.Clone(rs)
	slices.SortFunc(rs, func(x, y ledger.Recal) int { return strings.Compare(x.Source, y.Source) })
	_, err := d.each(ctx, tx, len(rs), `INSERT INTO recals (source, through, body) VALUES ($1, $2, $3)
		ON CONFLICT (source) DO UPDATE SET through = excluded.through, body = excluded.body
		WHERE recals.through < excluded.through`,
		func(i int) ([]any, error) {
			b, err := encode(rs[i].Recal)
			if err != nil {
				return nil, fmt.Errorf("%q: %w", rs[i].Source, err)
			}
			return []any{text(rs[i].Source), rs[i].Through.String(), b}, nil
		})
	return err
}

// Recal reads a source's recalibration, one that leaves chances as they are
// where nothing was scored yet.
func (d *DB) Recal(ctx context.Context, source string) (ledger.Recal, error) {
	scan := func(s scanner) (ledger.Recal, error) {
		r := ledger.Recal{Source: source}
		var through dateText
		var b jsonText[skill.Recal]
		err := s.Scan(&through, &b)
		r.Through, r.Recal = job.Date(through), b.V
		return r, err
	}
	r, ok, err := one(ctx, d.reader, scan, `SELECT through, body FROM recals WHERE source = $1`, text(source))
	if err != nil {
		return ledger.Recal{}, fmt.Errorf("read what the chances of %s have come to: %w", source, err)
	}
	if !ok {
		r = ledger.Recal{Source: source}
	}
	return r, nil
}

// keepChances is how many days scored chances are kept: two years, so that a
// season is seen twice. What older ones taught has faded.
const keepChances = 730

// pruneChances drops the chances of days before a date.
func pruneChances(ctx context.Context, tx *sql.Tx, before job.Date) error {
	_, err := exec(ctx, tx, `DELETE FROM chances WHERE date < $1`, before.String())
	return err
}
