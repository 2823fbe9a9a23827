package scheduler

import (
	"fmt"
	"net/mail"
	"slices"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// work is one task on its way: what it read, and what it will write.
type work struct {
	s    *Scheduler
	book ledger.Book
	task task.Task
	now  time.Time
	zone *time.Location
	say  *notify.Composer
	used []string // the sources whose weather this work rests on
	out  ledger.Decision
}

func (s *Scheduler) open(b ledger.Book, t task.Task, now time.Time) (*work, error) {
	zone, err := time.LoadLocation(b.Firm.Zone)
	if err != nil {
		return nil, fmt.Errorf("load the zone of %s: %w", b.Firm.UID, err)
	}
	say, err := notify.NewComposer(notify.ComposerConfig{Firm: b.Firm, From: s.fromOf(b.Firm), PublicURL: s.PublicURL, Credit: s.CreditOf(nil)})
	if err != nil {
		return nil, fmt.Errorf("set up the mails of %s: %w", b.Firm.UID, err)
	}
	w := &work{s: s, book: b, task: t, now: now, zone: zone, say: say}
	w.out = ledger.Decision{Firm: b.Firm.UID, Revision: b.Revision, Now: now, Task: t}
	w.out.Next = task.Task{Firm: t.Firm, Name: t.Name, Near: Near(cellsOf(b.Jobs, w.today()))}
	due, err := nextSlot(b.Firm, t.Name, now)
	if err != nil {
		return nil, err
	}
	w.out.Next.Due, w.out.Next.Slot = due, due
	return w, nil
}

// fromOf gives the sender of a firm's mails. A From that cannot be read is
// complained of where it is used.
func (s *Scheduler) fromOf(f job.Firm) string {
	if from, err := mail.ParseAddress(s.From); s.Many && err == nil {
		return (&mail.Address{Name: f.Name, Address: from.Address}).String()
	}
	return s.From
}

// today is the firm's civil day.
func (w *work) today() job.Date { return job.DateOf(w.now.In(w.zone)) }

// booking gives a job of the book.
func (w *work) booking(id string) (job.Booking, bool) {
	for _, b := range w.book.Jobs {
		if b.ID == id {
			return b, true
		}
	}
	return job.Booking{}, false
}

// visit gives a visit of the book.
func (w *work) visit(id string, n int) (job.Visit, bool) {
	for _, v := range w.book.Visits {
		if v.Job == id && v.N == n {
			return v, true
		}
	}
	return job.Visit{}, false
}

// crew gives a crew of the book; one that is gone keeps its id as its name.
func (w *work) crew(id string) job.Crew {
	for _, c := range w.book.Crews {
		if c.ID == id {
			return c
		}
	}
	return job.Crew{ID: id, Name: id}
}

// standing gives the call in force for a job on a day.
func (w *work) standing(id string, d job.Date) *call.Call {
	var last *call.Call
	for i := range w.book.Calls {
		if c := &w.book.Calls[i]; c.Job == id && c.Date == d {
			last = c
		}
	}
	return last
}

// late reports whether the task runs after its grace is over; then it is not
// done but recorded as missed, and the owner is told.
func (w *work) late(until time.Time) bool { return w.now.After(until) }

// missed tells the owner that something did not happen in time.
func (w *work) missed(what string) {
	w.trouble("missed-"+string(w.task.Name), what+" was missed", []string{
		fmt.Sprintf("It was due at %s, but laycast was not running or could not do it until %s.",
			w.task.Slot.In(w.zone).Format("15:04 on Monday 2 January"), w.now.In(w.zone).Format("15:04 on Monday 2 January")),
		"Please tell crews and customers yourself.",
	})
}

// trouble writes to the owner, once for each subject and civil day.
func (w *work) trouble(about, subject string, lines []string) {
	w.troubleOnce(about+" "+w.today().String(), w.now, subject, lines)
}

// troubleOnce writes to the owner once about a matter that began at a time.
func (w *work) troubleOnce(about string, since time.Time, subject string, lines []string) {
	m, err := w.say.Trouble(notify.TroubleLetter{About: about, Subject: subject, Lines: lines, Now: w.now, Since: since})
	w.post(m, err, w.book.Firm.Email, "", job.Date{})
}

// post puts a composed message into the decision. One that cannot be composed
// is recorded as untold, so that nothing is lost without a trace.
func (w *work) post(m notify.Message, err error, person, id string, d job.Date) {
	if err != nil {
		w.out.Untold = append(w.out.Untold, notify.Untold{
			Firm: w.book.Firm.UID, Person: person, Job: id, Date: d, At: w.now, Reason: err.Error(),
		})
		w.s.Log.Error().Err(err).Str("job", id).Str("person", person).Msg("message could not be composed")
		return
	}
	w.out.Messages = append(w.out.Messages, m)
	w.postHook(m)
}

// postHook puts the same message into the decision by webhook, where the firm
// has one for its reader. The mail is what counts: one that cannot be written
// for the webhook is logged.
func (w *work) postHook(m notify.Message) {
	if !slices.Contains(w.s.Hooked, m.Audience) {
		return
	}
	h, ok, err := m.ByHook()
	if err != nil {
		w.s.Log.Error().Err(err).Msg("message could not be written for the webhook")
	}
	if ok {
		w.out.Messages = append(w.out.Messages, h)
	}
}
