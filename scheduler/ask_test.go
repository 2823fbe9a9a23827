package scheduler

import (
	"testing"
	"time"

	"laycast/job"
	"laycast/scheduler/ledger"
)

// A new date is told on the morning after the owner was asked; of a job that
// wants asking, and of a strict firm, only when the owner said yes.
func TestWhenANewDateIsReleased(t *testing.T) {
	day := func(d int) job.Date { return job.Date{Year: 2027, Month: time.May, Day: d} }
	asked := time.Date(2027, time.May, 3, 16, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name                   string
		first, strict, yes, no bool
		hour                   int // of 4 May
		want                   bool
	}{
		{name: "before nine", hour: 8},
		{name: "at nine", hour: 9, want: true},
		{name: "a no", hour: 9, no: true},
		{name: "a job to ask about", first: true, hour: 23},
		{name: "a job to ask about, yes", first: true, yes: true, hour: 8, want: true},
		{name: "a strict firm", strict: true, hour: 23},
		{name: "a strict firm, yes", strict: true, yes: true, hour: 8, want: true},
	} {
		v := job.Visit{Job: "q", Days: []job.Date{day(7)}, Told: day(6), AskedAt: asked, AskedFor: day(7), Approved: c.yes, Declined: c.no}
		f := job.DefaultFirm()
		f.AskStrict = c.strict
		w := &work{zone: time.UTC, now: time.Date(2027, time.May, 4, c.hour, 0, 0, 0, time.UTC),
			book: ledger.Book{Firm: f, Jobs: []job.Booking{{Job: job.Job{ID: "q"}, AskFirst: c.first}}}}
		if got := w.released(v); got != c.want {
			t.Errorf("%s: released %t", c.name, got)
		}
	}
}
