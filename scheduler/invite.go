package scheduler

import (
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/notify/calendar"
)

// A customer who asked for invitations has the visit in a calendar of their own,
// put there by mail: an invitation when a day is told, another with a higher
// sequence when it moves, a cancellation when it is taken back. The visit
// remembers what was sent last.

// invite gives the invitation to go with a letter that tells the visit's next
// days; nil where none was asked for, or the customer's calendar says it
// already.
func (w *work) invite(v *job.Visit, b job.Booking) *notify.Invitation {
	if !b.Invite || v.First().IsZero() {
		return nil
	}
	e, err := w.calendarVisit(*v, b, calendar.Told, v.Days[v.Done:]).Event(notify.ToCustomer)
	if err != nil {
		w.s.Log.Error().Err(err).Str("job", v.Job).Msg("invitation could not be made")
		return nil
	}
	if v.Invited.Stands() && v.Invited.From.Equal(e.Start) && v.Invited.To.Equal(e.End) {
		return nil
	}
	i := w.invitation(calendar.Request, e, v, b)
	if i != nil {
		v.Invited.From, v.Invited.To = e.Start, e.End
	}
	return i
}

// uninvite gives the cancellation to go with a letter that takes the told day
// back; nil where no invitation stands.
func (w *work) uninvite(v *job.Visit, b job.Booking) *notify.Invitation {
	if !v.Invited.Stands() {
		return nil
	}
	// what it was, as it was sent last
	days := []job.Date{job.DateOf(v.Invited.From.In(w.zone))}
	e, err := w.calendarVisit(*v, b, calendar.Off, days).Event(notify.ToCustomer)
	if err != nil {
		w.s.Log.Error().Err(err).Str("job", v.Job).Msg("cancellation could not be made")
		return nil
	}
	e.Start, e.End = v.Invited.From, v.Invited.To
	i := w.invitation(calendar.Cancel, e, v, b)
	if i != nil {
		v.Invited.From, v.Invited.To = time.Time{}, time.Time{}
	}
	return i
}

func (w *work) calendarVisit(v job.Visit, b job.Booking, st calendar.State, days []job.Date) calendar.Visit {
	return calendar.Visit{Firm: w.book.Firm, Job: b, N: v.N, Crew: w.crew(v.Crew), State: st, Days: days, Start: v.Start}
}

// invitation writes one object and counts it. One that cannot be written is
// logged: the mail that it would have gone with says all of it, and must go.
func (w *work) invitation(method string, e calendar.Event, v *job.Visit, b job.Booking) *notify.Invitation {
	to := w.say.Attendee(b.Customer)
	if to == "" {
		return nil
	}
	name, from := w.say.Organizer()
	e.Sequence, e.ChangedAt = v.Invited.Sent, w.now
	ics, err := calendar.Invitation{
		Method: method, Event: e, Zone: w.book.Firm.Zone,
		Organizer: calendar.Person{Name: name, Email: from}, Attendee: calendar.Person{Name: b.Customer.Name, Email: to},
	}.Render()
	if err != nil {
		w.s.Log.Error().Err(err).Str("job", v.Job).Str("method", method).Msg("invitation could not be made")
		return nil
	}
	v.Invited.Sent++
	return &notify.Invitation{Method: method, ICS: ics}
}

// postTo puts a customer's mail about a visit into the decision and into the
// visit's thread.
func (w *work) postTo(v *job.Visit, b job.Booking, m notify.Message, err error, d job.Date) {
	w.post(m, err, b.Customer.Email, v.Job, d)
	if err == nil {
		v.Thread = append(v.Thread[:len(v.Thread):len(v.Thread)], m.MessageID)
	}
}
