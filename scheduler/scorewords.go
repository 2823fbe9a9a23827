package scheduler

import (
	"context"
	"fmt"
	"math"
	"strings"

	"laycast/job"
	"laycast/scheduler/ledger"
)

// How far back the week mail tells of chances, and how many it needs to: below
// that a share means nothing (ours, no source).
const (
	toldBack  = 90 // days
	toldFewer = 10
)

// honesty tells how the chances of the last weeks came out; "" where none was
// scored.
func (w *work) honesty(ctx context.Context) (string, error) {
	from := w.today().AddDays(-toldBack)
	cs, err := w.s.Store.Chances(ctx, w.book.Firm.UID, "", cellsOf(w.book.Jobs, w.today()), ledger.Scored, from, job.Date{})
	if err != nil {
		return "", err
	}
	return honestyWords(cs), nil
}

// honestyWords tells of the chances given the evening before, calls and reference
// roof together, by what the day is called for.
func honestyWords(cs []ledger.Chance) string {
	classes := []struct {
		words    string
		from, to float64
	}{{"70 % and more", 0.7, 2}, {"50 to 70 %", 0.5, 0.7}, {"under 50 %", 0, 0.5}}
	total := 0
	var parts []string
	for _, k := range classes {
		n, sum, came := 0, 0.0, 0
		for _, c := range cs {
			if c.Lead == 1 && c.Told.Sealed >= k.from && c.Told.Sealed < k.to {
				n, sum = n+1, sum+c.Told.Sealed
				if c.Sealed {
					came++
				}
			}
		}
		if total += n; n > 0 {
			parts = append(parts, fmt.Sprintf("%d of %s (%.0f %% on the mean), of which %d came true (%.0f %%)",
				n, k.words, math.Round(100*sum/float64(n)), came, 100*float64(came)/float64(n)))
		}
	}
	switch {
	case total == 0:
		return ""
	case total < toldFewer:
		return fmt.Sprintf("Chances scored in the last %d days: %d, too few to tell how honest they are.", toldBack, total)
	}
	return fmt.Sprintf("Chances given the evening before in the last %d days, against the weather that came by the weather model (no gauge): %s.", toldBack, strings.Join(parts, "; "))
}
