package main

import (
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/scheduler/task"
)

// The machine's clock is set wrong by two hours for ten minutes, about the call,
// and then right again; once the daemon is killed at the wrong time, so that what
// it held is held for two hours more.
func TestFaultClockSteps(t *testing.T) {
	slowWhenRaced(t)
	c := &tally{fault: "clock wrong by 2 h for 10 minutes, either way", anyOutcome: true}
	ref := theReference(t)
	all := []struct {
		at   time.Duration // after the call
		by   time.Duration
		kill bool
	}{
		{-2 * time.Minute, 2 * time.Hour, true}, {time.Minute, -2 * time.Hour, false}, {-30 * time.Minute, 2 * time.Hour, false},
		{time.Minute, 2 * time.Hour, false}, {-2 * time.Minute, -2 * time.Hour, false}, {-46 * time.Minute, -2 * time.Hour, false},
		{35 * time.Minute, 2 * time.Hour, true}, {25 * time.Minute, -2 * time.Hour, false},
	}
	late := time.Duration(0)
	for _, x := range all[:often(2, len(all))] {
		st := openStage(t, "", 1)
		d := st.daemons[0]
		done := false
		var right, clear time.Time // when the clock was set right, and when all calls were told after it
		st.beside = func(at time.Time) {
			if done && clear.IsZero() && callsHeld(st) == 0 {
				clear = at
			}
			if done || at.Before(eve.Add(x.at)) {
				return
			}
			done = true
			c.tries++
			if x.kill {
				d.post.mu.Lock()
				d.post.trap = func(string) { d.kill() }
				d.post.mu.Unlock()
			}
			st.clock.set(t, at.Add(x.by))
			if x.kill {
				for end := time.Now().Add(20 * time.Second); d.running() && time.Now().Before(end); {
					time.Sleep(time.Millisecond)
				}
				d.post.mu.Lock()
				d.post.trap = nil
				d.post.mu.Unlock()
				if d.running() {
					t.Errorf("at %s by %s: nothing was sent, so nothing was killed", x.at, x.by)
				}
			} else {
				st.settle()
				for range 10 {
					st.clock.set(t, st.clock.Now().Add(time.Minute))
					st.settle()
				}
			}
			right = at.Add(10 * time.Minute)
			st.clock.set(t, right)
			if callsHeld(st) == 0 {
				clear = right
			}
		}
		st.live(eveningTo())
		st.lastLeases()
		c.add(t, st.outcome(), ref)
		st.shut()
		late = max(late, clear.Sub(right))
		if x.kill && (clear.IsZero() || clear.Sub(right) > 10*time.Minute) {
			t.Errorf("what was held under the wrong clock was told %s after the clock was right again", clear.Sub(right))
		}
		if t.Failed() {
			t.Fatalf("set wrong %s after the call by %s", x.at, x.by)
		}
	}
	c.recovery = fmt.Sprintf("what was held under the wrong clock went on at most %s after it was right again", late)
	c.say(t)
}

// callsHeld counts the calls that are not out yet.
func callsHeld(st *stage) int {
	st.t.Helper()
	var n int
	if err := st.raw.QueryRow(`SELECT count(*) FROM messages WHERE kind = 'call' AND state IN ('pending', 'begun')`).Scan(&n); err != nil {
		st.t.Error(err)
	}
	return n
}

// daily are the tasks that have to run once on each civil day.
var daily = []task.Name{task.Call, task.SecondLook, task.Absence, task.Close, task.Unseen, task.Record, task.Learn, task.Score, task.Prune}

// The firm's clock changes in the night to Sunday, forward or back. Each daily
// task runs once on each day, by the wall clock. (A configuration with a time that
// the change leaves out or doubles is refused.)
func TestFaultClockChanges(t *testing.T) {
	slowWhenRaced(t)
	c := &tally{fault: "both clock changes (Dublin; with -faults New York and Lord Howe)", other: true}
	all := []struct {
		zone, friday string
	}{
		{"Europe/Dublin", "2027-03-26"}, {"Europe/Dublin", "2027-10-29"},
		{"America/New_York", "2027-03-12"}, {"America/New_York", "2027-11-05"},
		{"Australia/Lord_Howe", "2027-04-02"}, {"Australia/Lord_Howe", "2027-10-01"},
	}
	ran := 0
	for _, x := range all[:often(2, len(all))] {
		day := civil(x.friday)
		zone, err := time.LoadLocation(x.zone)
		if err != nil {
			t.Fatal(err)
		}
		st := openEmptyStage(t, x.zone, "", 1, job.Instant(day, 17*60+5, zone))
		st.args = []string{"--verbose"}
		text := st.read(st.config)
		for i := range 2 {
			st.write("laycast.yaml", strings.Replace(text, "name: Quay Roofs 00", fmt.Sprintf("name: Quay Roofs %02d", i), 1))
			st.takeIn(bookOf(stageJobs, x.friday))
			st.firms = append(st.firms, fmt.Sprintf("quay-roofs-%02d", i))
		}
		st.write("laycast.yaml", text)
		end := job.Instant(day.AddDays(3), 8*60, zone)
		c.until = end
		st.live(end)
		st.lastLeases()
		c.tries++
		c.add(t, st.outcome(), outcome{})
		st.shut()
		ran += c.judgeDays(t, st, day, zone)
	}
	c.recovery = fmt.Sprintf("%d daily tasks, each once a day at its time on the wall", ran)
	c.say(t)
}

// judgeDays counts the runs of each daily task on Saturday and Sunday, by the log.
func (c *tally) judgeDays(t *testing.T, st *stage, friday job.Date, zone *time.Location) int {
	t.Helper()
	type key struct {
		firm string
		name task.Name
		day  job.Date
	}
	runs := map[key]int{}
	for line := range strings.Lines(st.daemons[0].errs.String()) {
		var e struct {
			Message, Firm string
			Task          task.Name
			Due           time.Time
		}
		if err := json.Unmarshal([]byte(line), &e); err != nil || e.Message != "task done" {
			continue
		}
		at := e.Due.In(zone)
		runs[key{e.Firm, e.Task, job.DateOf(at)}]++
		want := map[task.Name]string{task.Call: "18:00", task.Close: "20:00", task.SecondLook: "05:30", task.Score: "03:20"}[e.Task]
		if want != "" && at.Format("15:04") != want {
			t.Errorf("%s of %s was due at %s", e.Task, e.Firm, at)
		}
	}
	n := 0
	for _, f := range st.firms {
		for _, name := range daily {
			for d := 1; d <= 2; d++ {
				switch k := runs[key{f, name, friday.AddDays(d)}]; {
				case k == 0:
					c.lost++
					t.Errorf("%s: %s did not run on %s", f, name, friday.AddDays(d))
				case k > 1:
					c.doubled++
					t.Errorf("%s: %s ran %d times on %s", f, name, k, friday.AddDays(d))
				default:
					n++
				}
			}
		}
	}
	return n
}
