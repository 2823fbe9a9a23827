package scheduler

import (
	"context"
	"testing"
	"time"

	"laycast/job"
	"laycast/scheduler/task"
)

// timetable keeps tasks in memory.
type timetable struct{ tasks []task.Task }

func (t *timetable) Tasks(context.Context, string) ([]task.Task, error) { return t.tasks, nil }

func (t *timetable) MoveTask(_ context.Context, was task.Task, due, _ time.Time) error {
	for i := range t.tasks {
		if t.tasks[i].Name == was.Name {
			t.tasks[i].Due, t.tasks[i].Slot = due, due
		}
	}
	return nil
}

// TestRetime: a changed time holds from the next time on, with no day left out and
// none done twice. Halifax keeps UTC-3 in June; 24 June 2027 is a Thursday.
func TestRetime(t *testing.T) {
	const now = "2027-06-24T20:00:00Z" // 17:00
	for _, c := range []struct {
		name      string
		task      task.Task
		set       func(*job.Times)
		due, want string
	}{
		{"later today", task.Task{Name: task.Call}, func(x *job.Times) { x.Call = "0 19 * * *" }, "2027-06-24T21:00:00Z", "2027-06-24T22:00:00Z"},
		{"past today: once more at the old time", task.Task{Name: task.Call}, func(x *job.Times) { x.Call = "0 16 * * *" }, "2027-06-24T21:00:00Z", "2027-06-24T21:00:00Z"},
		{"done today, and later today: from tomorrow", task.Task{Name: task.Call}, func(x *job.Times) { x.Call = "0 20 * * *" }, "2027-06-25T19:30:00Z", "2027-06-25T23:00:00Z"},
		{"tomorrow, earlier", task.Task{Name: task.SecondLook}, func(x *job.Times) { x.SecondLook = "0 5 * * *" }, "2027-06-25T08:30:00Z", "2027-06-25T08:00:00Z"},
		{"a weekday sooner", task.Task{Name: task.WeekMail}, func(x *job.Times) { x.WeekMail = "0 15 * * 5" }, "2027-06-28T09:00:00Z", "2027-06-25T18:00:00Z"},
		{"as it was", task.Task{Name: task.Close}, func(*job.Times) {}, "2027-06-24T23:00:00Z", "2027-06-24T23:00:00Z"},
		{"told in the afternoon", task.Task{Name: task.Tell}, func(x *job.Times) { x.Tell = "0 8,18 * * *" }, "2027-06-25T12:00:00Z", "2027-06-25T11:00:00Z"},
		{"tried again", task.Task{Name: task.Call, Tries: 1}, func(x *job.Times) { x.Call = "0 19 * * *" }, "2027-06-24T21:00:00Z", "2027-06-24T21:00:00Z"},
		{"running", task.Task{Name: task.Call, LeaseUntil: at(t, "2027-06-24T20:01:00Z")}, func(x *job.Times) { x.Call = "0 19 * * *" }, "2027-06-24T21:00:00Z", "2027-06-24T21:00:00Z"},
		{"due already", task.Task{Name: task.Call}, func(x *job.Times) { x.Call = "0 19 * * *" }, "2027-06-24T19:59:00Z", "2027-06-24T19:59:00Z"},
		{"weather sooner", task.Task{Name: task.FetchEnsemble}, func(x *job.Times) { x.EveningFetch = "5 17 * * *" }, "2027-06-24T20:15:00Z", "2027-06-24T20:05:00Z"},
		{"weather no later", task.Task{Name: task.FetchEnsemble}, func(x *job.Times) { x.EveningFetch = "45 18 * * *" }, "2027-06-24T20:15:00Z", "2027-06-24T20:15:00Z"},
		{"of no setting", task.Task{Name: task.Watch}, func(*job.Times) {}, "2027-06-25T09:17:00Z", "2027-06-25T09:17:00Z"},
	} {
		f := job.DefaultFirm()
		f.UID, f.Zone = "saltbox", "America/Halifax"
		c.set(&f.Times)
		c.task.Firm, c.task.Due, c.task.Slot = f.UID, at(t, c.due), at(t, c.due)
		table := &timetable{[]task.Task{c.task}}
		for range 2 { // what was put right stays
			if err := Retime(t.Context(), table, f, at(t, now)); err != nil {
				t.Fatal(err)
			}
			if got := table.tasks[0]; !got.Due.Equal(at(t, c.want)) || !got.Slot.Equal(got.Due) {
				t.Errorf("%s: due %s, want %s", c.name, got.Due.UTC().Format(time.RFC3339), c.want)
			}
		}
	}
}
