package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/forecast/openmeteo"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
)

// Bounds of one learning from past forecasts: what the source keeps of leads, and
// how many days and places one request may ask for (forecast/openmeteo).
const (
	pastLeads  = 7
	pastMost   = 40
	pastPlaces = 10
)

// pastSource is a source that tells what it forecast in the past.
type pastSource interface {
	Previous(ctx context.Context, cells []forecast.Cell, leads, days int, now time.Time) ([]openmeteo.Previous, error)
	PreviousWeight(cells, leads, days int) float64
}

// pastLearned is what came of it at one source.
type pastLearned struct {
	Source  string `json:"source"`
	Learned int    `json:"places_learned"` // from past forecasts
	Known   int    `json:"places_known"`   // left as they are: their own record is long enough
	Nothing int    `json:"places_without"` // of which the source has kept nothing
	Waiting int    `json:"places_waiting"` // not asked for yet: the allowance is spent
	Until   any    `json:"again_from"`     // when to ask for those
}

// past learns how the firm's sources have erred from what they forecast in the
// past. A place is learned from once: done again, nothing is counted twice.
func (c *skillCmd) past(ctx context.Context, s *session) error {
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	now, pretended, err := h.now(ctx, "")
	if err != nil {
		return err
	}
	sources, err := h.sources(pretended)
	if err != nil {
		return err
	}
	b, err := h.db.Book(ctx, h.firm.UID, job.Date{Year: 9999, Month: time.January, Day: 1})
	if err != nil {
		return err
	}
	var open []job.Booking
	for _, j := range b.Jobs {
		if j.State == job.Booked {
			open = append(open, j)
		}
	}
	cells := scheduler.Cells(open)
	if len(cells) == 0 {
		return errors.New("there is no booked job, so no place to learn about; take jobs in first (laycast import)")
	}
	out := []pastLearned{}
	for _, n := range sources {
		src, ok := n.Source.(pastSource)
		if !ok {
			continue
		}
		l, err := learnPast(ctx, budgeted{h, n, now}, src, cells, c.LearnPast)
		if err != nil {
			return fmt.Errorf("learn from the past forecasts of %s: %w", n.Name, err)
		}
		out = append(out, l)
	}
	if len(out) == 0 {
		return errors.New("none of the firm's sources tells its past forecasts; those of kind open-meteo do")
	}
	if c.JSON {
		return s.printJSON(out)
	}
	for _, l := range out {
		l.text(s, c.LearnPast)
	}
	return nil
}

// learnPast asks one source for past forecasts, some places a request, and keeps
// what they teach after each.
func learnPast(ctx context.Context, b budgeted, src pastSource, cells []forecast.Cell, days int) (pastLearned, error) {
	out := pastLearned{Source: b.n.Name}
	known, err := b.h.db.Skill(ctx, b.n.Name, cells)
	if err != nil {
		return out, err
	}
	record := map[forecast.Cell]skill.Stats{}
	for _, k := range known {
		record[k.Cell] = k.Stats
	}
	var ask []forecast.Cell
	for _, c := range cells {
		// a day of single runs counts half (skill.UpdatePairs), so an own record of
		// half as many days is worth as much
		if 2*record[c].Days >= days {
			out.Known++
			continue
		}
		ask = append(ask, c)
	}
	for len(ask) > 0 {
		some := ask[:min(len(ask), pastPlaces)]
		wait, err := b.book(ctx, src.PreviousWeight(len(some), pastLeads, days), func() (ledger.Decision, error) {
			got, err := src.Previous(ctx, some, pastLeads, days, b.now)
			var d ledger.Decision
			for _, p := range got {
				stats, ok := statsOf(p)
				if !ok {
					out.Nothing++
					continue
				}
				d.Skill = append(d.Skill, ledger.CellStats{Source: b.n.Name, Cell: p.Cell, Stats: stats, Over: record[p.Cell].Through})
			}
			out.Learned += len(d.Skill)
			return d, err
		})
		if !wait.IsZero() && out.Learned+out.Nothing > 0 {
			out.Waiting, out.Until = len(ask), stamp(wait)
			return out, nil
		}
		if err != nil {
			return out, err
		}
		ask = ask[len(some):]
	}
	return out, nil
}

// statsOf begins a record with past forecasts; false where nothing is known of
// them.
func statsOf(p openmeteo.Previous) (skill.Stats, bool) {
	pairs := skill.PairsOf(p.Leads)
	if len(pairs) == 0 {
		return skill.Stats{}, false
	}
	s := skill.Prior()
	s.UpdatePairs(pairs, p.Cell.Lon)
	return s, true
}

// text says what came of it.
func (l pastLearned) text(s *session, days int) {
	if l.Learned > 0 {
		s.printf("%s: learned from its forecasts of the last %d days at %s.\n", l.Source, days, places(l.Learned))
	}
	if l.Known > 0 {
		s.printf("%s: %s left as known: the record there is worth as much already.\n", l.Source, places(l.Known))
	}
	if l.Nothing > 0 {
		s.printf("%s: nothing is kept of its forecasts for %s; there laycast learns from tomorrow on, day by day.\n", l.Source, places(l.Nothing))
	}
	if l.Waiting > 0 {
		s.printf("%s: %s not asked for yet, the allowance is spent; run this again after %s.\n", l.Source, places(l.Waiting), l.Until)
	}
}

func places(n int) string {
	if n == 1 {
		return "1 place"
	}
	return fmt.Sprintf("%d places", n)
}
