package db

import (
	"cmp"
	"context"
	"database/sql"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"laycast/forecast"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

func (d *DB) putSources(ctx context.Context, tx *sql.Tx, ss []ledger.SourceState) error {
	ss = slices.Clone(ss)
	slices.SortFunc(ss, func(x, y ledger.SourceState) int {
		return cmp.Or(cmp.Compare(x.Source, y.Source), cmp.Compare(x.Endpoint, y.Endpoint))
	})
	_, err := d.each(ctx, tx, len(ss), `INSERT INTO sources
		(source, endpoint, failures, since, until, kind, note, tried, good, most)
		VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
		ON CONFLICT (source, endpoint) DO UPDATE SET failures = excluded.failures, since = excluded.since,
		until = excluded.until, kind = excluded.kind, note = excluded.note, tried = excluded.tried,
		good = excluded.good, most = excluded.most`,
		func(i int) ([]any, error) {
			s := ss[i]
			return []any{text(s.Source), string(s.Endpoint), s.Failures, ms(s.Since), ms(s.Until), string(s.Kind), text(s.Note),
				ms(s.Tried), ms(s.Good), s.Most}, nil
		})
	return err
}

// SourceStates reads how every endpoint of every source is doing.
func (d *DB) SourceStates(ctx context.Context) ([]ledger.SourceState, error) {
	scan := func(s scanner) (ledger.SourceState, error) {
		var v ledger.SourceState
		err := s.Scan(&v.Source, &v.Endpoint, &v.Failures, into(&v.Since), into(&v.Until), &v.Kind, &v.Note,
			into(&v.Tried), into(&v.Good), &v.Most)
		return v, err
	}
	ss, err := collect(ctx, d.reader, scan, `SELECT source, endpoint, failures, since, until, kind, note, tried, good, most FROM sources`)
	if err != nil {
		return nil, fmt.Errorf("read the states of the sources: %w", err)
	}
	slices.SortFunc(ss, func(x, y ledger.SourceState) int {
		return cmp.Or(strings.Compare(x.Source, y.Source), cmp.Compare(y.Endpoint, x.Endpoint))
	})
	return ss, nil
}

// putRefused keeps the cells that sources refuse, and forgets those whose Until
// is zero.
func (d *DB) putRefused(ctx context.Context, tx *sql.Tx, cs []ledger.RefusedCell) error {
	cs = slices.Clone(cs)
	slices.SortFunc(cs, func(x, y ledger.RefusedCell) int {
		return cmp.Or(cmp.Compare(x.Source, y.Source), cmp.Compare(x.Endpoint, y.Endpoint), cmp.Compare(x.Cell.String(), y.Cell.String()))
	})
	for _, c := range cs {
		var err error
		if c.Until.IsZero() {
			_, err = exec(ctx, tx, `DELETE FROM refused WHERE source = $1 AND endpoint = $2 AND cell = $3`,
				text(c.Source), string(c.Endpoint), c.Cell.String())
		} else {
			_, err = exec(ctx, tx, `INSERT INTO refused (source, endpoint, cell, since, until, note)
				VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (source, endpoint, cell) DO UPDATE SET
				until = excluded.until, note = excluded.note`,
				text(c.Source), string(c.Endpoint), c.Cell.String(), ms(c.Since), ms(c.Until), text(c.Note))
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// RefusedCells reads the cells that sources refuse, in the order of their keys.
func (d *DB) RefusedCells(ctx context.Context) ([]ledger.RefusedCell, error) {
	scan := func(s scanner) (ledger.RefusedCell, error) {
		var v ledger.RefusedCell
		var cell string
		err := s.Scan(&v.Source, &v.Endpoint, &cell, into(&v.Since), into(&v.Until), &v.Note)
		if err == nil {
			v.Cell, err = forecast.ParseCell(cell)
		}
		return v, err
	}
	cs, err := collect(ctx, d.reader, scan, `SELECT source, endpoint, cell, since, until, note FROM refused
		ORDER BY source, endpoint, cell`)
	if err != nil {
		return nil, fmt.Errorf("read the places that sources refuse: %w", err)
	}
	return cs, nil
}

// allowance is what requests to one source have cost, in hundredths of its
// calls, and who asks it now.
type allowance struct {
	holder string // firm
	task   task.Name
	until  time.Time
	from   [3]time.Time // of the present minute, hour and day
	spent  [3]int64
}

func (a *allowance) heldBy(r ledger.Request) bool { return a.holder == r.Firm && a.task == r.Task }

// windows are the spans in which sources count (FORECAST_API §1.7): fixed ones of
// UTC.
var windows = [3]time.Duration{time.Minute, time.Hour, 24 * time.Hour} // elapsed: sources count days in UTC

func hundredths(calls float64) int64 { return int64(math.Ceil(calls*100 - 1e-6)) }

// bounds gives the limits in hundredths.
func bounds(l ledger.Limits) [3]int64 {
	return [3]int64{hundredths(l.Minute), hundredths(l.Hour), hundredths(l.Day)}
}

// lookAgain is how long to wait for another's request to end before looking
// again.
const lookAgain = 10 * time.Second

// clocks is waited past the end of a window, for clocks that differ.
const clocks = 10 * time.Second

// Reserve takes the one right to ask a source, until r.Until, and books what the
// request costs; Commit gives the right back (Decision.Asked). The cost is kept
// before the request leaves, so that a process that is killed over it does not
// forget it. When another holds the right, or a limit would be passed, nothing
// is taken and wait says when to look again; it is zero otherwise. A request
// that costs more than a whole limit may go when nothing else was spent.
func (d *DB) Reserve(ctx context.Context, r ledger.Request) (wait time.Time, err error) {
	err = d.write(ctx, func(tx *sql.Tx) error {
		a, err := d.allowanceOf(ctx, tx, r.Source)
		if err != nil {
			return err
		}
		if wait = a.wait(r); !wait.IsZero() {
			return nil
		}
		for i := range a.spent {
			a.spent[i] += hundredths(r.Cost)
		}
		a.holder, a.task, a.until = r.Firm, r.Task, r.Until
		return putAllowance(ctx, tx, r.Source, a)
	})
	if err != nil {
		return time.Time{}, fmt.Errorf("reserve a request to %s: %w", r.Source, err)
	}
	return wait, nil
}

// wait moves the windows on to r.At and says when the request may be made; zero
// is now.
func (a *allowance) wait(r ledger.Request) time.Time {
	for i, w := range windows {
		if from := r.At.UTC().Truncate(w); !from.Equal(a.from[i]) {
			a.from[i], a.spent[i] = from, 0
		}
	}
	// a holder whose time lies further ahead than any request lasts lives by
	// another clock
	if a.holder != "" && !a.heldBy(r) && a.until.After(r.At) && !a.until.After(r.Until) {
		if next := r.At.Add(lookAgain); next.Before(a.until) {
			return next
		}
		return a.until
	}
	var wait time.Time
	for i, limit := range bounds(r.Limits) {
		if limit > 0 && a.spent[i] > 0 && a.spent[i]+hundredths(r.Cost) > limit {
			wait = a.from[i].Add(windows[i] + clocks)
		}
	}
	return wait
}

// allowanceOf reads a source's row, which is made where there is none, and locks
// it.
func (d *DB) allowanceOf(ctx context.Context, tx *sql.Tx, source string) (allowance, error) {
	_, err := exec(ctx, tx, `INSERT INTO allowances
		(source, holder, task, held_until, minute, minute_spent, hour, hour_spent, day, day_spent)
		VALUES ($1, '', '', `+none+`, `+none+`, 0, `+none+`, 0, `+none+`, 0) ON CONFLICT (source) DO NOTHING`, text(source))
	if err != nil {
		return allowance{}, err
	}
	scan := func(s scanner) (allowance, error) {
		var a allowance
		err := s.Scan(&a.holder, &a.task, into(&a.until), into(&a.from[0]), &a.spent[0], into(&a.from[1]), &a.spent[1], into(&a.from[2]), &a.spent[2])
		return a, err
	}
	a, ok, err := one(ctx, tx, scan, `SELECT holder, task, held_until, minute, minute_spent, hour, hour_spent, day, day_spent
		FROM allowances WHERE source = $1`+d.forUpdate(), text(source))
	if err == nil && !ok {
		err = fmt.Errorf("the allowance of %s is not there", source)
	}
	return a, err
}

func putAllowance(ctx context.Context, tx *sql.Tx, source string, a allowance) error {
	_, err := exec(ctx, tx, `UPDATE allowances SET holder = $2, task = $3, held_until = $4, minute = $5, minute_spent = $6,
		hour = $7, hour_spent = $8, day = $9, day_spent = $10 WHERE source = $1`,
		text(source), text(a.holder), string(a.task), ms(a.until), ms(a.from[0]), a.spent[0], ms(a.from[1]), a.spent[1], ms(a.from[2]), a.spent[2])
	return err
}

// endRequest gives the right to ask back, and what of the cost was not used.
func (d *DB) endRequest(ctx context.Context, tx *sql.Tx, r *ledger.Request) error {
	if r == nil {
		return nil
	}
	a, err := d.allowanceOf(ctx, tx, r.Source)
	if err != nil {
		return err
	}
	if a.heldBy(*r) {
		a.holder, a.task, a.until = "", "", time.Time{}
	}
	for i, w := range windows {
		if a.from[i].Equal(r.At.UTC().Truncate(w)) { // of the window it was booked in
			a.spent[i] = max(0, a.spent[i]-hundredths(r.Back))
		}
	}
	return putAllowance(ctx, tx, r.Source, a)
}
