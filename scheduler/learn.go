package scheduler

import (
	"context"
	"fmt"
	"math"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/scheduler/ledger"
)

// Bounds of one learning: how many days back it looks for days that were not
// learned from (past rows are of no use much later), and how many cells it does
// in one go, so that it ends well within its lease.
const (
	learnBack = 3
	learnMost = 100
)

// learn compares the days that are over with what the forecasts of the evenings
// before said, cell by cell. A day is learned from once, whichever firm comes
// first: the statistics are the cell's, not the firm's.
func (w *work) learn(ctx context.Context) error {
	w.out.Revision = 0 // statistics are nobody's book
	cells := cellsOf(w.book.Jobs, w.today())
	today := w.now.UTC().Truncate(24 * time.Hour) // elapsed: days of UTC, which has no clock changes
	for _, n := range w.s.Sources {
		known, err := w.s.Store.Skill(ctx, n.Name, cells)
		if err != nil {
			return fmt.Errorf("read how %s has erred: %w", n.Name, err)
		}
		stats := map[forecast.Cell]skill.Stats{}
		for _, k := range known {
			stats[k.Cell] = k.Stats
		}
		for _, c := range cells {
			s, ok := stats[c]
			if !ok {
				s = skill.Prior()
			}
			if len(w.out.Skill) == learnMost {
				w.again(w.now, "") // the rest at once, as another run
				return nil
			}
			learned, err := w.learnCell(ctx, n, c, &s, today)
			if err != nil {
				return err
			}
			if learned {
				w.out.Skill = append(w.out.Skill, ledger.CellStats{Source: n.Name, Cell: c, Stats: s})
			}
		}
	}
	return nil
}

// learnCell learns from the days before today that were not learned from.
func (w *work) learnCell(ctx context.Context, n NamedSource, c forecast.Cell, s *skill.Stats, today time.Time) (bool, error) {
	learned := false
	for back := learnBack; back >= 1; back-- {
		day := today.AddDate(0, 0, -back)
		if day.Before(s.Through) {
			continue
		}
		past, ok, err := w.pastRows(ctx, n, c, day)
		if err != nil {
			return learned, err
		}
		if !ok {
			continue
		}
		outlooks, err := w.outlooks(ctx, n, c, day)
		if err != nil {
			return learned, err
		}
		if len(outlooks) > 0 && s.Update(outlooks, past, day, c.Lon) {
			learned = true
		}
	}
	return learned, nil
}

// pastRows gives the hours of a day that is over, from the run that stood when
// its rows had all come and were still kept.
func (w *work) pastRows(ctx context.Context, n NamedSource, c forecast.Cell, day time.Time) (forecast.Hours, bool, error) {
	end := day.AddDate(0, 0, 1)
	at := end.AddDate(0, 0, 1)
	if at.After(w.now) {
		at = w.now
	}
	runs, err := w.s.Store.RunsAt(ctx, n.Name, c, at, end)
	if err != nil {
		return forecast.Hours{}, false, err
	}
	for _, r := range runs {
		if r.Endpoint == forecast.Deterministic && !r.FirstSeen.Before(end) && !r.Hours.Start.After(day) {
			return r.Hours, true, nil
		}
	}
	return forecast.Hours{}, false, nil
}

// outlooks gives what stood on the evenings before a day: at 18 h by the sun.
func (w *work) outlooks(ctx context.Context, n NamedSource, c forecast.Cell, day time.Time) ([]skill.Outlook, error) {
	const eveningHour, fetchedWithin = 18, 12 * time.Hour
	var out []skill.Outlook
	for back := 1; back <= skill.LeadDays; back++ {
		evening := day.AddDate(0, 0, -back).Add(time.Duration(eveningHour-math.Round(c.Lon/15)) * time.Hour)
		runs, err := w.s.Store.RunsAt(ctx, n.Name, c, evening, evening.Add(-fetchedWithin))
		if err != nil {
			return nil, err
		}
		if o, ok := skill.NewOutlook(n.Of(Issues(runs)[c])); ok {
			out = append(out, o)
		}
	}
	return out, nil
}
