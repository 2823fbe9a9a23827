package scheduler

import (
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/rules"
	"laycast/scheduler/call"
	"laycast/scheduler/task"
)

// A no-go names the work that its crew can do in any weather.
func TestANoGoNamesPlanB(t *testing.T) {
	now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
	w := aWork(t, now)
	w.s.From, w.s.Log = "Saltbox <office@saltbox.example>", zerolog.Nop()
	w.book.Firm.Email, w.book.Firm.Name = "office@saltbox.example", "Saltbox"
	w.book.Crews[0].Email, w.book.Crews[0].PlanB = "heron@saltbox.example", []string{"snag list at 9 Mill Brook"}
	x, err := w.s.open(w.book, task.Task{Firm: "saltbox", Name: task.Call, Due: now, Slot: now}, now)
	if err != nil {
		t.Fatal(err)
	}
	k := call.Call{Firm: "saltbox", Job: "J1", Visit: 1, Crew: "heron", Date: aprilDay(14), Occasion: call.Evening, Outcome: call.NoGo, Made: now, Blind: true, Reasons: []string{"rain"}}
	x.tellCrew(k, nil, call.Input{Job: w.book.Jobs[0]}, rules.Bay{})
	if n := len(x.out.Messages); n != 1 || !strings.Contains(x.out.Messages[0].Plain, "Snag list at 9 Mill Brook") {
		t.Errorf("%d mails: %+v", n, x.out.Messages)
	}
}
