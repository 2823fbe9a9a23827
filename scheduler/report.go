package scheduler

import (
	"context"
	"fmt"
	"slices"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
)

// mostLate is for how many days after a visit day its crew may still say how it
// went: what a decision reads of calls and diary reaches a day further.
const mostLate = keepCalls - 1

// Report takes down what a crew says of its day, and does what follows: a crew
// that stopped has its job planned anew at once; a word that comes after the day
// was closed changes how it was closed. The crew's word counts before the
// weather's. It reports false where the same was said last, and then nothing
// changes. r.Job, r.Date and r.What are needed; the visit is found, and the crew
// where r.Crew is "".
func (s *Scheduler) Report(ctx context.Context, firm string, r job.Report) (noted bool, err error) {
	if err := r.Check(); err != nil {
		return false, err
	}
	err = s.change(ctx, firm, func(w *work) error {
		noted = false
		said, err := w.report(ctx, r)
		noted = err == nil && said
		if err == nil && !said {
			return errNothing
		}
		return err
	})
	return noted, err
}

// Zone gives a firm's zone, in which its days are days.
func (s *Scheduler) Zone(ctx context.Context, firm string) (*time.Location, error) {
	w, err := s.glance(ctx, firm, job.DateOf(s.Clock.Now().UTC()))
	if err != nil {
		return nil, err
	}
	return w.zone, nil
}

// report notes one report and does what follows.
func (w *work) report(ctx context.Context, r job.Report) (bool, error) {
	r.Noted = w.now
	if r.At.IsZero() {
		r.At = w.now
	}
	b, v, err := w.reported(&r)
	if err != nil {
		return false, err
	}
	r.N = v.N
	if w.saidLast(r) {
		return false, nil
	}
	if r.ID == "" {
		r.ID = job.EntryID(r.Job, r.Date.String(), string(r.What), fmt.Sprint(w.book.Diary.Of(r.Job, job.Date{}).Len()))
	}
	w.book.Diary.Reports = append(w.book.Diary.Reports, r)
	w.out.Diary.Reports = append(w.out.Diary.Reports, r)
	if r.What == job.Seen {
		return true, nil
	}
	return true, w.follow(ctx, b, v, r.Date)
}

// reported finds the job and the visit of a report: the visit that stands on the
// day, or that stood on it when the day was closed.
func (w *work) reported(r *job.Report) (job.Booking, job.Visit, error) {
	var none job.Visit
	b, ok := w.booking(r.Job)
	if !ok {
		return b, none, fmt.Errorf("there is no job %q", r.Job)
	}
	k := w.standing(r.Job, r.Date)
	if r.Crew == "" && k != nil {
		r.Crew = k.Crew
	}
	switch {
	case b.State == job.Cancelled:
		return b, none, fmt.Errorf("%s was cancelled; please ring the office", b.Title)
	case r.Date.DaysSince(w.today()) > 1 || w.today().DaysSince(r.Date) > mostLate:
		return b, none, fmt.Errorf("%s is too far off to say anything of it; please ring the office", r.Date.Words())
	case k == nil:
		return b, none, fmt.Errorf("there is no call for %s on %s", b.Title, r.Date.Words())
	case k.Crew != r.Crew:
		return b, none, fmt.Errorf("%s is not called for crew %s on %s", b.Title, w.crew(r.Crew).Name, r.Date.Words())
	case r.What == job.Seen:
		return b, job.Visit{Job: b.ID, N: max(k.Visit, 1)}, nil
	case r.Date.After(w.today()):
		return b, none, fmt.Errorf("%s is still ahead", r.Date.Words())
	case k.Outcome != call.Go:
		return b, none, fmt.Errorf("there is no go for %s on %s; please ring the office before anybody opens it", b.Title, r.Date.Words())
	}
	if b.Closed.Day == r.Date {
		return b, b.Closed.Visit, nil
	}
	for _, v := range w.book.Visits {
		if v.Job == r.Job && v.On(r.Date) && b.State == job.Booked {
			return b, v, nil
		}
	}
	return b, none, fmt.Errorf("%s does not stand on %s any more; please ring the office", b.Title, r.Date.Words())
}

// saidLast reports whether the crew's last word on the day was the same.
func (w *work) saidLast(r job.Report) bool {
	var last *job.Report
	for i := range w.book.Diary.Reports {
		x := &w.book.Diary.Reports[i]
		if x.ID == r.ID && r.ID != "" {
			return true // the same form came twice
		}
		if x.Job == r.Job && x.Date == r.Date && (x.What == job.Seen) == (r.What == job.Seen) {
			last = x
		}
	}
	return last != nil && last.What == r.What && last.Cause == r.Cause && last.Because == r.Because && last.Tight == r.Tight
}

// follow does what follows from a crew's word: a day that was closed is closed
// anew, one on which the work stopped, or whose closing time is over, now. Any
// other is closed in the evening.
func (w *work) follow(ctx context.Context, b job.Booking, v job.Visit, d job.Date) error {
	word := w.book.Diary.Word(b.ID, d)
	was := b.Closed
	again := was.Day == d
	over, err := w.closingOver(d)
	if err != nil {
		return err
	}
	if !again && !over && !word.Halted {
		return nil
	}
	if again {
		if word.Open() || word.Sealed == was.Sealed && word.Coated == was.Coated {
			return nil // at work again: nothing is known yet; or it came as the closing had it
		}
		b, v = w.reopen(b)
	}
	is, err := w.issues(ctx)
	if err != nil {
		return err
	}
	changed, err := w.closeVisit(v, d, w.today(), is)
	if err != nil {
		return err
	}
	switch {
	case word.Sealed && again && !was.Sealed:
		w.tellSealed(b, v, d)
	case !word.Sealed && word.Halted:
		w.tellStopped(b, v, d, word, again)
	}
	return w.settleDay(ctx, changed)
}

// closingOver reports whether the hour at which day d is closed has passed.
func (w *work) closingOver(d job.Date) (bool, error) {
	at, err := next(w.book.Firm.Times.Close, job.Instant(d, 0, w.zone), w.zone)
	return err == nil && !w.now.Before(at), err
}

// reopen puts a job and its visit back to where they stood before their last day
// was closed.
func (w *work) reopen(b job.Booking) (job.Booking, job.Visit) {
	c := b.Closed
	b.State, b.Asked = job.Booked, false
	b.LaidM2, b.CoatedM2, b.SealedOn = c.LaidM2, c.CoatedM2, c.SealedOn
	b.Closed = job.Closing{}
	w.setBooking(b)
	w.setVisit(c.Visit)
	return b, c.Visit
}

// closing remembers what stood before a day is closed.
func closing(b job.Booking, v job.Visit, d job.Date, sealed, coated bool) job.Closing {
	v.Days = slices.Clone(v.Days)
	return job.Closing{Day: d, Visit: v, LaidM2: b.LaidM2, CoatedM2: b.CoatedM2, SealedOn: b.SealedOn, Sealed: sealed, Coated: coated}
}

// closeByWord closes one day of a visit by what its crew said.
func (w *work) closeByWord(b job.Booking, v job.Visit, d job.Date, word job.Word, bay rules.Bay) {
	done := word.Sealed && (bay.Task != rules.Coat || word.Coated)
	switch {
	case done:
		c := closing(b, v, d, true, word.Coated)
		b = laid(b, bay, d, word.Coated)
		b.Asked, b.Closed = false, c
		w.setBooking(b)
		w.stepOn(v, d)
		w.dropLeft(b.ID)
	case word.Halted:
		b.Closed, b.Asked = closing(b, v, d, false, false), false
		w.setBooking(b)
		w.end(v, d, unfinished(d))
	default:
		w.ask(b, d, "The crew said that it began, and not that the roof is sealed.")
		b.Asked = true
		w.setBooking(b)
		w.standDown(v, d, unsaid(d))
	}
}

// dropLeft takes visits off that were opened for what a finished job was thought
// to have left; a date that was told of one is taken back.
func (w *work) dropLeft(id string) {
	b, _ := w.booking(id)
	if b.State != job.Done {
		return
	}
	w.takeBack(b, "Your roof is finished already.")
	for _, v := range slices.Clone(w.book.Visits) {
		if v.Job == id && v.State == job.Planned {
			v.State = job.Off
			w.setVisit(v)
		}
	}
}

// tellStopped tells the owner that a crew stopped.
func (w *work) tellStopped(b job.Booking, v job.Visit, d job.Date, word job.Word, again bool) {
	what := "The job is planned again."
	if again {
		what = "The day had been closed as laid; the job is planned again."
	}
	w.trouble(w.wordOf(b, d), fmt.Sprintf("crew %s stopped at %s", w.crew(v.Crew).Name, b.Title), []string{
		fmt.Sprintf("%s (%s) on %s: %s.", b.Title, b.ID, d.Words(), StoppedWords(word.Cause, word.Because)),
		what, "Please ring the crew, and see that the building is watertight.",
	})
}

// tellSealed tells the owner that a day went well that was closed otherwise.
func (w *work) tellSealed(b job.Booking, v job.Visit, d job.Date) {
	w.trouble(w.wordOf(b, d), fmt.Sprintf("%s was sealed on %s after all", b.Title, d.Words()), []string{
		fmt.Sprintf("Crew %s says that %s (%s) was sealed on %s. The day had been closed otherwise; the crew's word counts.",
			w.crew(v.Crew).Name, b.Title, b.ID, d.Words()),
	})
}

// wordOf names a crew's newest word on a day.
func (w *work) wordOf(b job.Booking, d job.Date) string {
	return fmt.Sprintf("word-%s-%s-%d", b.ID, d, len(w.book.Diary.Of(b.ID, d).Reports))
}

// StoppedWords says why a crew stopped.
func StoppedWords(c job.Cause, because string) string {
	words := map[job.Cause]string{
		job.ByRain: "rain", job.ByWind: "wind", job.ByDamp: "too damp", job.ByCold: "too cold", job.ByHeat: "too hot", job.ByTime: "the day was too short",
	}[c]
	switch {
	case words == "":
		return because
	case because != "":
		return words + ": " + because
	}
	return words
}

// outcomeBy gives how a day went by the crew's word: known is false where it
// says nothing of the weather.
func outcomeBy(word job.Word) (sealed, rained, known bool) {
	switch {
	case word.Sealed:
		return true, false, true
	case word.Halted && word.Cause.Weather():
		return false, word.Cause == job.ByRain && word.Begun, true
	}
	return false, false, false
}
