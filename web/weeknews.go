package web

import (
	"context"
	"slices"
	"sync"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler/plan"
)

// Plans looks at plans and judges the one in force.
type Plans interface {
	// Outlook judges the first day still to come of each visit on the plan, by
	// job, by the newest forecast.
	Outlook(ctx context.Context, uid string) (map[string]rules.Day, error)
	// WeeksSince gives the plan in force at a time and all made after it, oldest
	// first.
	WeeksSince(ctx context.Context, uid string, since time.Time) ([]plan.Week, error)
}

// weekNews is what the week page tells beside the book.
type weekNews struct {
	outlook map[string]rules.Day
	changes []plan.WeekChange
}

// keptNews keeps the last news of the week: judging takes longer than a page
// may. It is good for one revision of the book, one quarter of an hour and
// one request at a time.
type keptNews struct {
	mu       sync.Mutex
	revision int64
	made     time.Time
	has      bool
	news     weekNews
}

// newsLasts is how long news are kept while the book stands still: a forecast
// that brings something new moves the plan, and with it the book. Ours.
const newsLasts = 15 * time.Minute

// newsOf gives the news of the week, from those kept where they are still good.
func (s *site) newsOf(ctx context.Context, uid string, revision int64, at moment) (weekNews, error) {
	if s.Plans == nil {
		return weekNews{}, nil
	}
	k := s.news
	k.mu.Lock()
	defer k.mu.Unlock()
	if age := at.now.Sub(k.made); k.has && k.revision == revision && age >= 0 && age < newsLasts {
		return k.news, nil
	}
	var n weekNews
	var err error
	if n.outlook, err = s.Plans.Outlook(ctx, uid); err != nil {
		return n, err
	}
	// since this time yesterday, by the calendar
	wall := at.now.In(at.zone)
	since := job.Instant(at.today.AddDays(-1), job.TimeOfDay(wall.Hour()*60+wall.Minute()), at.zone)
	weeks, err := s.Plans.WeeksSince(ctx, uid, since)
	if err != nil {
		return n, err
	}
	n.changes = changesOver(weeks)
	k.revision, k.made, k.news, k.has = revision, at.now, n, true
	return n, nil
}

// changesOver gives what the last of some plans has elsewhere than the first,
// with the reason of the last change that led there.
func changesOver(weeks []plan.Week) []plan.WeekChange {
	if len(weeks) < 2 {
		return nil
	}
	from, to := firstDays(weeks[0]), firstDays(weeks[len(weeks)-1])
	var out []plan.WeekChange
	seen := map[string]bool{}
	for i := len(weeks) - 1; i > 0; i-- {
		for _, c := range weeks[i].Changes {
			if seen[c.Job] {
				continue
			}
			seen[c.Job] = true
			if from[c.Job] != to[c.Job] {
				out = append(out, plan.WeekChange{Job: c.Job, From: from[c.Job], To: to[c.Job], Reason: c.Reason})
			}
		}
	}
	slices.SortStableFunc(out, func(x, y plan.WeekChange) int { return x.To.Compare(y.To) })
	return out
}

func firstDays(w plan.Week) map[string]job.Date {
	out := map[string]job.Date{}
	for _, v := range w.Visits {
		if len(v.Days) > 0 {
			out[v.Job] = v.Days[0]
		}
	}
	return out
}

// sureChance is the chance from which on a day is told by its nearest limit, not
// by what stops the few. Ours, no source.
const sureChance = 0.95

// binding says what stands in the way of a day most: what stops most members,
// else how near the laminate comes to its tightest limit.
func binding(d rules.Day, zone *time.Location) string {
	best, _ := d.BestStart()
	var most rules.Failing
	for _, f := range d.Failing {
		if f.Members > most.Members {
			most = f
		}
	}
	if most.Members > 0 && best.Sealed < sureChance {
		return notify.LimitWords(most.Limit) + ", " + notify.SpanWords(most.From, most.To, zone, d.Date)
	}
	for _, g := range d.Stages {
		if g.Stage == rules.Laminate {
			return notify.Tightest(g.Tightest, zone, d.Date)
		}
	}
	if len(d.Stages) > 0 {
		return notify.Tightest(d.Stages[0].Tightest, zone, d.Date)
	}
	return ""
}
