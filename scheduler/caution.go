package scheduler

import (
	"context"
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/scheduler/call"
)

// cautionAhead is the span over which the rain of two forecasts is compared.
const cautionAhead = 48 * time.Hour // elapsed: FORECAST_API §7 row 7

// caution says where another forecast contradicts the rain of the one that is
// called from: the source's hourly run its ensemble, and what other sources sent
// lately for the same place. Rain that a forecast has missed cannot be told from
// its own figures. flip says that the other is wet where the one called from is
// dry, in the hours in which the roof would be open.
func (w *work) caution(ctx context.Context, in call.Input) (words string, flip bool, err error) {
	base, name := in.Issue.Ens, "the mean of "+in.Issue.Source+"'s ensemble"
	if base == nil {
		base, name = in.Issue.Det, "the hourly forecast of "+in.Issue.Source
	}
	if base == nil {
		return "", false, nil
	}
	open, sealed := w.openHours(in)
	see := func(from string, other *forecast.Run) {
		if gap := forecast.CompareRain(base.Hours, other.Hours, w.now, w.now.Add(cautionAhead)); words == "" {
			words = gap.Words(name, from)
		}
		if gap := forecast.CompareRain(base.Hours, other.Hours, open, sealed); gap.Flip && gap.B > gap.A && !flip {
			words, flip = "in the hours of the visit "+gap.Words(name, from), true
		}
	}
	if in.Issue.Ens != nil && in.Issue.Det != nil {
		see("its hourly forecast", in.Issue.Det)
	}
	for _, n := range w.s.Sources {
		if n.Name == in.Issue.Source {
			continue
		}
		runs, err := w.s.Store.Runs(ctx, n.Name, []forecast.Cell{base.Cell})
		if err != nil {
			return "", false, fmt.Errorf("read the forecast of %s: %w", n.Name, err)
		}
		for i := range runs {
			if r := &runs[i]; r.Endpoint == forecast.Deterministic && w.now.Sub(r.LastSeen) <= call.SeenWithin && !stuck(r) {
				see(n.Name, r)
			}
		}
	}
	return words, flip, nil
}

// openHours gives the span from the planned start to the end of the work day, or
// to when the roof is sealed where that is known.
func (w *work) openHours(in call.Input) (from, to time.Time) {
	from = job.Instant(in.Date, in.Visit.Start, w.zone)
	to = job.Instant(in.Date, w.book.Firm.Work.To, w.zone)
	if in.Day.SealedBy.After(from) {
		to = in.Day.SealedBy
	}
	return from, to
}
