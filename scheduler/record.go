package scheduler

import (
	"context"
	"fmt"
	"slices"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/job/aslaid"
	"laycast/rules"
	"laycast/rules/physics"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// When a record is closed: so long after the last of its day, so that the topcoat
// is past its first night and the weather's rows of the day are all there.
const recordAfter = 36 * time.Hour // elapsed: hours of cure

// recordBack is how many days more than other tasks the closing of records looks
// back: the forecasts that hold a day's weather are kept so long.
const recordBack = 6

// closeRecords closes the records of days on which a crew was sent, 36 hours after
// the last cure.
func (w *work) closeRecords(ctx context.Context) error {
	w.out.Revision = 0 // a record is about what was, and changes no plan
	from := w.today().AddDays(-keepCalls - recordBack)
	done, err := w.s.Store.Recorded(ctx, w.book.Firm.UID, from)
	if err != nil {
		return err
	}
	for _, k := range w.sent() {
		if slices.Contains(done[k.Job], k.Date) || w.now.Sub(w.lastOf(k)) < recordAfter {
			continue
		}
		r, err := w.record(ctx, k)
		if err != nil {
			return fmt.Errorf("record of %s on %s: %w", k.Job, k.Date, err)
		}
		w.out.Records = append(w.out.Records, r)
	}
	return nil
}

// sent gives the calls in force that sent a crew, the oldest first.
func (w *work) sent() []call.Call {
	var out []call.Call
	seen := map[string]bool{}
	for _, x := range w.book.Calls {
		key := x.Job + " " + x.Date.String()
		if seen[key] || x.Date.After(w.today()) {
			continue
		}
		seen[key] = true
		if k := w.standing(x.Job, x.Date); k.Outcome == call.Go {
			out = append(out, *k)
		}
	}
	slices.SortStableFunc(out, func(a, b call.Call) int { return a.Date.Compare(b.Date) })
	return out
}

// lastOf gives when the last of a day was over: its last stage by the plan, or
// what the crew said last of it.
func (w *work) lastOf(k call.Call) time.Time {
	last := job.Instant(k.Date, w.book.Firm.Work.To, w.zone)
	if n := len(k.Stages); n > 0 && k.Stages[n-1].To.After(last) {
		last = k.Stages[n-1].To
	}
	for _, r := range w.book.Diary.Of(k.Job, k.Date).Reports {
		if r.What != job.Seen && r.At.After(last) {
			last = r.At
		}
	}
	return last
}

// record puts together what is known of one day.
func (w *work) record(ctx context.Context, k call.Call) (aslaid.Record, error) {
	b, ok := w.booking(k.Job)
	if !ok {
		return aslaid.Record{}, fmt.Errorf("there is no job %q", k.Job)
	}
	photos, err := w.s.Store.Photos(ctx, w.book.Firm.UID, k.Job, k.Date)
	if err != nil {
		return aslaid.Record{}, err
	}
	given, err := w.givenFor(ctx, k, b)
	if err != nil {
		return aslaid.Record{}, err
	}
	crew, diary := w.crew(k.Crew), w.book.Diary.Of(k.Job, k.Date)
	c, err := w.s.caseOf(w.book.Firm, b, max(given.Hands, crew.Size), w.zone)
	if err != nil {
		return aslaid.Record{}, err
	}
	c.Job.State, c.Job.LaidM2, c.Job.CoatedM2, c.Job.SealedOn = job.Booked, given.LaidM2, given.CoatedM2, given.SealedOn
	bay, _ := c.NextBay(k.Date)
	hours, err := w.hoursOf(ctx, k, c)
	if err != nil {
		return aslaid.Record{}, err
	}
	recipe := w.s.Materials.Recipe()
	r := aslaid.Record{
		Job: k.Job, Date: k.Date, Calls: callsOf(w.book.Calls, k), Hours: hoursAs(hours), Readings: readingsAs(diary.Readings, hours),
		Batches: diary.Batches, Photos: photos, Use: aslaid.Used(diary.Batches, bay.AreaM2, recipe.Resin.KgPerM2, recipe.Topcoat.KgPerM2),
		Day: aslaid.Day{
			Firm: w.book.Firm.Name, Visit: k.Visit, Crew: crew.Name, Hands: c.Crew, Task: string(bay.Task), Work: string(b.Roof.Work), Deck: string(b.Roof.Deck),
			RoofM2: b.Roof.AreaM2, AreaM2: bay.AreaM2, Profile: c.Profile.Name, Source: k.Source, Closed: w.now.UTC().Truncate(time.Second),
		},
	}
	for _, x := range diary.Reports {
		if x.What != job.Seen {
			r.Reports = append(r.Reports, x)
		}
	}
	r.Day.Outcome, r.Day.SaidBy = outcomeWords(w.book.Diary.Word(k.Job, k.Date), bay, given)
	return r, nil
}

// outcomeWords says how a day went, and who says so.
func outcomeWords(word job.Word, bay rules.Bay, given ledger.Chance) (outcome, by string) {
	switch {
	case word.Coated && bay.Task == rules.Coat:
		return "topcoated", "the crew"
	case word.Coated:
		return "laid and topcoated", "the crew"
	case word.Sealed && bay.Task != rules.Coat:
		return "laid", "the crew"
	case word.Halted:
		return "stopped: " + StoppedWords(word.Cause, word.Because), "the crew"
	case word.Begun:
		return "begun; nobody said how it ended", "the crew"
	case given.State == ledger.Scored && given.Sealed:
		return "laid, as assumed", "the weather's past rows, which are a model's; nobody reported"
	case given.State == ledger.Scored:
		return "not laid, as assumed", "the weather's past rows, which are a model's; nobody reported"
	}
	return "not known", "nobody reported"
}

// givenFor gives the chance that was kept of a call, which knows how the work
// stood that day; where there is none, the work as it stands now.
func (w *work) givenFor(ctx context.Context, k call.Call, b job.Booking) (ledger.Chance, error) {
	best := ledger.Chance{Lead: 9, LaidM2: b.LaidM2, CoatedM2: b.CoatedM2, SealedOn: b.SealedOn}
	if b.Closed.Day == k.Date {
		best.LaidM2, best.CoatedM2, best.SealedOn = b.Closed.LaidM2, b.Closed.CoatedM2, b.Closed.SealedOn
	}
	cs, err := w.s.Store.JobChances(ctx, w.book.Firm.UID, k.Job)
	if err != nil {
		return best, err
	}
	for _, c := range cs {
		if c.Date == k.Date && c.Lead < best.Lead {
			best = c
		}
	}
	return best, nil
}

// hoursOf gives the hours of a day as the source's past rows have them, none where
// it has none: from the start until the last of the day.
func (w *work) hoursOf(ctx context.Context, k call.Call, c rules.Case) ([]rules.Hour, error) {
	from, to := k.Start, w.lastOf(k)
	if word := w.book.Diary.Word(k.Job, k.Date); word.Begun && word.BegunAt.Before(from) {
		from = word.BegunAt
	}
	if from.IsZero() {
		from = job.Instant(k.Date, w.book.Firm.Work.From, w.zone)
	}
	from, end := from.Truncate(time.Hour), to.Add(time.Hour)
	at := end.Add(24 * time.Hour) // elapsed: past rows reach back 48 hours
	if at.After(w.now) {
		at = w.now
	}
	source := k.Source
	if source == "" && len(w.s.Sources) > 0 {
		source = w.s.Sources[0].Name
	}
	runs, err := w.s.Store.RunsAt(ctx, source, CellOf(c.Job.Site), at, end)
	if err != nil {
		return nil, fmt.Errorf("read the weather of the day: %w", err)
	}
	for _, r := range runs {
		if r.Endpoint == forecast.Deterministic && !r.FirstSeen.Before(end) && !r.Hours.Start.After(from) {
			g := rules.NewGround(forecast.Issue{Det: &r}, c.Job.Site, rules.SurfaceOf(c.Job.Job), c.Profile)
			return g.HourTable(from, to), nil
		}
	}
	return nil, nil
}

func hoursAs(hs []rules.Hour) (out []aslaid.Hour) {
	for _, h := range hs {
		out = append(out, aslaid.Hour{
			At: h.At.UTC(), AirC: aslaid.Known(h.Air), DewC: aslaid.Known(h.Dew), RHPct: aslaid.Known(h.RH), SurfaceC: aslaid.Known(h.Surface),
			MarginK: aslaid.Known(h.DewMargin), RainMM: aslaid.Known(h.Rain), WindMs: aslaid.Known(h.Wind), GustMs: aslaid.Known(h.Gust),
		})
	}
	return out
}

// readingsAs sets what was measured beside the model's hour: readings are scored
// against it.
func readingsAs(rs []job.Reading, hs []rules.Hour) (out []aslaid.Reading) {
	for _, r := range rs {
		x := aslaid.Reading{Reading: r}
		if r.AirC != nil && r.RHPct != nil {
			x.DewC = aslaid.Known(physics.DewPoint(*r.AirC, *r.RHPct))
			if r.SurfaceC != nil {
				x.MarginK = aslaid.Known(*r.SurfaceC - *x.DewC)
			}
		}
		i := slices.IndexFunc(hs, func(h rules.Hour) bool { return h.At.Equal(r.At.Truncate(time.Hour)) })
		if i >= 0 {
			off := func(measured *float64, model float64) *float64 {
				if measured == nil {
					return nil
				}
				return aslaid.Known(*measured - model)
			}
			x.OffAirK, x.OffDewK, x.OffDeckK = off(r.AirC, hs[i].Air), off(x.DewC, hs[i].Dew), off(r.SurfaceC, hs[i].Surface)
		}
		out = append(out, x)
	}
	return out
}

// callsOf gives the decisions about a day, and who made them.
func callsOf(ks []call.Call, of call.Call) (out []aslaid.Call) {
	for _, k := range ks {
		if k.Job != of.Job || k.Date != of.Date {
			continue
		}
		c := aslaid.Call{Occasion: string(k.Occasion), Outcome: string(k.Outcome), Made: k.Made.UTC(), Reasons: k.Reasons, By: "laycast, by the firm's bounds"}
		if k.Occasion != call.Evening && k.Occasion != call.SecondLook {
			c.By = "a change by the firm"
		}
		if k.Known {
			c.Chance, c.RainOpen = aslaid.Known(k.Chance), aslaid.Known(k.RainOpen)
		}
		out = append(out, c)
	}
	return out
}

// Drafts gives the records of a job's days that are not closed yet, as they stand.
func (s *Scheduler) Drafts(ctx context.Context, firm, id string) ([]aslaid.Record, error) {
	from := job.DateOf(s.Clock.Now().UTC()).AddDays(-keepCalls - recordBack)
	w, err := s.glance(ctx, firm, from)
	if err != nil {
		return nil, err
	}
	done, err := s.Store.Recorded(ctx, firm, from)
	if err != nil {
		return nil, err
	}
	var out []aslaid.Record
	for _, k := range w.sent() {
		if k.Job != id || slices.Contains(done[id], k.Date) {
			continue
		}
		r, err := w.record(ctx, k)
		if err != nil {
			return nil, err
		}
		r.Day.Closed = time.Time{}
		out = append(out, r)
	}
	return out, nil
}
