package scheduler

import (
	"context"
	"errors"
	"fmt"
	"time"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/task"
)

// ownersMove is the move that the owner tells by phone: a customer whose date
// has moved twice does not get a third mail about it.
const ownersMove = 3

// soon is within how many days of a told date that no longer holds its customer
// must hear, whatever is known of a new one.
const soon = 2

// reach is how far ahead a new date may lie and still be told in place of an
// old one.
const reach = 7

// tell is the daily round of telling customers weeks and dates.
func (w *work) tell(ctx context.Context) error {
	w.tellDates()
	return w.publish()
}

// tellDates tells every customer what there is to tell: a week early, a date
// some days before, a new date once the owner had the chance to say no.
func (w *work) tellDates() {
	w.askOwner()
	for _, v := range append([]job.Visit{}, w.book.Visits...) {
		b, ok := w.booking(v.Job)
		if !ok || b.State != job.Booked || b.Asked || v.State != job.Planned || v.Done > 0 {
			continue
		}
		first := v.First()
		if !first.IsZero() && !first.After(w.today()) {
			continue // under way
		}
		w.tellVisit(v, b)
	}
}

// tellVisit tells one customer what is due about one visit.
func (w *work) tellVisit(v job.Visit, b job.Booking) {
	first := v.First()
	switch {
	case first == v.Told && !first.IsZero():
		return
	case first == v.StandBy && !first.IsZero():
		return // the morning says
	case !v.Told.IsZero() && first.IsZero():
		w.cancelSoon(v, b)
	case !v.Told.IsZero():
		w.tellMove(v, b)
	case first.IsZero():
		return
	case w.tellable(v):
		l := w.letter(v, b)
		l.Date, l.Invitation = first, w.invite(&v, b)
		m, err := w.say.DateTold(l)
		w.postTo(&v, b, m, err, first)
		v.Told, v.ToldAt = first, w.now
		w.setVisit(v)
	default:
		w.tellWeek(v, b)
	}
}

// tellable reports whether the visit's day may be told: near enough, reached by a
// forecast, and likely enough or the owner's own choice.
func (w *work) tellable(v job.Visit) bool {
	lead := v.First().DaysSince(w.today())
	chance, rain, foreseen := w.planned(v)
	b, _ := w.booking(v.Job)
	return lead >= 1 && lead <= w.book.Firm.TellAhead && foreseen && (b.Pinned.Day == v.First() || w.fitToTell(chance, rain))
}

// fitToTell reports whether chances are good enough for a day to be told: a
// risk of rain on the open roof that is nearer to a no-go than to a go is not.
func (w *work) fitToTell(chance, rainOpen float64) bool {
	b := w.book.Firm.Bounds
	return chance >= b.Tell && rainOpen <= (b.GoRainOpen+b.NoGoRain)/2
}

// planned gives the chances that the plan in force sees for a visit: of a
// sealed roof, and of rain while it is open. They are a forecast's, or foreseen is
// false: the climate's share and what rests on nothing are no reason to tell a day.
func (w *work) planned(v job.Visit) (chance, rainOpen float64, foreseen bool) {
	week := w.out.Week
	if week == nil {
		week = w.book.Week
	}
	if week == nil {
		return 0, 0, false
	}
	for _, x := range week.Visits {
		if x.Job != v.Job || len(x.Days) == 0 || x.Days[0] != v.First() {
			continue
		}
		if rules.Basis(x.Basis).Foreseen() || x.Basis == "" && x.Chance > 0 {
			return x.Chance, x.RainOpen, true
		}
	}
	return 0, 0, false
}

// tellWeek tells a week: once, and again when it is about to begin and the
// visit does not stand in it.
func (w *work) tellWeek(v job.Visit, b job.Booking) {
	week := monday(v.First())
	if week == v.ToldWeek || v.N > 1 && v.First().DaysSince(w.today()) <= reach {
		return // known, or a return so soon that the date itself is the next word
	}
	if v.StandBy == w.today() && w.task.Name == task.SecondLook {
		return // they have just read that nobody comes today
	}
	const about = 3 // days: the Friday before
	if !v.ToldWeek.IsZero() && w.today().Before(v.ToldWeek.AddDays(-about)) {
		return
	}
	l := w.letter(v, b)
	l.Week = week
	m, err := w.say.WeekTold(l)
	w.postTo(&v, b, m, err, week)
	v.ToldWeek = week
	w.setVisit(v)
}

// monday gives the Monday of d's week.
func monday(d job.Date) job.Date { return d.AddDays(-(int(d.Weekday()) + 6) % 7) }

// tellMove tells a new date in place of one told before, when the owner has
// said yes or had until the morning to say no.
func (w *work) tellMove(v job.Visit, b job.Booking) {
	first := v.First()
	near := v.Told.After(w.today()) && v.Told.DaysSince(w.today()) <= soon && !w.tookBack(v)
	_, _, foreseen := w.planned(v)
	if first.DaysSince(w.today()) > reach || !foreseen || !near && !w.tellable(v) {
		if near {
			w.cancelSoon(v, b)
		}
		return
	}
	if !w.released(v) {
		return
	}
	l := w.letter(v, b)
	l.Date, l.Was, l.Why = first, v.Told, w.moveWords(v)
	v.Moves++
	v.Moved, v.MovedWhy = l.Was, l.Why
	l.Visit = v
	if v.Moves >= ownersMove { // what the customer's calendar holds is put right with the next mail
		w.out.Untold = append(w.out.Untold, notify.Untold{
			Firm: w.book.Firm.UID, Person: b.Customer.Email, Job: v.Job, Date: first, At: w.now,
			Reason: fmt.Sprintf("the date moves for the %s time, which the owner tells by phone", ordinal(v.Moves)),
		})
	} else {
		l.Invitation = w.invite(&v, b)
		m, err := w.say.DateMoved(l)
		w.postTo(&v, b, m, err, first)
	}
	v.Told, v.ToldAt = first, w.now
	v.AskedAt, v.AskedFor, v.Approved, v.Declined = time.Time{}, job.Date{}, false, false
	w.setVisit(v)
}

// cancelSoon takes back a told date that has no new one, before the customer
// stands waiting. A date that has passed was taken back on its evening.
func (w *work) cancelSoon(v job.Visit, b job.Booking) {
	if !v.Told.After(w.today()) || v.Told.DaysSince(w.today()) > soon || w.tookBack(v) {
		return
	}
	l := w.letter(v, b)
	l.Was, l.Why, l.NewFollows = v.Told, w.moveWords(v), true
	v.Moves++
	v.Moved, v.MovedWhy = l.Was, l.Why
	l.Visit, l.Invitation = v, w.uninvite(&v, b)
	m, err := w.say.DateCancelled(l)
	w.postTo(&v, b, m, err, v.Told)
	v.Told, v.ToldAt = job.Date{}, time.Time{}
	v.AskedAt, v.AskedFor, v.Approved, v.Declined = time.Time{}, job.Date{}, false, false
	w.setVisit(v)
}

// tookBack reports whether a no-go has taken the told date back already: the
// customer heard of it with the call.
func (w *work) tookBack(v job.Visit) bool {
	k := w.standing(v.Job, v.Told)
	return k != nil && k.Outcome == call.NoGo
}

// moveWords says to a customer why a date does not hold.
func (w *work) moveWords(v job.Visit) string {
	if w.tookBack(v) {
		return "The forecast for " + v.Told.Words() + " was not good enough to open your roof."
	}
	if b, _ := w.booking(v.Job); b.Forbids(v.Told) || !v.First().IsZero() && b.Pinned.Day == v.First() {
		return "Our week has changed, and your roof has to move with it." // the owner's doing, not the weather's
	}
	return "The weather has changed our week, and your roof has to move with it."
}

// letter begins a customer's letter about a visit.
func (w *work) letter(v job.Visit, b job.Booking) notify.VisitLetter {
	return notify.VisitLetter{
		Job: b, Visit: v, Crew: w.crew(v.Crew), Now: w.now, Days: len(v.Days) - v.Done,
		OpenFor: w.openFor(v, b), Thread: v.Thread, Subscribe: w.subscribe(b),
	}
}

// openFor gives for how long the visit's next day leaves the roof open; 0 where
// that cannot be said.
func (w *work) openFor(v job.Visit, b job.Booking) time.Duration {
	d := v.First()
	if d.IsZero() {
		return 0
	}
	c, err := w.s.caseOf(w.book.Firm, w.underWay(b, d), w.crew(v.Crew).Size, w.zone)
	if err != nil {
		return 0
	}
	bay, _ := c.NextBay(d)
	return c.OpenFor(bay)
}

// subscribe gives the address of a customer's calendar; none where the visits
// come as invitations, for nobody wants them twice (INTEROP.md D.4).
func (w *work) subscribe(b job.Booking) string {
	if b.Invite {
		return ""
	}
	return w.url(access.Customer, b.Customer.Email, access.Feed)
}

// url gives the address of a secret link, making the link where it is new.
func (w *work) url(a access.Audience, id string, p access.Purpose) string {
	if w.s.PublicURL == "" || len(w.s.LinkKey) == 0 {
		return ""
	}
	l := access.New(w.s.LinkKey, w.book.Firm.UID, a, id, p, 1, w.now)
	for _, x := range w.book.Links {
		if x.Audience != l.Audience || x.ID != l.ID || x.Purpose != p {
			continue
		}
		if x.Hash != access.HashOf(access.Token(w.s.LinkKey, x)) {
			return "" // made with another key: its secret cannot be told again, and a dead link must not be
		}
		return w.s.PublicURL + access.Path(w.s.LinkKey, x)
	}
	w.book.Links = append(w.book.Links, l)
	w.out.Links = append(w.out.Links, l)
	return w.s.PublicURL + access.Path(w.s.LinkKey, l)
}

// change computes a decision outside any task and writes it.
func (s *Scheduler) change(ctx context.Context, firm string, do func(w *work) error) error {
	return s.insist(ctx, func() error {
		now := s.Clock.Now()
		b, err := s.Store.Book(ctx, firm, job.DateOf(now.UTC()).AddDays(-keepCalls))
		if err != nil {
			return fmt.Errorf("read the book of %s: %w", firm, err)
		}
		w, err := s.open(b, task.Task{Firm: firm, Name: task.Tell, Due: now, Slot: now}, now)
		if err != nil {
			return err
		}
		w.out.Task, w.out.Next = task.Task{}, task.Task{}
		if err := do(w); err != nil {
			if errors.Is(err, errNothing) {
				return nil
			}
			return err
		}
		return s.Store.Commit(ctx, w.out)
	})
}

func ordinal(n int) string {
	switch n {
	case 1:
		return "first"
	case 2:
		return "second"
	case 3:
		return "third"
	}
	return fmt.Sprintf("%dth", n)
}
