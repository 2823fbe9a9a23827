package scheduler

import (
	"context"
	"slices"

	"laycast/job"
	"laycast/rules"
	"laycast/rules/load"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// OnSite gives what a crew needs for a job on a day that it is called to, by the
// newest forecast: load list, hours and mix card. ok is false where no call
// stands, or a no-go.
func (s *Scheduler) OnSite(ctx context.Context, b ledger.Book, id string, d job.Date) (out ledger.OnSite, ok bool, err error) {
	now := s.Clock.Now()
	w, err := s.open(b, task.Task{Firm: b.Firm.UID, Name: task.Tell, Due: now, Slot: now}, now)
	if err != nil {
		return out, false, err
	}
	j, found := w.booking(id)
	k := w.standing(id, d)
	if !found || k == nil || k.Outcome == call.NoGo {
		return out, false, nil
	}
	out.Hands = w.crew(k.Crew).Size
	if j.Closed.Day == d { // the day's work, though it is over
		j.LaidM2, j.CoatedM2, j.SealedOn = j.Closed.LaidM2, j.Closed.CoatedM2, j.Closed.SealedOn
	}
	j = w.underWay(j, d)
	c, err := s.caseOf(b.Firm, j, out.Hands, w.zone)
	if err != nil {
		return out, false, err
	}
	out.Bay, _ = c.NextBay(d)
	out.Profile = c.Profile
	if s.Materials.Name != "" {
		out.Recipe = s.Materials.Recipe()
		if out.Bay.AreaM2 > 0 {
			out.Load, out.Kit, out.Notes = s.supplies(j, out.Bay, c.Profile, out.Hands)
		}
	}
	issues, err := s.Issues(ctx, []job.Booking{j}, now, w.zone)
	if err != nil {
		return out, false, err
	}
	if is := issues[CellOf(j.Site)]; is.Det != nil {
		out.Seen = is.Det.LastSeen
		out.Hours = s.grounds.day(is, c, d).HourTable(job.Instant(d, 0, w.zone), job.Instant(d.AddDays(1), 0, w.zone))
		out.Mix = out.Recipe.Card(c.Profile, out.Hands, out.Hours, k.Stages)
	}
	return out, true, nil
}

// supplies gives what goes on the van for a day's work: what the roof takes, the
// tools, and what the list does not know.
func (s *Scheduler) supplies(b job.Booking, bay rules.Bay, p rules.Profile, hands int) (items, kit []load.Item, notes []string) {
	m := s.Materials
	list := m.Bay(b, bay, p, hands)
	for _, x := range list.Items {
		if slices.ContainsFunc(m.Kit, func(k load.Kit) bool { return k.Item == x.Item }) {
			kit = append(kit, x)
		} else {
			items = append(items, x)
		}
	}
	return items, kit, list.Notes
}

// Note adds readings and batches to the diary. The visit of each is found by its
// job and day, which its crew has to be called to; one that is there by its id
// stays as it was.
func (s *Scheduler) Note(ctx context.Context, firm string, x job.Diary) error {
	return s.change(ctx, firm, func(w *work) error {
		w.out.Diary = job.Diary{}
		for _, r := range x.Readings {
			if bad := r.Check(); len(bad) > 0 {
				return bad[0]
			}
			if err := w.place(&r.Entry); err != nil {
				return err
			}
			w.out.Diary.Readings = append(w.out.Diary.Readings, r)
		}
		for _, b := range x.Batches {
			if bad := b.Check(); len(bad) > 0 {
				return bad[0]
			}
			if err := w.place(&b.Entry); err != nil {
				return err
			}
			w.out.Diary.Batches = append(w.out.Diary.Batches, b)
		}
		return nil
	})
}

// place finds the visit of a line of the diary.
func (w *work) place(e *job.Entry) error {
	e.Noted = w.now
	if e.At.IsZero() {
		e.At = w.now
	}
	_, v, err := w.reported(&job.Report{Entry: *e, What: job.Begun})
	if err != nil {
		return err
	}
	e.N = v.N
	return nil
}
