package scheduler

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"time"

	"github.com/robfig/cron/v3"

	"laycast/job"
	"laycast/scheduler/task"
)

// ensembleEvery is how often the ensemble is asked for beside the fetches
// before a decision: models give a new one every 6 hours.
const ensembleEvery = 6

// next gives the first moment after `after` that a cron expression names, by
// the firm's wall clock. A time that the clock change leaves out counts at the
// end of the gap, a doubled one once: the expression is read against a clock
// that never changes, and the moment found is then put on the real one.
func next(expr string, after time.Time, zone *time.Location) (time.Time, error) {
	c, err := parseCron(expr)
	if err != nil {
		return time.Time{}, err
	}
	l := after.In(zone)
	wall := time.Date(l.Year(), l.Month(), l.Day(), l.Hour(), l.Minute(), l.Second(), l.Nanosecond(), time.UTC)
	for {
		wall = c.Next(wall)
		if wall.IsZero() {
			return time.Time{}, fmt.Errorf("the time %q never comes", expr)
		}
		at := job.Instant(job.DateOf(wall), job.TimeOfDay(wall.Hour()*60+wall.Minute()), zone)
		if at.After(after) {
			return at, nil
		}
	}
}

// parseCron reads a five-field cron expression. The parser panics on some bad
// input (a lone "TZ=UTC"), which is an error like any other.
func parseCron(expr string) (s cron.Schedule, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%q is not a time; write minute, hour, day, month, weekday, such as 0 18 * * *", expr)
		}
	}()
	s, err = cron.ParseStandard(expr)
	if err != nil {
		return nil, fmt.Errorf("read the time %q: %w", expr, err)
	}
	return s, nil
}

// nextSlot gives when a task of the firm is next due after `after`.
func nextSlot(f job.Firm, n task.Name, after time.Time) (time.Time, error) {
	zone, err := time.LoadLocation(f.Zone)
	if err != nil {
		return time.Time{}, fmt.Errorf("load the zone of %s: %w", f.UID, err)
	}
	switch n {
	case task.FetchForecast:
		return nextFetch(f, n, 1, after, zone)
	case task.FetchEnsemble:
		return nextFetch(f, n, ensembleEvery, after, zone)
	case task.Call:
		return next(f.Times.Call, after, zone)
	case task.SecondLook:
		return next(f.Times.SecondLook, after, zone)
	case task.Watch:
		return next(watchTimes, after, zone)
	case task.Absence:
		return next(f.Times.Absence, after, zone)
	case task.Close:
		return next(f.Times.Close, after, zone)
	case task.Unseen:
		return next(f.Times.Unseen, after, zone)
	case task.Tell:
		return next(f.Times.Tell, after, zone)
	case task.WeekMail:
		return next(f.Times.WeekMail, after, zone)
	case task.Record:
		return next("20 8 * * *", after, zone) // 36 hours after 20:00
	case task.Score:
		return next("20 3 * * *", after, zone) // the past rows reach back over yesterday
	case task.Learn:
		return next("10 3 * * *", after, zone)
	case task.Prune:
		return next("40 3 * * *", after, zone)
	case task.Replan:
		return after.AddDate(1, 0, 0), nil // only ever armed
	}
	return time.Time{}, fmt.Errorf("there is no task %q", n)
}

// nextFetch gives the next fetch: every so many hours, off the full hour by an
// amount that differs between firms and hours, or one of the two fetches that
// come before a decision, whichever is first.
func nextFetch(f job.Firm, n task.Name, every int, after time.Time, zone *time.Location) (time.Time, error) {
	step := time.Duration(every) * time.Hour
	base := after.UTC().Truncate(step)
	at := base.Add(jitter(f.UID, n, base))
	for !at.After(after) {
		base = base.Add(step)
		at = base.Add(jitter(f.UID, n, base))
	}
	for _, expr := range []string{f.Times.EveningFetch, f.Times.MorningFetch} {
		x, err := next(expr, after, zone)
		if err != nil {
			return time.Time{}, err
		}
		if x.Before(at) {
			at = x
		}
	}
	return at, nil
}

// jitter spreads regular fetches over minutes 5 to 24 of their hour, the same
// for the same firm, task and hour.
func jitter(firm string, n task.Name, base time.Time) time.Duration {
	sum := sha256.Sum256([]byte(firm + "|" + string(n) + "|" + base.UTC().Format(time.RFC3339)))
	return jitterFrom + time.Duration(binary.LittleEndian.Uint32(sum[:4])%uint32(jitterOver/time.Second))*time.Second
}

// where the jitter begins, and over how long it goes
const (
	jitterFrom = 5 * time.Minute
	jitterOver = 20 * time.Minute
)

// backoff gives how long to wait after so many failures in a row: 1, 2, 4 …
// minutes, at most 30.
func backoff(failures int) time.Duration {
	d := time.Minute
	for i := 1; i < failures && d < 30*time.Minute; i++ {
		d *= 2
	}
	return min(d, 30*time.Minute)
}
