package scheduler

import (
	"context"
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/scheduler/call"
)

// Issues gives the issue to judge by for every cell of the jobs: of the first
// source, in order of preference, whose runs are fresh enough for a go, or that
// is well (an ensemble is fetched every six hours: between them it is no reason
// to take another's weather). Where there is none, it is the one with the newest content, which call then never
// lets be a go. An issue that is not of the first source says why.
func (s *Scheduler) Issues(ctx context.Context, jobs []job.Booking, now time.Time, zone *time.Location) (map[forecast.Cell]forecast.Issue, error) {
	out, rest := map[forecast.Cell]forecast.Issue{}, Cells(jobs)
	h, err := s.healthNow(ctx, now, zone)
	if err != nil {
		return nil, err
	}
	for k, n := range s.Sources {
		if len(rest) == 0 {
			break
		}
		runs, err := s.Store.Runs(ctx, n.Name, rest)
		if err != nil {
			return nil, fmt.Errorf("read the forecasts: %w", err)
		}
		h.see(runs)
		got := Issues(runs)
		var still []forecast.Cell
		for _, c := range rest {
			is, ok := got[c]
			if ok {
				is = n.Of(is)
			}
			if k > 0 && ok {
				is.Note = fmt.Sprintf("the weather is from %s, since %s", n.Name, h.why(s.Sources[0], c))
			}
			fresh := ok && (call.Age(is, now) == "" || !contentOf(is).IsZero() && !h.unwell(n, c))
			if best, have := out[c]; ok && (fresh || !have || newer(is, best)) {
				out[c] = is
			}
			if !fresh {
				still = append(still, c)
			}
		}
		rest = still
	}
	return out, s.Learned(ctx, out)
}

// Cells gives the cells of jobs, each once.
func Cells(jobs []job.Booking) []forecast.Cell {
	seen := map[forecast.Cell]bool{}
	var cells []forecast.Cell
	for _, b := range jobs {
		if c := CellOf(b.Site); !seen[c] {
			seen[c] = true
			cells = append(cells, c)
		}
	}
	return cells
}

// newer reports whether the content of x is newer than that of y: of the older
// run of each, a missing one being older than all.
func newer(x, y forecast.Issue) bool { return contentOf(x).After(contentOf(y)) }

func contentOf(is forecast.Issue) time.Time {
	switch {
	case is.Det == nil, is.Ens == nil && !is.DetOnly:
		return time.Time{}
	case is.Ens == nil || is.Det.Changed.Before(is.Ens.Changed):
		return is.Det.Changed
	}
	return is.Ens.Changed
}

// Issues pairs the newest runs of each cell; they are of one source.
func Issues(runs []forecast.Run) map[forecast.Cell]forecast.Issue {
	out := map[forecast.Cell]forecast.Issue{}
	for i := range runs {
		is := out[runs[i].Cell]
		if runs[i].Endpoint == forecast.Ensemble {
			is.Ens = &runs[i]
		} else {
			is.Det = &runs[i]
		}
		is.Source = runs[i].Source
		out[runs[i].Cell] = is
	}
	return out
}

// issues chooses the issues for the book's jobs, and from then on the weather in
// this work's mails is credited to their sources.
func (w *work) issues(ctx context.Context) (map[forecast.Cell]forecast.Issue, error) {
	is, err := w.s.Issues(ctx, w.book.Jobs, w.now, w.zone)
	if err != nil {
		return nil, err
	}
	used := map[string]bool{}
	for _, x := range is {
		used[x.Source] = true
	}
	w.used = nil
	for _, n := range w.s.Sources {
		if used[n.Name] {
			w.used = append(w.used, n.Name)
		}
	}
	w.say = w.say.Crediting(w.s.CreditOf(w.used))
	return is, nil
}

// CreditOf gives the credit of the named sources; of the first one where none is
// named.
func (s *Scheduler) CreditOf(names []string) string {
	out := ""
	for i, n := range s.Sources {
		named := len(names) == 0 && i == 0
		for _, x := range names {
			named = named || x == n.Name
		}
		if named && n.Credit != "" {
			if out != "" {
				out += " "
			}
			out += n.Credit
		}
	}
	return out
}
