package scheduler

import (
	"context"
	"fmt"
	"time"

	"laycast/job"
	"laycast/scheduler/task"
)

// Timetable reads the tasks of a firm and moves one that waits.
type Timetable interface {
	Tasks(ctx context.Context, firm string) ([]task.Task, error)
	// MoveTask makes a task due at another time, if it is as it was read and
	// nobody runs it; else it does nothing.
	MoveTask(ctx context.Context, was task.Task, due, now time.Time) error
}

// Retime has the tasks of a firm wait for the times that its settings now name. A
// task that runs at the moment finds its next time by itself, and one that failed
// and is tried again is left alone.
func Retime(ctx context.Context, t Timetable, f job.Firm, now time.Time) error {
	tasks, err := t.Tasks(ctx, f.UID)
	if err != nil {
		return err
	}
	for _, x := range tasks {
		if x.Tries > 0 || !x.Due.Equal(x.Slot) || !x.Due.After(now) || x.LeaseUntil.After(now) {
			continue
		}
		due, err := retimed(f, x, now)
		if err != nil {
			return err
		}
		if due.Equal(x.Due) {
			continue
		}
		if err := t.MoveTask(ctx, x, due, now); err != nil {
			return fmt.Errorf("have %s of %s wait until %s: %w", x.Name, f.UID, due.UTC().Format(time.RFC3339), err)
		}
	}
	return nil
}

// retimed gives when a waiting task is due by a firm's settings.
//
// No day is left out and none has its work twice: what was still to come today comes
// at the new time, or a last time at the old one where the new one is past; what was
// done today comes at the new time from tomorrow on.
func retimed(f job.Firm, t task.Task, now time.Time) (time.Time, error) {
	switch t.Name {
	case task.FetchForecast, task.FetchEnsemble:
		due, err := nextSlot(f, t.Name, now)
		if err == nil && t.Due.Before(due) {
			due = t.Due // one fetch more does no harm, one less may
		}
		return due, err
	case task.Call, task.SecondLook, task.Absence, task.Close, task.Unseen, task.Tell, task.WeekMail:
	default:
		return t.Due, nil // no setting names its time
	}
	fits, err := nextSlot(f, t.Name, t.Due.Add(-time.Second))
	if err != nil || fits.Equal(t.Due) {
		return t.Due, err
	}
	zone, err := job.LoadZone(f.Zone)
	if err != nil {
		return time.Time{}, fmt.Errorf("load the zone of %s: %w", f.UID, err)
	}
	today := job.DateOf(now.In(zone))
	if job.DateOf(t.Due.In(zone)).After(today) {
		return nextSlot(f, t.Name, job.Instant(today.AddDays(1), 0, zone).Add(-time.Second))
	}
	due, err := nextSlot(f, t.Name, now)
	if err == nil && job.DateOf(due.In(zone)).After(today) {
		due = t.Due
	}
	return due, err
}
