package scheduler

import (
	"context"
	"fmt"
	"strings"

	"laycast/forecast"
	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/call"
)

// callUntil is how late the evening call may still be made (23:00): after that
// a crew is asleep.
const callUntil = 23 * 60

// evening makes the calls for tomorrow, tells the crews, and replans what was
// called off.
func (w *work) evening(ctx context.Context) error {
	tomorrow := job.DateOf(w.task.Slot.In(w.zone)).AddDays(1)
	if w.late(job.Instant(tomorrow.AddDays(-1), callUntil, w.zone)) {
		w.missed("The evening call for " + tomorrow.Words())
		return nil
	}
	is, err := w.issues(ctx)
	if err != nil {
		return err
	}
	var blind []string
	off := false
	visits := visitsOn(w.book.Visits, tomorrow)
	w.warm(visits, tomorrow, is)
	for _, v := range visits {
		in, bay, ok, err := w.input(ctx, v, tomorrow, is)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		c := call.DecideEvening(in)
		if w.asksToStandBy(v, in.Job, tomorrow, c) {
			v.StandBy, v.StoodBy = tomorrow, v.StoodBy+1
			w.setVisit(v)
		}
		if w.unheard(v, tomorrow, c) {
			w.out.Untold = append(w.out.Untold, notify.Untold{
				Firm: w.book.Firm.UID, Person: in.Job.Customer.Email, Job: v.Job, Date: tomorrow, At: w.now,
				Reason: "the customer was never told this day, so the visit was not called and waits for another: " + c.Reasons[0],
			})
			w.takeOff(v, tomorrow)
			off = true
			continue
		}
		w.addCall(c)
		if err := w.giveCall(c, in); err != nil {
			return err
		}
		if c.Blind {
			blind = append(blind, fmt.Sprintf("%s (%s): %s", in.Job.Title, in.Job.ID, c.Reasons[0]))
		}
		known := w.knows(v, tomorrow)
		if c.Outcome == call.NoGo {
			w.takeOff(v, tomorrow)
			off = true
		}
		w.tellCrew(c, nil, in, bay)
		w.tellCustomer(c, nil, in.Job, bay, known)
	}
	w.giveReference(is, 1, referenceAhead)
	w.blind("tomorrow", blind, "They are on hold until the second look in the morning. If there is no good forecast by then they are no-go.")
	return w.settleDay(ctx, off)
}

// unheard reports whether a visit is not to be called, because its customer
// does not know the day: one who was told another day keeps it, and one who was
// told none, and is not asked to stand by, is not surprised by anything but a go. Without a forecast to judge
// by, a visit that nobody was told of is still put on hold, so that it shows.
func (w *work) unheard(v job.Visit, d job.Date, c call.Call) bool {
	if w.knows(v, d) {
		return false
	}
	if holds := v.Told.After(d) && !w.tookBack(v); holds {
		return true
	}
	return c.Outcome != call.Go && (!c.Blind || !v.Told.IsZero())
}

// asksToStandBy reports whether a customer who was told no day is asked to keep d free:
// the call is a hold, so the morning may well say go. A day that was told and taken
// back is not followed by a perhaps, nobody is asked for ever, and who has no mail
// cannot be asked.
func (w *work) asksToStandBy(v job.Visit, b job.Booking, d job.Date, c call.Call) bool {
	ask := w.book.Firm.StandBy && v.StoodBy < mostStandBys && b.Customer.Email != ""
	return ask && c.Outcome == call.Hold && !c.Blind && v.Told.IsZero() && !w.knows(v, d)
}

// mostStandBys is how often a customer is asked to stand by for one visit. Ours, no source.
const mostStandBys = 2

// knows reports whether the visit's customer expects to hear of d: the day was
// told, or is one of the days after it, or they were asked to stand by.
func (w *work) knows(v job.Visit, d job.Date) bool {
	return v.Done > 0 || v.Told == d || w.continues(v, d) || v.StandBy == d
}

// continues reports whether d is a later day of a visit whose first day was
// told and called: its customer knows that the crew comes again.
func (w *work) continues(v job.Visit, d job.Date) bool {
	first := v.First()
	if first.IsZero() || first != v.Told || !first.Before(d) || !v.On(d) {
		return false
	}
	k := w.standing(v.Job, first)
	return k != nil && k.Outcome == call.Go
}

// settleDay ends a round of calls: what was called off is planned anew, and
// customers and calendars follow.
func (w *work) settleDay(ctx context.Context, off bool) error {
	if off {
		if err := w.replan(ctx); err != nil {
			return err
		}
	}
	w.tellDates()
	return w.publish()
}

// secondLook decides every visit of today, and sends word where something
// changed.
func (w *work) secondLook(ctx context.Context) error {
	today := job.DateOf(w.task.Slot.In(w.zone))
	is, err := w.issues(ctx)
	if err != nil {
		return err
	}
	var blind, missed []string
	off := false
	visits := visitsOn(w.book.Visits, today)
	w.warm(visits, today, is)
	for _, v := range visits {
		in, bay, ok, err := w.input(ctx, v, today, is)
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		if w.late(job.Instant(today, v.Start, w.zone)) {
			missed = append(missed, fmt.Sprintf("%s (%s)", in.Job.Title, in.Job.ID))
			continue
		}
		c, changed := call.DecideSecondLook(in)
		w.addCall(c)
		if err := w.giveCall(c, in); err != nil {
			return err
		}
		known := w.knows(v, today)
		if c.Outcome == call.NoGo {
			if c.Blind {
				blind = append(blind, fmt.Sprintf("%s (%s): %s", in.Job.Title, in.Job.ID, c.Reasons[0]))
			}
			w.takeOff(v, today)
			off = true
		}
		if changed {
			w.tellCrew(c, in.Standing, in, bay)
			w.tellCustomer(c, in.Standing, in.Job, bay, known)
		}
	}
	w.giveReference(is, 0, 0)
	w.blind("today", blind, "They are no-go, since missing or old weather is never a go.")
	if len(missed) > 0 {
		w.missed("The second look at " + strings.Join(missed, ", "))
	}
	return w.settleDay(ctx, off)
}

// input gathers what a call is made from. ok is false where the visit has
// nothing left to do on the day.
func (w *work) input(ctx context.Context, v job.Visit, d job.Date, is map[forecast.Cell]forecast.Issue) (in call.Input, bay rules.Bay, ok bool, err error) {
	b, found := w.booking(v.Job)
	if !found || b.State != job.Booked || b.Asked {
		return in, bay, false, nil
	}
	ahead := w.underWay(b, d)
	c, err := w.s.caseOf(w.book.Firm, ahead, w.crew(v.Crew).Size, w.zone)
	if err != nil {
		return in, bay, false, err
	}
	if v.Slot == 1 { // in the morning its crew is on another roof
		c.Hours.From = max(c.Hours.From, midday)
	}
	issue := is[CellOf(b.Site)]
	day := w.s.judgeOn(w.s.grounds.day(issue, c, d), c, d, issue, w.now, w.book.Firm.Bounds)
	bay = w.bayOf(b, v, d)
	in = call.Input{
		Firm: w.book.Firm, Job: ahead, Visit: v, Date: d, Now: w.now, Due: w.task.Slot,
		Day: day, Issue: issue, Standing: w.standing(v.Job, d),
	}
	in.Caution, in.Flip, err = w.caution(ctx, in)
	return in, bay, err == nil, err
}

// bayOf gives what a visit would do on a day, nothing where that cannot be
// said.
func (w *work) bayOf(b job.Booking, v job.Visit, d job.Date) rules.Bay {
	c, err := w.s.caseOf(w.book.Firm, w.underWay(b, d), w.crew(v.Crew).Size, w.zone)
	if err != nil {
		return rules.Bay{}
	}
	bay, _ := c.NextBay(d)
	return bay
}

// visitsOn gives the visits that have d among their days to come. The copies
// are safe to walk while the book changes.
func visitsOn(vs []job.Visit, d job.Date) []job.Visit {
	var out []job.Visit
	for _, v := range vs {
		if v.On(d) {
			out = append(out, v)
		}
	}
	return out
}

// takeOff takes a visit's days from d on away; it waits for a new place. A
// visit that is under way ends, and what is left of it is a visit of its own.
func (w *work) takeOff(v job.Visit, d job.Date) {
	i := 0
	for i < len(v.Days) && v.Days[i].Before(d) {
		i++
	}
	v.Days = append([]job.Date{}, v.Days[:i]...)
	if i == 0 {
		v.Crew = ""
		w.setVisit(v)
		return
	}
	if v.Done == i {
		v.State = job.Broken
	}
	w.setVisit(v)
	w.openNext(v)
}

// openNext opens the next visit of a job, unless one is open already.
func (w *work) openNext(v job.Visit) {
	b, ok := w.booking(v.Job)
	if !ok {
		return
	}
	for _, x := range w.book.Visits {
		if x.Job == v.Job && x.N > v.N && (x.State == job.Planned || x.State == job.Started) {
			return
		}
	}
	b.NextVisit = max(b.NextVisit, v.N) + 1
	w.setBooking(b)
	w.setVisit(job.Visit{Job: v.Job, N: b.NextVisit, State: job.Planned})
}

// blind tells the owner of visits that had to be decided without a forecast
// fit for it.
func (w *work) blind(when string, lines []string, end string) {
	if len(lines) == 0 {
		return
	}
	lines = append([]string{"These visits of " + when + " could not be judged:"}, lines...)
	w.trouble("blind-"+string(w.task.Name), "no forecast to judge "+when+" by", append(lines, end))
}

// callLetter begins a letter about a call.
func (w *work) callLetter(c call.Call, before *call.Call, b job.Booking, bay rules.Bay) notify.CallLetter {
	l := notify.CallLetter{Call: c, Before: before, Job: b, Crew: w.crew(c.Crew), Now: w.now}
	if bay.Of > 1 {
		l.Bay, l.Bays = 1, bay.Of
		if b.LaidM2 > 0 && bay.AreaM2 > 0 {
			done := int(b.LaidM2/bay.AreaM2 + 0.5)
			l.Bay, l.Bays = done+1, done+bay.Of
		}
	}
	return l
}

// tellCustomer writes the call to the customer: always to one who knew the day
// before the call took it off the visit, and a go to one who did not. One who
// knows of no day hears nothing of a no-go or a hold, and that is recorded.
func (w *work) tellCustomer(c call.Call, before *call.Call, b job.Booking, bay rules.Bay, known bool) {
	w.tellCustomerWhy(c, before, b, bay, known, "")
}

// tellCustomerWhy does so with a reason in words; "": the call's own.
func (w *work) tellCustomerWhy(c call.Call, before *call.Call, b job.Booking, bay rules.Bay, known bool, why string) {
	v, ok := w.visit(c.Job, c.Visit)
	if !ok {
		return
	}
	if !known {
		if c.Outcome != call.Go {
			w.out.Untold = append(w.out.Untold, notify.Untold{
				Firm: w.book.Firm.UID, Person: b.Customer.Email, Job: c.Job, Date: c.Date, At: w.now,
				Reason: "the customer was never told this day, so there is nothing to take back",
			})
			return
		}
	}
	standBy := v.StandBy == c.Date
	if c.Outcome == call.Go && (!known || standBy) {
		v.Told, v.ToldAt = c.Date, w.now
		w.setVisit(v)
	}
	l := w.callLetter(c, before, b, bay)
	l.Subscribe, l.Thread, l.Why, l.StandBy = w.subscribe(b), v.Thread, why, standBy
	switch c.Outcome {
	case call.Go:
		l.Invitation = w.invite(&v, b)
	case call.NoGo:
		l.Invitation = w.uninvite(&v, b)
	}
	m, err := w.say.CustomerCall(l)
	w.postTo(&v, b, m, err, c.Date)
	w.setVisit(v)
}

// tellCrew writes the call to the crew, with the picture of the hours it was
// made from.
func (w *work) tellCrew(c call.Call, before *call.Call, in call.Input, bay rules.Bay) {
	crew := w.crew(c.Crew)
	l := w.callLetter(c, before, in.Job, bay)
	if !c.Blind {
		l.Picture = w.picture(in, crew.Size)
	}
	if c.Outcome == call.NoGo {
		l.PlanB = crew.PlanB
	} else {
		w.provide(&l, in, bay)
	}
	if l.Page = w.url(access.Crew, crew.ID, access.Page); l.Page != "" {
		// a button stands there: mail programs follow links by themselves
		l.SeenURL = l.Page + "#" + job.Anchor(c.Job, c.Date)
	}
	var m notify.Message
	var err error
	if c.Occasion == call.Evening {
		m, err = w.say.CrewCall(l)
	} else {
		l.Thread = w.crewThread(c)
		m, err = w.say.SecondLook(l)
	}
	w.post(m, err, crew.Email, c.Job, c.Date)
}

// crewThread gives the Message-IDs of what the crew was told of the same day
// before a call: the evening's word always, later ones where they changed it.
func (w *work) crewThread(c call.Call) []string {
	email := w.crew(c.Crew).Email
	var out []string
	var last *call.Call
	for i := range w.book.Calls {
		k := &w.book.Calls[i]
		if k.Job != c.Job || k.Date != c.Date || k.Visit != c.Visit || k.Crew != c.Crew || k.Occasion == c.Occasion {
			continue
		}
		if id := w.say.CallID(*k, email); id != "" && (last == nil || last.Outcome != k.Outcome) {
			out = append(out, id)
		}
		last = k
	}
	return out
}
