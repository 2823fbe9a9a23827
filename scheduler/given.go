package scheduler

import (
	"math"
	"slices"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// The reference roof: what every source and cell is asked for every evening, so
// that chances are scored where nobody lays too. 20 m² stripped and laid anew by
// a pair is a day's work by common practice, no source.
const (
	referenceM2    = 20
	referenceHands = 2
	referenceAhead = 7 // days
	// referenceMost bounds how many cells one firm's evening asks for.
	referenceMost = 60
	// airQuantiles is how many numbers the air at noon is kept as.
	airQuantiles = 20
)

// referenceJob is the reference roof at a cell, square with a drip edge all
// around and one outlet.
func referenceJob(c forecast.Cell, zone string) job.Booking {
	j := job.Job{ID: "reference", Site: job.Site{Lat: c.Lat, Lon: c.Lon, ElevationM: float64(c.Elev), Zone: zone}}
	j.Roof.Work, j.Roof.Deck, j.Roof.AreaM2, j.Roof.Outlets = job.Replace, job.NewBoard, referenceM2, 1
	j.Roof.Edges = []job.Edge{{Kind: job.Drip, LengthM: 4 * math.Sqrt(referenceM2)}}
	return job.Booking{Job: j, State: job.Booked, NextVisit: 1}
}

// referenceCase is the case of the reference roof, by the default working hours
// whoever asks (and judged by the default bounds): its chances belong to the cell.
func referenceCase(c forecast.Cell, zone *time.Location) rules.Case {
	return rules.Case{Job: referenceJob(c, zone.String()), Crew: referenceHands, Profile: rules.Polyester(), Hours: job.DefaultFirm().Work, Zone: zone}
}

// giveReference keeps the chances of the reference roof in the cells that are
// asked for, from so many days ahead to so many.
func (w *work) giveReference(is map[forecast.Cell]forecast.Issue, from, to int) {
	cells := cellsOf(w.book.Jobs, w.today())
	cells = cells[:min(len(cells), referenceMost)]
	given := make([][]ledger.Chance, len(cells))
	sideBySide(len(cells), func(i int) {
		given[i] = w.referenceAt(cells[i], is[cells[i]], from, to)
	})
	for _, xs := range given {
		w.out.Chances = append(w.out.Chances, w.s.grounds.written.without(xs)...)
	}
}

// referenceKey is all that the chances of the reference roof hang on, beside when
// they are made; at is that too where they are of the same day (else zero).
type referenceKey struct {
	issueKey
	recal    skill.Recal
	zone     string
	today    job.Date
	from, to int
	at       time.Time
}

// referenceAt gives the chances of the reference roof in one cell. They are the
// cell's and no firm's, so firms that share it share the work.
func (w *work) referenceAt(c forecast.Cell, issue forecast.Issue, from, to int) []ledger.Chance {
	if call.Age(issue, w.now) != "" {
		return nil // a chance on an old forecast tells nothing of its source
	}
	k := referenceKey{recal: w.s.recals.of(issue.Source), zone: w.zone.String(), today: w.today(), from: from, to: to}
	k.issueKey, _ = w.s.grounds.keyOf(issue, c)
	if from == 0 {
		k.at = w.now // times on site before are over
	}
	out := slices.Clone(cached(&w.s.grounds.given, k, func() ([]ledger.Chance, int) {
		xs := w.reference(c, issue, from, to)
		return xs, len(xs) * chanceBytes
	}))
	for i := range out {
		out[i].Made = w.now
	}
	return out
}

// chanceBytes is about what a chance takes in memory, its quantiles included.
const chanceBytes = 600

func (w *work) reference(c forecast.Cell, issue forecast.Issue, from, to int) (out []ledger.Chance) {
	cs, grounds := referenceCase(c, w.zone), &w.s.grounds
	k, stats := grounds.groundKeyOf(issue, cs.Job.Job, cs.Profile)
	if from == to {
		k, stats = grounds.dayKey(issue, cs, w.today().AddDays(from))
	}
	for lead := from; lead <= to; lead++ {
		d := w.today().AddDays(lead)
		g := grounds.work(k, stats, issue, cs.Job.Job, cs.Profile)
		best, ok := w.s.judgeOn(g, cs, d, issue, w.now, job.DefaultFirm().Bounds).BestStart()
		if !ok {
			continue
		}
		x, ok := w.given(g, cs, d, lead, issue, best)
		if ok {
			x.Air = airQuantilesOf(grounds.dress(k.issueKey, stats, issue), job.Instant(d, 12*60, w.zone))
			out = append(out, x)
		}
	}
	return out
}

// giveCall keeps the chance of a call.
func (w *work) giveCall(c call.Call, in call.Input) error {
	if !c.Known {
		return nil
	}
	cs, err := w.s.caseOf(w.book.Firm, in.Job, w.crew(c.Crew).Size, w.zone)
	if err != nil {
		return err
	}
	told := rules.Start{At: c.Start, Sealed: c.Chance, Full: c.Full, RainOpen: c.RainOpen}
	x, ok := w.given(w.s.grounds.day(in.Issue, cs, c.Date), cs, c.Date, c.Date.DaysSince(w.today()), in.Issue, told)
	if !ok {
		return nil
	}
	x.Firm, x.Job, x.Outcome = c.Firm, c.Job, c.Outcome
	w.out.Chances = append(w.out.Chances, x)
	return nil
}

// given is a chance as it was told at one start, with what the members alone
// say of that start.
func (w *work) given(g *rules.Ground, cs rules.Case, d job.Date, lead int, is forecast.Issue, told rules.Start) (ledger.Chance, bool) {
	members := told
	if w.s.honest(is, lead) != nil {
		starts := g.Judge(cs, d, w.now, w.book.Firm.Bounds).Starts
		i := slices.IndexFunc(starts, func(s rules.Start) bool { return s.At.Equal(told.At) })
		if i < 0 {
			return ledger.Chance{}, false
		}
		members = starts[i]
	}
	return ledger.Chance{
		Source: is.Source, Cell: CellOf(cs.Job.Site), Date: d, Lead: lead, Zone: cs.Zone.String(),
		Made: w.now, Start: told.At, Members: chancesOf(members), Told: chancesOf(told),
		Hands: cs.Crew, LaidM2: cs.Job.LaidM2, CoatedM2: cs.Job.CoatedM2, SealedOn: cs.Job.SealedOn, State: ledger.Open,
	}, true
}

// airQuantilesOf gives the air of an hour as quantiles of the members, nil where
// too few know it.
func airQuantilesOf(is forecast.Issue, at time.Time) []float64 {
	if is.Ens == nil {
		return nil
	}
	h := is.Ens.Hours
	var xs []float64
	for m := range h.Members {
		if x := h.At(forecast.Air, m, h.Slot(at)); forecast.Known(x) {
			xs = append(xs, float64(x))
		}
	}
	if len(xs) < rules.LeastMembers {
		return nil
	}
	slices.Sort(xs)
	out := make([]float64, airQuantiles)
	for k := range out {
		p := (float64(k) + 0.5) / airQuantiles * float64(len(xs)-1)
		i := int(p)
		out[k] = math.Round(100*(xs[i]+(p-float64(i))*(xs[min(i+1, len(xs)-1)]-xs[i]))) / 100
	}
	return out
}
