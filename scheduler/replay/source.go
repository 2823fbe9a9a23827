package replay

import (
	"context"
	"time"

	"laycast/forecast"
	"laycast/rules"
)

// source hands a season's forecasts to the scheduler. What lies before now is
// the record itself, not a run of some hours ago.
type source struct {
	w          Weather
	calibrated bool // the members are as wide as the errors: there is nothing to dress
}

// Batch lets any number of cells be asked for at once.
func (source) Batch(forecast.Endpoint) int { return 10_000 }

// Fetch gives the forecasts that stand at now.
func (s source) Fetch(ctx context.Context, ask forecast.Ask) ([]forecast.Run, error) {
	runs, err := s.w.Fetch(ctx, ask)
	if err != nil || len(runs) == 0 {
		return runs, err
	}
	if ask.Endpoint == forecast.Ensemble {
		for i := range runs {
			if s.calibrated {
				runs[i].Parents = runs[i].Hours.Members
			}
		}
		return runs, nil
	}
	h := runs[0].Hours
	past := s.w.Truth(h.Start, max(h.Slot(ask.Now), 0))
	for i := range runs {
		for v, col := range runs[i].Hours.Cols {
			if known := past.Cols[v]; col != nil && known != nil {
				copy(col, known)
			}
		}
		runs[i].Digest = forecast.Digest(runs[i].Hours)
	}
	return runs, nil
}

// knower forecasts the truth: what the daemon would do if it knew the weather
// two weeks ahead.
type knower struct{ Weather }

const (
	knownBefore = 48
	knownAhead  = 15 * 24
)

// Fetch gives the record as every member.
func (k knower) Fetch(_ context.Context, ask forecast.Ask) ([]forecast.Run, error) {
	start, now, ep := ask.Now.UTC().Truncate(time.Hour), ask.Now, ask.Endpoint
	h := k.Truth(start.Add(-knownBefore*time.Hour), knownBefore+knownAhead)
	if ep == forecast.Ensemble {
		h = equal(h, knownBefore, rules.LeastMembers)
	}
	digest := forecast.Digest(h)
	runs := make([]forecast.Run, len(ask.Cells))
	for i, c := range ask.Cells {
		runs[i] = forecast.Run{Source: sourceName, Endpoint: ep, Cell: c, Model: "record", ModelRun: start, Hours: h, Digest: digest, FirstSeen: now, LastSeen: now}
		for v, col := range h.Cols {
			if col != nil {
				runs[i].Hours.Cols[v] = append([]float32(nil), col...)
			}
		}
	}
	return runs, nil
}

// equal gives n members that are all the hours of one from slot `from` on.
func equal(one forecast.Hours, from, n int) forecast.Hours {
	out := forecast.Hours{Start: one.Start.Add(time.Duration(from) * time.Hour), N: one.N - from, Members: n}
	for v, col := range one.Cols {
		if col == nil {
			continue
		}
		for range n {
			out.Cols[v] = append(out.Cols[v], col[from:one.N]...)
		}
	}
	return out
}
