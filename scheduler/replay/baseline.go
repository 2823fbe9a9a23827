package replay

import (
	"context"
	"sort"

	"github.com/rs/zerolog"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler"
)

// office is a firm without the daemon: it judges by the same code and the same
// forecasts, but books by a rule of thumb. Both rules look once a day, at the
// second look, with the morning's forecast.
type office struct {
	s      *Season
	truth  *truth
	sched  *scheduler.Scheduler // only to judge
	diary  *diary
	open   []*order
	issues map[forecast.Cell]forecast.Issue
	today  job.Date
}

// order is a job in the office's book.
type order struct {
	b     job.Booking
	crew  string // "" while it has no place
	days  []job.Date
	slot  int
	told  bool // that its first day is days[0]
	visit int
}

func newOffice(s *Season) *office {
	return &office{s: s, truth: newTruth(s), diary: newDiary(), sched: scheduler.New(scheduler.Config{Log: zerolog.Nop()})}
}

// liveThrough lives through the season by a rule for each morning.
func (o *office) liveThrough(ctx context.Context, src source, morning func(), tick func()) error {
	next := 0
	for o.today = o.s.From; !o.today.After(o.s.Last()); o.today = o.today.AddDays(1) {
		for ; next < len(o.s.Jobs) && !o.s.Jobs[next].On.After(o.today); next++ {
			o.open = append(o.open, &order{b: job.Booking{Job: o.s.Jobs[next].Job, State: job.Booked, NextVisit: 1}, visit: 1})
		}
		if err := o.fetch(ctx, src); err != nil {
			return err
		}
		morning()
		o.tidy()
		tick()
	}
	return nil
}

// fetch gets this morning's forecast for every open job.
func (o *office) fetch(ctx context.Context, src source) error {
	now := job.Instant(o.today, morningFetch, o.s.Zone)
	seen := map[forecast.Cell]bool{}
	var cells []forecast.Cell
	for _, r := range o.open {
		if c := scheduler.CellOf(r.b.Site); !seen[c] {
			seen[c] = true
			cells = append(cells, c)
		}
	}
	var runs []forecast.Run
	for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
		got, err := src.Fetch(ctx, forecast.Ask{Endpoint: ep, Cells: cells, Now: now})
		if err != nil {
			return err
		}
		runs = append(runs, got...)
	}
	o.issues = scheduler.Issues(runs)
	return nil
}

// tidy drops what is finished.
func (o *office) tidy() {
	var left []*order
	for _, r := range o.open {
		if !allLaid(r.b) || !allCoated(r.b) {
			left = append(left, r)
		}
	}
	o.open = left
}

// judge gives the best start on a day.
func (o *office) judge(r *order, d job.Date) (rules.Start, bool) {
	now := job.Instant(o.today, o.secondLook(), o.s.Zone)
	firm := o.s.Firm
	if r.slot == 1 && r.crew != "" {
		firm.Work.From = noon // its crew is on another roof in the morning
	}
	day, err := o.sched.Judge(firm, r.b, hands, d, o.issues[scheduler.CellOf(r.b.Site)], now)
	if err != nil || !day.Basis.Foreseen() {
		return rules.Start{}, false
	}
	return day.BestStart()
}

// noon divides a day of two half-day visits.
const noon job.TimeOfDay = 12 * 60

func (o *office) secondLook() job.TimeOfDay { return 5*60 + 30 }

// lay has a crew do today's part of an order, and says what came of it.
func (o *office) lay(r *order, s rules.Start) {
	was := r.b
	got := o.truth.outturn(was, o.today, s.At)
	got.chance, got.chanceFull = s.Sealed, s.Full
	if got.sealed = got.sealed && got.known; got.sealed {
		r.b = laid(was, got, o.today)
	}
	o.diary.went(r.b.ID, number(r.visit), r.crew, o.today, r.slot, got, r.b)
	r.days, r.told = r.days[1:], false
	if len(r.days) == 0 || !got.sealed || allLaid(r.b) {
		r.visit++
		r.crew, r.days = "", nil
	}
}

// drop takes an order off its day.
func (o *office) drop(r *order) {
	o.diary.broke(r.b.ID, number(r.visit), o.today, true)
	r.crew, r.days, r.told = "", nil, false
}

// tell tells the customer the order's first day.
func (o *office) tell(r *order) {
	o.diary.told(r.b.ID, number(r.visit), r.days[0], o.today)
	r.told = true
}

// free reports whether a crew is free on a day, in a slot or the whole day.
func (o *office) free(crew string, d job.Date, halfDays, slot int, but *order) bool {
	for _, r := range o.open {
		if r == but || r.crew != crew {
			continue
		}
		for _, x := range r.days {
			if x == d && (halfDays > 1 || o.halfDays(r) > 1 || r.slot == slot) {
				return false
			}
		}
	}
	return true
}

func (o *office) halfDays(r *order) int { return o.truth.caseOf(r.b).HalfDays(o.today) }

// fit puts an order where a crew is free from day d on, on consecutive working
// days; false when none is.
func (o *office) fit(r *order, d job.Date) bool {
	half := o.halfDays(r)
	var days []job.Date
	for x := d; len(days) < max(1, (half+1)/2); x = x.AddDays(1) {
		if o.s.Firm.Work.Working(x) {
			days = append(days, x)
		} else if len(days) == 0 {
			return false
		}
	}
	for _, c := range o.s.Crews {
		for slot := range 2 {
			if slot == 1 && half > 1 {
				continue
			}
			ok := true
			for _, x := range days {
				ok = ok && o.free(c.ID, x, half, slot, r)
			}
			if ok {
				r.crew, r.days, r.slot = c.ID, days, slot
				return true
			}
		}
	}
	return false
}

// mayStand reports whether an order may stand on a day.
func (o *office) mayStand(r *order, d job.Date) bool {
	if d.Before(r.b.Earliest) || r.b.LaidM2 == 0 && d.After(r.b.Deadline) {
		return false
	}
	return o.s.Firm.Work.Working(d)
}

// fixedNoGo is the chance under which the fixed calendar cancels on the morning.
const fixedNoGo = 0.5

// fixedCalendar books every job on arrival at the first free place and tells the
// customer at once; it cancels on the morning where the chance is under a half
// and books again at the first free place.
func (o *office) fixedCalendar() {
	for _, r := range o.open {
		if len(r.days) == 0 || r.days[0] != o.today {
			continue
		}
		if s, ok := o.judge(r, o.today); ok && s.Sealed >= fixedNoGo {
			o.lay(r, s)
		} else {
			o.drop(r)
		}
	}
	o.tidy()
	for _, r := range o.open {
		for d := o.today.AddDays(1); r.crew == "" && !d.After(o.s.Last().AddDays(60)); d = d.AddDays(1) {
			if o.mayStand(r, d) && o.fit(r, d) {
				o.tell(r)
			}
		}
	}
}

// greedyGo is the chance from which greedy lays.
const greedyGo = 0.75

// greedy puts every job, by its promised date, on its best day that is free, anew
// every morning; it tells a date under the same rule as the daemon, and lays
// today's where the chance is good enough.
func (o *office) greedy() {
	sort.SliceStable(o.open, func(a, b int) bool { return o.due(o.open[a]).Before(o.due(o.open[b])) })
	for _, r := range o.open {
		r.crew, r.days = "", nil
	}
	for _, r := range o.open {
		o.bestDay(r)
	}
	for _, r := range o.open {
		o.greedyTell(r)
	}
	for _, r := range o.open {
		if len(r.days) == 0 || r.days[0] != o.today {
			continue
		}
		if s, ok := o.judge(r, o.today); ok && s.Sealed >= greedyGo {
			o.lay(r, s)
			continue
		}
		o.drop(r)
	}
}

func (o *office) due(r *order) job.Date {
	if allLaid(r.b) {
		return r.b.SealedOn.AddDays(2)
	}
	return r.b.Promised
}

// bestDay puts an order on the free day with the greatest chance.
func (o *office) bestDay(r *order) {
	const ahead = 14
	type option struct {
		d job.Date
		p float64
	}
	var all []option
	for i := range ahead {
		d := o.today.AddDays(i)
		if !o.mayStand(r, d) {
			continue
		}
		if s, ok := o.judge(r, d); ok {
			all = append(all, option{d, s.Sealed})
		}
	}
	sort.SliceStable(all, func(a, b int) bool { return all[a].p > all[b].p })
	for _, x := range all {
		if o.fit(r, x.d) {
			return
		}
	}
}

// greedyTell tells a date that is near and likely enough, and that a told date
// has moved.
func (o *office) greedyTell(r *order) {
	key := r.b.ID + number(r.visit)
	was, told := o.diary.due[key]
	if len(r.days) == 0 {
		if told && !was.date.After(o.today.AddDays(1)) {
			o.diary.broke(r.b.ID, number(r.visit), o.today, !was.date.After(o.today))
		}
		return
	}
	d := r.days[0]
	s, _ := o.judge(r, d)
	near := d.DaysSince(o.today) <= o.s.Firm.TellAhead && s.Sealed >= o.s.Firm.Bounds.Tell
	if near && d.After(o.today) || told && was.date != d {
		o.tell(r)
	}
}
