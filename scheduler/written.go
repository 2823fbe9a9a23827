package scheduler

import (
	"sync"

	"laycast/forecast"
	"laycast/job"
	"laycast/scheduler/ledger"
)

// writtenRows remembers which of the reference roof's chances this process has
// written. Who writes one a second time adds nothing to it, so the
// other firms of a cell need not try; to PostgreSQL each try was a statement, and a
// wait for whoever else was writing the same row. The zero value is ready for use.
type writtenRows struct {
	mu   sync.Mutex
	rows map[givenRow]bool
}

// givenRow is what the table of chances holds one row of.
type givenRow struct {
	source string
	cell   forecast.Cell
	date   job.Date
	lead   int
}

func rowOf(x ledger.Chance) givenRow { return givenRow{x.Source, x.Cell, x.Date, x.Lead} }

// mostWritten bounds the rows remembered, of some 100 bytes; a cell has eight a day.
const mostWritten = 50_000

// add remembers the reference roof's among chances that were committed.
func (w *writtenRows) add(xs []ledger.Chance) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.rows == nil || len(w.rows) > mostWritten {
		w.rows = map[givenRow]bool{}
	}
	for _, x := range xs {
		if x.Firm == "" && x.State == ledger.Open {
			w.rows[rowOf(x)] = true
		}
	}
}

// without gives the chances that are not known to be written.
func (w *writtenRows) without(xs []ledger.Chance) (out []ledger.Chance) {
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, x := range xs {
		if !w.rows[rowOf(x)] {
			out = append(out, x)
		}
	}
	return out
}
