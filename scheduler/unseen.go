package scheduler

import (
	"fmt"

	"laycast/job"
	"laycast/scheduler/call"
)

// unseen tells the owner which crews have not said that they read the evening's
// call for tomorrow. In a rehearsal nobody is there to say so, and where mails
// hold no links nobody could.
func (w *work) unseen() {
	tomorrow := job.DateOf(w.task.Slot.In(w.zone)).AddDays(1)
	if w.s.Owner != OwnerAsked || w.s.LinkKey == nil || w.late(job.Instant(tomorrow.AddDays(-1), callUntil, w.zone)) {
		return
	}
	var lines []string
	for _, k := range w.book.Calls {
		if k.Date != tomorrow || k.Occasion != call.Evening || w.book.Diary.Word(k.Job, tomorrow).Seen {
			continue
		}
		b, ok := w.booking(k.Job)
		if !ok || b.State != job.Booked {
			continue // cancelled since: there is nothing to be seen
		}
		lines = append(lines, fmt.Sprintf("%s (%s), crew %s: %s", b.Title, k.Job, w.crew(k.Crew).Name, k.Outcome))
	}
	if len(lines) > 0 {
		lines = append([]string{"Nobody has said that these calls for tomorrow were read:"}, lines...)
		w.trouble("unseen", "a crew has not seen tomorrow's call", append(lines, "Please ring them."))
	}
}
