package scheduler

import (
	"context"
	"fmt"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/task"
)

// watchTimes are the half hours in which open roofs are looked after.
const watchTimes = "0,30 5-21 * * *"

// WarnFrom is the share of members with rain before the roof is sealed from which
// its crew is warned. It was chosen on recorded showers: docs/cover-up.md.
const WarnFrom = 0.12

// How long a roof is watched beyond the hour by which it should be sealed: while
// its crew says that it is open, and where it says nothing. Ours, no source.
const (
	stillOpen  = time.Hour
	silentOpen = time.Hour
)

// spellHours is how long after the hour of a warning rain is the same spell.
const spellHours = 3

// armWatch has the roofs looked after from the next half hour on.
func (w *work) armWatch() {
	due, err := next(watchTimes, w.now, w.zone)
	if err != nil {
		return
	}
	w.out.Arm = append(w.out.Arm, task.Task{Firm: w.book.Firm.UID, Name: task.Watch, Due: due, Slot: due})
}

// watch looks after the roofs that are open now: it warns a crew, and the owner,
// when the newest forecast brings rain before the roof is sealed, and says so when
// it cannot see. On a day without a go it rests until the next.
func (w *work) watch(ctx context.Context) error {
	var open []call.Call
	gos := false
	for _, b := range w.book.Jobs {
		k := w.standing(b.ID, w.today())
		if k == nil || k.Outcome != call.Go || b.State != job.Booked {
			continue
		}
		gos = true
		if _, _, ok := w.openSpan(*k); ok {
			open = append(open, *k)
		}
	}
	if !gos {
		tomorrow, err := next(watchTimes, job.Instant(w.today().AddDays(1), 0, w.zone), w.zone)
		if err != nil {
			return err
		}
		w.out.Next.Due, w.out.Next.Slot = tomorrow, tomorrow
	}
	if len(open) == 0 {
		return nil
	}
	is, err := w.issues(ctx)
	if err != nil {
		return err
	}
	for _, k := range open {
		if err := w.lookAfter(ctx, k, is); err != nil {
			return err
		}
	}
	return nil
}

// openSpan gives from now until when a roof is open, by what its crew said; a
// crew that says nothing is taken to be at work by the plan. ok is false where
// the roof is not open now.
func (w *work) openSpan(k call.Call) (from, to time.Time, ok bool) {
	word := w.book.Diary.Word(k.Job, k.Date)
	coat := len(k.Stages) > 0 && k.Stages[0].Stage == rules.Topcoat
	switch {
	case word.Halted, word.Sealed && !coat, word.Coated:
		return from, to, false
	case !word.Begun && (k.Start.IsZero() || w.now.Before(k.Start)):
		return from, to, false
	}
	to = k.SealedByLate
	if n := len(k.Stages); coat && n > 0 {
		to = k.Stages[n-1].To
	}
	if word.Begun && !k.Start.IsZero() && word.BegunAt.After(k.Start) {
		to = to.Add(word.BegunAt.Sub(k.Start))
	}
	switch {
	case word.Begun:
		if least := w.now.Add(stillOpen); to.Before(least) {
			to = least
		}
	case w.now.After(to.Add(silentOpen)):
		return from, to, false
	case !to.After(w.now):
		to = w.now.Add(silentOpen)
	}
	return w.now, to, true
}

// lookAfter warns the crew of one open roof, where there is reason to.
func (w *work) lookAfter(ctx context.Context, k call.Call, is map[forecast.Cell]forecast.Issue) error {
	b, _ := w.booking(k.Job)
	from, to, _ := w.openSpan(k)
	l := notify.CoverUpLetter{Letter: w.callLetter(k, nil, b, rules.Bay{})}
	after := k
	after.Occasion = "" // it follows the call itself
	l.Letter.Thread = w.crewThread(after)
	issue := is[CellOf(b.Site)]
	p, err := w.s.profile(w.book.Firm, b.Profile)
	if err != nil {
		return fmt.Errorf("job %s: %w", b.ID, err)
	}
	stage := rules.Laminate
	if len(k.Stages) > 0 && k.Stages[0].Stage == rules.Topcoat {
		stage = rules.Topcoat
	}
	w.freshen(issue)
	rain, known := p.RainAhead(stage, w.s.grounds.near(issue, CellOf(b.Site), to.Add(2*time.Hour)), from, to)
	if l.Blind = w.cannotSee(issue); l.Blind == "" && !known {
		l.Blind = "too little of the forecast is known"
	}
	if l.Blind != "" {
		m, err := w.say.CoverUp(l)
		w.post(m, err, l.Letter.Crew.Email, k.Job, k.Date)
		return nil
	}
	if rain.Share < WarnFrom {
		return nil
	}
	l.Share, l.From, l.To = rain.Share, rain.From, rain.To
	if l.From.IsZero() { // no hour stands out: the likeliest
		l.From, l.To = rain.Likeliest, rain.Likeliest.Add(time.Hour)
	}
	if warned, err := w.warned(ctx, k, l.From); err != nil || warned {
		return err
	}
	m, err := w.say.CoverUp(l)
	w.post(m, err, l.Letter.Crew.Email, k.Job, k.Date)
	w.tellOwnerOfRain(k, b, l)
	return nil
}

// freshen has the ensemble fetched each hour while a roof is open: models are run
// more often than it is usually asked for.
func (w *work) freshen(is forecast.Issue) {
	if is.DetOnly || is.Ens != nil && w.now.Sub(is.Ens.LastSeen) < time.Hour-watchSlack {
		return
	}
	w.out.Arm = append(w.out.Arm, task.Task{Firm: w.book.Firm.UID, Name: task.FetchEnsemble, Due: w.now, Slot: w.now})
}

// watchSlack keeps a fetch that took a moment from being put off by half an hour.
const watchSlack = 5 * time.Minute

// warned reports whether the crew was warned of the same spell already: a new
// word goes out only where rain comes sooner than was said, or hours after it.
func (w *work) warned(ctx context.Context, k call.Call, from time.Time) (bool, error) {
	ms, err := w.s.Store.Messages(ctx, w.book.Firm.UID)
	if err != nil {
		return false, fmt.Errorf("read the messages: %w", err)
	}
	for _, m := range ms {
		if m.Kind != notify.KindCoverUp || m.Job != k.Job || m.Date != k.Date {
			continue
		}
		said, ok := notify.RainOf(m.Occasion, w.now)
		if ok && !from.Before(said) && from.Before(said.Add(spellHours*time.Hour)) {
			return true, nil
		}
	}
	return false, nil
}

// tellOwnerOfRain tells the owner what the crew was told.
func (w *work) tellOwnerOfRain(k call.Call, b job.Booking, l notify.CoverUpLetter) {
	site := w.zone
	if z, err := job.LoadZone(b.Site.Zone); err == nil {
		site = z
	}
	w.trouble("cover-up-"+b.ID+"-"+l.From.UTC().Format("1504"), fmt.Sprintf("rain may come before %s is sealed", b.Title), []string{
		fmt.Sprintf("Crew %s has %s (%s) open, by its word or by the plan. The newest forecast gives rain before it is sealed a chance of %.0f %%, from about %s.",
			w.crew(k.Crew).Name, b.Title, b.ID, 100*l.Share, l.From.In(site).Format("15:04")),
		"The crew has been warned by mail. Please ring it.",
	})
}
