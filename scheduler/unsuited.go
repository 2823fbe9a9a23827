package scheduler

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"laycast/job"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// Bounds of what a customer may do alone. Ours, no source.
const (
	mostUnsuited = 5  // days of one job; after that somebody has to talk
	offered      = 2  // dates
	offerReach   = 10 // days ahead that are looked at for them
)

// errRing says that it is too late, or too often, for a form.
var errRing = errors.New("please ring us or answer any of our mails, so that we can settle it together")

// Unsuited takes down that a told day does not suit a customer: the job is kept
// off it and planned anew, and the customer hears at once of the day that takes
// its place, or that one follows. wish is one of Offers, or none: the job is
// pinned there where that is possible. Once the crew is called to the day it
// fails, and asks to ring.
func (s *Scheduler) Unsuited(ctx context.Context, firm, person, id string, d, wish job.Date) error {
	return s.change(ctx, firm, func(w *work) error {
		b, v, err := w.suits(person, id, d)
		if err != nil {
			return err
		}
		b.Unsuited = append(slices.DeleteFunc(slices.Clone(b.Unsuited), func(x job.Date) bool { return x.Before(w.today().AddDays(-30)) }), d)
		if b.Pinned.Day == d {
			b.Pinned = job.Pin{}
		}
		wished := !wish.IsZero() && wish != d && w.canPin(b, wish, "") == nil
		if wished {
			b.Pinned = job.Pin{Day: wish}
		}
		w.setBooking(b)
		if err := w.replan(ctx); err != nil {
			return err
		}
		if v, _ = w.visit(id, v.N); wished && v.First() != wish { // there was no room after all
			b.Pinned, wished = job.Pin{}, false
			w.setBooking(b)
			if err := w.replan(ctx); err != nil {
				return err
			}
			v, _ = w.visit(id, v.N)
		}
		w.suit(b, v, wished)
		w.tellDates()
		return w.publish()
	})
}

// suits finds the visit that a customer was told a day of, and says where the
// day is past changing by a form.
func (w *work) suits(person, id string, d job.Date) (job.Booking, job.Visit, error) {
	b, ok := w.booking(id)
	if !ok || !strings.EqualFold(b.Customer.Email, person) || b.State != job.Booked {
		return b, job.Visit{}, errors.New("there is no such date of yours")
	}
	for _, v := range w.book.Visits {
		if v.Job != id || v.Told != d || v.State != job.Planned || v.Done > 0 {
			continue
		}
		if !d.After(w.today()) || w.called(id, d) || b.LaidM2 > 0 || len(b.Unsuited) >= mostUnsuited {
			return b, v, errRing
		}
		return b, v, nil
	}
	return b, job.Visit{}, errors.New("this date has changed meanwhile; please look at the page again")
}

// suit tells a customer what comes of a day that does not suit, and the owner
// what was asked for. A day that the customer turned down is no move of ours.
func (w *work) suit(b job.Booking, v job.Visit, wished bool) {
	was, first := v.Told, v.First()
	l := w.letter(v, b)
	l.Was, l.Why = was, "You told us that "+was.Words()+" does not suit you."
	v.Moved, v.MovedWhy = was, l.Why
	said := "It has no new day yet; its customer hears as soon as there is one."
	if !first.IsZero() && w.tellable(v) {
		l.Date, l.Invitation = first, w.invite(&v, b)
		m, err := w.say.DateMoved(l)
		w.postTo(&v, b, m, err, first)
		v.Told, v.ToldAt = first, w.now
		said = "It stands on " + first.Words() + " now, and its customer was told."
		if wished {
			said += " That day was offered, and the customer chose it; it is pinned there."
		}
	} else {
		l.NewFollows, l.Invitation = true, w.uninvite(&v, b)
		m, err := w.say.DateCancelled(l)
		w.postTo(&v, b, m, err, was)
		v.Told, v.ToldAt = job.Date{}, time.Time{}
	}
	v.AskedAt, v.AskedFor, v.Approved, v.Declined = time.Time{}, job.Date{}, false, false
	w.setVisit(v)
	w.trouble("unsuited-"+b.ID+"-"+was.String(), fmt.Sprintf("%s does not suit the customer of %s", was.Words(), b.Title), []string{
		fmt.Sprintf("%s says by the page that %s does not suit for %s (%s).", b.Customer.Name, was.Words(), b.Title, b.ID), said,
	})
}

// Offers gives up to two days that could take the place of a told one: days near
// enough to be told, likely enough, with an idle crew that could do the job
// within the day. None where its date is past changing by a form.
func (s *Scheduler) Offers(ctx context.Context, b ledger.Book, person, id string, d job.Date) ([]job.Date, error) {
	now := s.Clock.Now()
	w, err := s.open(b, task.Task{Firm: b.Firm.UID, Name: task.Tell, Due: now, Slot: now}, now)
	if err != nil {
		return nil, err
	}
	j, _, err := w.suits(person, id, d)
	if err != nil {
		return nil, err
	}
	free, err := w.free()
	if err != nil {
		return nil, err
	}
	issues, err := s.Issues(ctx, []job.Booking{j}, now, w.zone)
	if err != nil {
		return nil, err
	}
	is := issues[CellOf(j.Site)]
	var out []job.Date
	for x := free; len(out) < offered && x.DaysSince(w.today()) <= offerReach; x = x.AddDays(1) {
		if x == d || w.canPin(j, x, "") != nil || j.Unsuits(x) {
			continue
		}
		for _, k := range w.book.Crews {
			if !k.Has(j.Skill) || k.Away(x) || w.busy(k.ID, x) {
				continue
			}
			c, err := s.caseOf(b.Firm, j, k.Size, w.zone)
			if err != nil {
				return nil, err
			}
			day := s.judge(c, x, is, now, b.Firm.Bounds)
			best, known := day.BestStart()
			if known && day.Basis.Foreseen() && w.fitToTell(best.Sealed, best.RainOpen) && c.HalfDays(x) <= 2 {
				out = append(out, x)
				break
			}
		}
	}
	return out, nil
}

// busy reports whether a crew has something on a day.
func (w *work) busy(crew string, d job.Date) bool {
	for _, v := range w.book.Visits {
		if v.Crew == crew && v.On(d) {
			return true
		}
	}
	return slices.ContainsFunc(w.book.Calls, func(k call.Call) bool { return k.Crew == crew && k.Date == d && k.Outcome != call.NoGo })
}
