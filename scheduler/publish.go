package scheduler

import (
	"errors"
	"fmt"

	"laycast/job"
	"laycast/notify"
	"laycast/notify/calendar"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// publish works out what each reader's calendar shows of every visit as this
// decision leaves it, and puts the rows that change into the decision.
func (w *work) publish() error {
	rows := map[string]*ledger.Published{}
	for i := range w.book.Published {
		r := &w.book.Published[i]
		rows[rowKey(r.Job, r.N, r.Reader)] = r
	}
	for _, v := range w.book.Visits {
		b, ok := w.booking(v.Job)
		if !ok {
			continue
		}
		shown := map[string]bool{}
		for _, r := range w.readers(v, b) {
			e, err := r.visit.Event(r.audience)
			if errors.Is(err, calendar.ErrNothing) {
				continue
			}
			if err != nil {
				return fmt.Errorf("show visit %d of %s to %s: %w", v.N, v.Job, r.reader, err)
			}
			shown[r.reader] = true
			w.putRow(rows, v, r, e)
		}
		w.callOffRest(rows, v, shown)
	}
	return nil
}

func rowKey(id string, n int, reader string) string { return fmt.Sprintf("%s|%d|%s", id, n, reader) }

// readerOf is one reader of a visit and what it may see.
type readerOf struct {
	reader, person string
	audience       notify.Audience
	visit          calendar.Visit
}

// readers gives who may see a visit: its customer what was told, its crew and
// the owner what is planned.
func (w *work) readers(v job.Visit, b job.Booking) []readerOf {
	base := calendar.Visit{Firm: w.book.Firm, Job: b, N: v.N, Crew: w.crew(v.Crew), State: calendar.Provisional, Days: v.Days, Start: v.Start}
	switch {
	case b.State == job.Cancelled || v.State == job.Off:
		return nil
	case w.going(v):
		base.State = calendar.Going
	case !v.Told.IsZero() && len(v.Days) > 0 && v.Days[0] == v.Told:
		base.State = calendar.Told
	}
	customer := base
	customer.Week = v.ToldWeek
	switch {
	case base.State == calendar.Provisional && !v.Told.IsZero() && v.Told.After(w.today()):
		// the plan has moved it, but the customer has not heard yet
		customer.State, customer.Days = calendar.Told, []job.Date{v.Told}
	case base.State == calendar.Provisional && !v.Told.IsZero():
		customer.Week = job.Date{} // its date fell to the weather, and there is no new one yet
	}
	out := []readerOf{{"customer", b.Customer.Email, notify.ToCustomer, customer}}
	if v.Crew != "" && len(v.Days) > 0 {
		out = append(out, readerOf{"crew/" + v.Crew, v.Crew, notify.ToCrew, base}, readerOf{"owner", "", notify.ToOwner, base})
	}
	return out
}

// going reports whether the visit's next or last day stands as go, or was laid.
func (w *work) going(v job.Visit) bool {
	if v.Done > 0 {
		return true
	}
	k := w.standing(v.Job, v.First())
	return k != nil && k.Outcome == call.Go
}

// putRow writes a row where what its reader sees has changed.
func (w *work) putRow(rows map[string]*ledger.Published, v job.Visit, r readerOf, e calendar.Event) {
	if r.audience == notify.ToCrew {
		// a visit that changes hands is one event in each crew's calendar
		e.UID = calendar.UID(w.book.Firm.UID, v.Job, v.N, notify.Audience(r.reader))
	}
	old := rows[rowKey(v.Job, v.N, r.reader)]
	digest := e.Digest()
	if old != nil && old.Digest == digest {
		return
	}
	if old != nil {
		e.Sequence = old.Event.Sequence + 1
	}
	e.ChangedAt = w.now
	row := ledger.Published{Job: v.Job, N: v.N, Reader: r.reader, Person: r.person, Digest: digest, Over: over(e, w), Event: e}
	w.setRow(rows, row)
}

// callOffRest marks the rows of a visit whose readers no longer have it as
// cancelled: left out, they would stand in their calendars for ever.
func (w *work) callOffRest(rows map[string]*ledger.Published, v job.Visit, shown map[string]bool) {
	for _, old := range rows {
		if old.Job != v.Job || old.N != v.N || shown[old.Reader] || old.Event.Status == calendar.Cancelled {
			continue
		}
		row := *old
		row.Event.Status = calendar.Cancelled
		row.Event.Sequence++
		row.Event.ChangedAt = w.now
		row.Digest = row.Event.Digest()
		row.Over = over(row.Event, w)
		w.setRow(rows, row)
	}
}

func (w *work) setRow(rows map[string]*ledger.Published, row ledger.Published) {
	rows[rowKey(row.Job, row.N, row.Reader)] = &row
	for i := range w.out.Published {
		if p := &w.out.Published[i]; p.Job == row.Job && p.N == row.N && p.Reader == row.Reader {
			row.Event.Sequence = p.Event.Sequence // one decision, one step
			*p = row
			return
		}
	}
	w.out.Published = append(w.out.Published, row)
}

// over gives the last day of an event. One that was called off counts from the
// day it was, and as over so much earlier that it goes when its own time is up.
func over(e calendar.Event, w *work) job.Date {
	last := e.To
	if last.IsZero() {
		last = job.DateOf(e.End.In(w.zone))
	}
	if e.Status != calendar.Cancelled {
		return last
	}
	if last.Before(w.today()) {
		last = w.today()
	}
	return last.AddDays(keepCancelled - keepPublished)
}

// How many days after it is over a visit stays in the calendars, and one that
// was called off: too many struck-out ones annoy (INTEROP.md B.8; common
// practice, no source).
const (
	keepPublished = 30
	keepCancelled = 14
)
