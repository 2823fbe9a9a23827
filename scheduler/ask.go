package scheduler

import (
	"context"
	"errors"
	"fmt"

	"laycast/job"
	"laycast/job/access"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// Owner says how the owner answers when asked about a new date.
type Owner string

// The owners.
const (
	OwnerAsked  Owner = ""       // a real one, by the link in the mail
	OwnerYes    Owner = "yes"    // in a rehearsal: always yes, at once
	OwnerNo     Owner = "no"     // always no
	OwnerSilent Owner = "silent" // never answers
)

// waits reports whether a visit's new date is one that the owner may still
// stop: a told date that the plan has moved.
func (w *work) waits(v job.Visit) bool { return ledger.MoveWaits(v, w.today()) }

// askOwner asks the owner about new dates that nobody has asked about yet.
func (w *work) askOwner() {
	var lines []string
	strict := 0
	for _, v := range append([]job.Visit{}, w.book.Visits...) {
		b, ok := w.booking(v.Job)
		if !ok || b.State != job.Booked || !w.waits(v) || v.AskedFor == v.First() {
			continue
		}
		v.AskedAt, v.AskedFor = w.now, v.First()
		if b.Pinned.Day == v.First() { // the owner chose it
			v.Approved, v.Declined = true, false
			w.setVisit(v)
			continue
		}
		v.Approved, v.Declined = w.s.Owner == OwnerYes, w.s.Owner == OwnerNo
		w.setVisit(v)
		line := fmt.Sprintf("%s (%s): told %s, now %s. %s", b.Title, v.Job, v.Told.Words(), v.First().Words(), w.moveWords(v))
		if v.Moves+1 >= ownersMove {
			line += fmt.Sprintf(" It is the %s move: please ring %s yourself.", ordinal(v.Moves+1), b.Customer.Name)
		}
		if b.AskFirst && !w.book.Firm.AskStrict {
			line += " You want to be asked about this one: it is told only when you say yes."
			strict++
		}
		lines = append(lines, line)
	}
	if len(lines) == 0 {
		return
	}
	end := "Without an answer they are told tomorrow at 09:00."
	switch {
	case strict > 0 && strict < len(lines):
		end = "Without an answer the others are told tomorrow at 09:00."
	case strict > 0 || w.book.Firm.AskStrict:
		end = "They are told only when you say yes."
	}
	m, err := w.say.Ask(notify.AskLetter{Lines: append(lines, end), Link: w.url(access.Owner, "", access.Approve), Now: w.now})
	w.post(m, err, w.book.Firm.Email, "", job.Date{})
}

// yesBy is the hour until which the owner may stop a new date.
const yesBy = 9 * 60

// released reports whether a new date may be told: the owner said yes, or did
// not answer until the morning after.
func (w *work) released(v job.Visit) bool {
	if v.AskedFor != v.First() || v.Declined {
		return false
	}
	if v.Approved {
		return true
	}
	if b, ok := w.booking(v.Job); w.book.Firm.AskStrict || ok && b.AskFirst {
		return false
	}
	by := job.Instant(job.DateOf(v.AskedAt.In(w.zone)), yesBy, w.zone)
	if !by.After(v.AskedAt) {
		by = job.Instant(job.DateOf(v.AskedAt.In(w.zone)).AddDays(1), yesBy, w.zone)
	}
	return !w.now.Before(by)
}

// Waiting gives the new dates of a firm that wait for the owner's yes, in
// words.
func (s *Scheduler) Waiting(ctx context.Context, firm string) ([]string, error) {
	now := s.Clock.Now()
	b, err := s.Store.Book(ctx, firm, job.DateOf(now.UTC()).AddDays(-keepCalls))
	if err != nil {
		return nil, fmt.Errorf("read the book: %w", err)
	}
	w, err := s.open(b, task.Task{Firm: firm, Name: task.Tell, Due: now, Slot: now}, now)
	if err != nil {
		return nil, err
	}
	out := []string{}
	for _, v := range b.Visits {
		if j, ok := w.booking(v.Job); ok && ledger.MoveAsked(v, w.today()) {
			line := fmt.Sprintf("%s: %s instead of %s", j.Title, v.First().Words(), v.Told.Words())
			if j.AskFirst && !b.Firm.AskStrict {
				line += ", told only when you say yes"
			}
			out = append(out, line)
		}
	}
	return out, nil
}

// Approve records the owner's yes to every new date that waits, and tells them.
// It reports how many there were; a second yes finds none.
func (s *Scheduler) Approve(ctx context.Context, firm string) (int, error) {
	n := 0
	err := s.change(ctx, firm, func(w *work) error {
		n = 0
		for _, v := range append([]job.Visit{}, w.book.Visits...) {
			if ledger.MoveAsked(v, w.today()) {
				v.Approved = true
				w.setVisit(v)
				n++
			}
		}
		if n == 0 {
			return errNothing
		}
		w.tellDates()
		return w.publish()
	})
	return n, err
}

// errNothing says that a change found nothing to change.
var errNothing = errors.New("nothing to change")
