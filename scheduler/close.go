package scheduler

import (
	"context"
	"fmt"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
)

// askAfter is how many days a visit may stay without word before the owner is
// asked: past rows reach back 48 hours.
const askAfter = 2

// closeDay closes the visits of today that were called go, and those of the
// days before that are still open: by what the crew said, and by the past rows
// where it said nothing.
func (w *work) closeDay(ctx context.Context) error {
	today := job.DateOf(w.task.Slot.In(w.zone))
	if w.today().After(today) {
		today = w.today().AddDays(-1) // back after days away: all of them are over
	}
	is, err := w.issues(ctx)
	if err != nil {
		return err
	}
	changed := false
	d := today.AddDays(-askAfter)
	if first := firstOpen(w.book.Visits); !first.IsZero() && first.Before(d) {
		d = first
	}
	for ; !d.After(today); d = d.AddDays(1) {
		for _, v := range visitsOn(w.book.Visits, d) {
			did, err := w.closeVisit(v, d, today, is)
			if err != nil {
				return err
			}
			changed = changed || did
		}
	}
	w.askAgain(today)
	return w.settleDay(ctx, changed)
}

// askAgain asks the owner about roofs whose crew stopped, so that the job is
// planned again, and began once more without saying how that went.
func (w *work) askAgain(today job.Date) {
	for _, b := range w.book.Jobs {
		if b.Closed.Day == today && !b.Closed.Sealed && w.book.Diary.Word(b.ID, today).Open() {
			w.ask(b, today, "The crew said that it stopped, then that it began again, and not how that went. The job is planned again.")
		}
	}
}

// firstOpen gives the earliest day that is not closed, none where there is
// none.
func firstOpen(vs []job.Visit) job.Date {
	var first job.Date
	for _, v := range vs {
		if d := v.First(); !d.IsZero() && (first.IsZero() || d.Before(first)) {
			first = d
		}
	}
	return first
}

// closeVisit closes one day of a visit.
func (w *work) closeVisit(v job.Visit, d, today job.Date, is map[forecast.Cell]forecast.Issue) (bool, error) {
	b, ok := w.booking(v.Job)
	if !ok || b.State != job.Booked || b.Asked && !w.book.Diary.Word(v.Job, d).Ended() {
		return false, nil
	}
	k := w.standing(v.Job, d)
	if k == nil || k.Outcome != call.Go {
		// not called go: nobody was sent, and the visit needs a new place
		w.takeOff(v, d)
		return true, nil
	}
	c, err := w.s.caseOf(w.book.Firm, b, w.crew(v.Crew).Size, w.zone)
	if err != nil {
		return false, err
	}
	bay, ok := c.NextBay(d)
	if !ok {
		return false, nil
	}
	if word := w.book.Diary.Word(v.Job, d); word.Said() {
		w.closeByWord(b, v, d, word, bay)
		return true, nil
	}
	past := forecast.Issue{Det: w.recorded(is[CellOf(b.Site)].Det, d)}
	start := k.Start
	if start.IsZero() {
		start = job.Instant(d, v.Start, w.zone)
	}
	sealed, full, rained, seen := rules.NewGround(past, b.Site, rules.SurfaceOf(b.Job), c.Profile).Outturn(c, d, start, true)
	switch {
	case !seen && today.DaysSince(d) < askAfter:
		return false, nil // the rows may still come
	case !seen:
		w.ask(b, d, "Nobody reported, and the weather source has no record of the hours, so laycast cannot tell.")
		b.Asked = true
		w.setBooking(b)
		w.standDown(v, d, unsaid(d))
	case sealed:
		was := closing(b, v, d, true, full)
		b = laid(b, bay, d, full)
		b.Closed = was
		w.setBooking(b)
		w.stepOn(v, d)
	default:
		why := "By the weather that was recorded the roof could not be sealed."
		if rained {
			why = "By the weather that was recorded it rained before the roof was sealed."
		}
		w.ask(b, d, "Nobody reported. "+why+" The job is planned again.")
		b.Closed = closing(b, v, d, false, false)
		w.setBooking(b)
		w.end(v, d, unfinished(d))
	}
	return true, nil
}

// recorded gives a deterministic run whose past rows reach the end of the
// working day d: what it says of that day was, and is not a forecast. nil where
// the source was last heard before. Only the frost of the night after a topcoat
// is still forecast then.
func (w *work) recorded(r *forecast.Run, d job.Date) *forecast.Run {
	if r == nil || r.LastSeen.Before(job.Instant(d, w.book.Firm.Work.To, w.zone)) {
		return nil
	}
	return r
}

// stepOn closes a day that was laid: the visit goes on to its next day, or
// ends.
func (w *work) stepOn(v job.Visit, d job.Date) {
	for v.Done < len(v.Days) && !v.Days[v.Done].After(d) {
		v.Done++
	}
	b, _ := w.booking(v.Job)
	switch {
	case finished(b):
		if next := v.First(); !next.IsZero() { // the customer has the roof and needs no word
			w.withdraw(v, b, next, "The roof is finished.")
		}
		b.State = job.Done
		w.setBooking(b)
		v.State, v.Days = job.Finished, v.Days[:v.Done]
		w.setVisit(v)
	case v.Done < len(v.Days) && b.LaidM2 < b.Roof.AreaM2:
		v.State = job.Started
		w.setVisit(v)
	default:
		w.end(v, d, "This part of the roof was laid on "+d.Words()+" already.")
	}
}

// unfinished and unsaid say why nobody comes on the days after d.
func unfinished(d job.Date) string {
	return "The work of " + d.Words() + " was not finished, so the job is planned again."
}

func unsaid(d job.Date) string {
	return "Nobody said how " + d.Words() + " went, so the office has to say first. Ring it before anybody drives."
}

// end ends a visit with work left, which is a visit of its own; what was called for
// its days after d is withdrawn, and why.
func (w *work) end(v job.Visit, d job.Date, why string) {
	v = w.standDown(v, d, why)
	i := 0
	for i < len(v.Days) && !v.Days[i].After(d) {
		i++
	}
	v.State, v.Days, v.Done = job.Broken, v.Days[:i], i
	w.setVisit(v)
	w.openNext(v)
}

// ask asks the owner how a day went.
func (w *work) ask(b job.Booking, d job.Date, why string) {
	w.trouble("how-"+b.ID+"-"+d.String(), fmt.Sprintf("how did %s go on %s?", b.Title, d.Words()), []string{
		fmt.Sprintf("%s (%s) was called go for %s.", b.Title, b.ID, d.Words()), why,
		"Please ask the crew, and see that the building is watertight.",
	})
}

// absence checks that everybody who works tomorrow has been told, and tells the
// owner where not.
func (w *work) absence(ctx context.Context) error {
	tomorrow := job.DateOf(w.task.Slot.In(w.zone)).AddDays(1)
	if w.late(job.Instant(tomorrow.AddDays(-1), callUntil, w.zone)) {
		return nil // the missed call has been told already
	}
	ms, err := w.s.Store.Messages(ctx, w.book.Firm.UID)
	if err != nil {
		return fmt.Errorf("read the messages: %w", err)
	}
	told := map[string]bool{}
	for _, m := range ms {
		if m.Kind == notify.KindCall && m.Audience == notify.ToCrew && m.Channel == notify.Mail && m.Date == tomorrow && m.State == notify.Sent {
			told[m.Job] = true
		}
	}
	var lines []string
	for _, k := range w.book.Calls {
		if k.Date == tomorrow && k.Occasion == call.Evening && !told[k.Job] {
			b, _ := w.booking(k.Job)
			lines = append(lines, fmt.Sprintf("%s (%s), crew %s: %s", b.Title, k.Job, w.crew(k.Crew).Name, k.Outcome))
		}
	}
	for _, v := range visitsOn(w.book.Visits, tomorrow) {
		if w.standing(v.Job, tomorrow) == nil {
			b, _ := w.booking(v.Job)
			lines = append(lines, fmt.Sprintf("%s (%s), crew %s: not called", b.Title, v.Job, w.crew(v.Crew).Name))
		}
	}
	if len(lines) > 0 {
		lines = append([]string{"These calls for tomorrow have not reached their crew:"}, lines...)
		w.trouble("absence", "a crew has not been told about tomorrow", append(lines, "Please ring them."))
	}
	return nil
}
