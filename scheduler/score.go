package scheduler

import (
	"context"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/ledger"
)

// Bounds of the scoring: how many days a chance waits for past rows, which reach
// back 48 hours, and how many days back the recalibration looks, by when what is
// older has faded to a fifth.
const (
	lostAfter = 3
	fitBack   = 420
)

// score scores the chances that were given for days that are over against the
// past rows, and fits the recalibration of each source to all there are.
func (w *work) score(ctx context.Context) error {
	w.out.Revision = 0 // scores are no part of the book
	yesterday := w.today().AddDays(-1)
	cells := cellsOf(w.book.Jobs, w.today())
	is, err := w.issues(ctx)
	if err != nil {
		return err
	}
	past := pastGrounds{}
	for k, n := range w.s.Sources {
		firm := w.book.Firm.UID
		if k > 0 {
			firm = "" // its own chances, of whatever source, come with the first
		}
		open, err := w.s.Store.Chances(ctx, firm, n.Name, cells, ledger.Open, job.Date{}, yesterday)
		if err != nil {
			return err
		}
		for _, c := range open {
			if w.scoreOne(&c, is[c.Cell].Det, past) {
				w.out.Chances = append(w.out.Chances, c)
			}
		}
		if err := w.refit(ctx, n.Name, yesterday); err != nil {
			return err
		}
	}
	return nil
}

// scoreOne scores one chance, or gives it up; false where it must wait. What a
// crew said of its day comes before the past rows, which are a model's.
func (w *work) scoreOne(c *ledger.Chance, run *forecast.Run, past pastGrounds) bool {
	cs, bay, ok := w.caseThen(*c)
	run = w.recorded(run, c.Date)
	if c.Firm != "" { // its crew was there
		if sealed, rained, known := outcomeBy(w.book.Diary.Word(c.Job, c.Date)); known {
			c.State, c.Sealed, c.Rained, c.How = ledger.Scored, sealed, rained, ledger.CrewReport
			return true
		}
	}
	if ok && bay && run != nil {
		sealed, _, rained, seen := past.of(run, cs).Outturn(cs, c.Date, c.Start, c.Members.Sealed > 0)
		if seen {
			c.State, c.Sealed, c.Rained, c.How = ledger.Scored, sealed, rained, ledger.ModelRows
			c.AirWas = airAt(run.Hours, job.Instant(c.Date, 12*60, cs.Zone))
			return true
		}
	}
	if ok && w.today().DaysSince(c.Date) < lostAfter {
		return false
	}
	c.State = ledger.Lost
	return true
}

// caseThen gives the case that a chance was given for, as the work stood then.
func (w *work) caseThen(c ledger.Chance) (cs rules.Case, bay, ok bool) {
	zone, err := time.LoadLocation(c.Zone)
	if err != nil {
		return rules.Case{}, false, false
	}
	if c.Firm == "" {
		cs = referenceCase(c.Cell, zone)
	} else {
		b, found := w.booking(c.Job)
		if !found {
			return rules.Case{}, false, false
		}
		b.State, b.LaidM2, b.CoatedM2, b.SealedOn = job.Booked, c.LaidM2, c.CoatedM2, c.SealedOn
		if cs, err = w.s.caseOf(w.book.Firm, b, c.Hands, zone); err != nil {
			return rules.Case{}, false, false
		}
	}
	_, bay = cs.NextBay(c.Date)
	return cs, bay, true
}

// pastGrounds keeps decks under past rows while a round of scoring lasts.
type pastGrounds map[groundKey]*rules.Ground

func (p pastGrounds) of(run *forecast.Run, c rules.Case) *rules.Ground {
	k := groundKey{issueKey: issueKey{place: place{cell: CellOf(c.Job.Site)}, det: run.Digest}, surface: rules.SurfaceOf(c.Job.Job), profile: c.Profile.Name}
	if p[k] == nil {
		p[k] = rules.NewGround(forecast.Issue{Det: run}, c.Job.Site, k.surface, c.Profile)
	}
	return p[k]
}

// airAt gives the air of an hour of a single run, °C, nil where it is not known.
func airAt(h forecast.Hours, at time.Time) *float64 {
	x := h.At(forecast.Air, 0, h.Slot(at))
	if !forecast.Known(x) {
		return nil
	}
	v := float64(x)
	return &v
}

// refit fits a source's recalibration once a day, to what was scored by
// yesterday's round.
func (w *work) refit(ctx context.Context, source string, through job.Date) error {
	have, err := w.s.Store.Recal(ctx, source)
	if err != nil || !have.Through.Before(through) {
		return err
	}
	ts, err := w.s.Store.Tallies(ctx, source, through.AddDays(-fitBack))
	if err != nil {
		return err
	}
	if len(ts) == 0 {
		return nil
	}
	w.out.Recals = append(w.out.Recals, ledger.Recal{Source: source, Through: through, Recal: fitTallies(ts, through)})
	return nil
}

// fitTallies fits the lines to counted chances as of a day.
func fitTallies(ts []ledger.Tally, through job.Date) skill.Recal {
	var sealed, rain []skill.Past
	for _, t := range ts {
		p := skill.Past{Lead: t.Lead, Ago: max(0, float64(through.DaysSince(t.Date))), N: float64(t.N)}
		p.Chance, p.Hits = t.Sealed, float64(t.Was)
		sealed = append(sealed, p)
		p.Chance, p.Hits = t.RainOpen, float64(t.Rained)
		rain = append(rain, p)
	}
	return skill.Fit(sealed, rain)
}
