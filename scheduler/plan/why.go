package plan

import (
	"fmt"
	"slices"
)

// Price is what something costs or adds, in cents.
type Price struct {
	Cents int64 // what was found
	Least int64 // proven: no less than this
	Exact bool  // the two are one: planned again with the change, and proven best
}

// Answer says what a plan gains by one job, and what it would cost to begin the
// job on each other day. Everything is planned again with the change.
type Answer struct {
	Adds Price // over the best plan that leaves the job out; 0 where it is left out
	Days []Try // by day of the horizon
}

// Try is the best plan with the job begun on a day.
type Try struct {
	Day     int
	Can     bool    // there is such a plan, and it keeps the pins of the others
	Reason  Reason  // why not
	Placing Placing // of the job
	Cost    Price   // against the plan; below 0 where it would gain
	Own     int64   // of the cost, what the job itself earns less there; the rest is the others'
	Move    int64   // in Own: what moving the told date costs there, less what it costs where it stands
	Odds    Odds    // there
	Needs   int64   // members of M that would have to be sealed there for the cost to be 0; 0 where none would do
	Shifts  []Shift // who else would stand elsewhere
}

// Shift is a job that stands on another day than in the plan.
type Shift struct {
	Job      string
	From, To int // days; -1: none
}

// Why plans again with the job taken out and with it begun on every day, for
// which the job's own pin or frozen place is lifted. pl is a plan of in.
func Why(in Input, pl Plan, id string) (Answer, error) {
	in.Days = max(0, min(in.Days, MaxDays))
	i := slices.IndexFunc(in.Jobs, func(j Job) bool { return j.ID == id })
	if i < 0 {
		return Answer{}, fmt.Errorf("job %q is not in the input", id)
	}
	var a Answer
	now, placed := pl.placing(id)
	if placed {
		a.Adds = pl.over(Solve(in.changed(i, func(j *Job) { j.Fixed, j.Pin, j.Ways = nil, nil, nil })))
	}
	for d := range in.Days {
		a.Days = append(a.Days, in.try(pl, i, now, placed, d))
	}
	return a, nil
}

// changed is the input with one job changed.
func (in Input) changed(i int, change func(j *Job)) Input {
	in.Jobs = slices.Clone(in.Jobs)
	change(&in.Jobs[i])
	return in
}

// over is what a plan is worth more than another of the same jobs, which was
// solved and bounds what others like it could be worth.
func (pl Plan) over(other Plan) Price {
	return Price{Cents: pl.Objective - other.Objective, Least: pl.Objective - other.Bound, Exact: other.Proven}
}

func (pl Plan) placing(id string) (Placing, bool) {
	k := slices.IndexFunc(pl.Placings, func(v Placing) bool { return v.Job == id })
	if k < 0 {
		return Placing{}, false
	}
	return pl.Placings[k], true
}

// try begins job i on day d.
func (in Input) try(pl Plan, i int, now Placing, placed bool, d int) Try {
	job := &in.Jobs[i]
	t := Try{Day: d}
	if placed && now.Day == d {
		t.Can, t.Placing, t.Odds = true, now, in.oddsAt(job, now)
		t.Cost.Exact = true
		return t
	}
	if !job.known(d) {
		t.Reason = NoDay
		return t
	}
	other := Solve(in.changed(i, func(j *Job) { j.Fixed, j.Pin = nil, &Pin{Day: d} }))
	v, ok := other.placing(job.ID)
	if !ok {
		k := slices.IndexFunc(other.Left, func(l Left) bool { return l.Job == job.ID })
		t.Reason = other.Left[k].Reason
		return t
	}
	if in.breaksPin(pl, other, job.ID) {
		t.Reason = NoRoom
		return t
	}
	t.Can, t.Placing, t.Odds, t.Cost = true, v, in.oddsAt(job, v), pl.over(other)
	t.Own = now.Gain - v.Gain
	t.Move = in.moveCost(job, v.Day, v.Slot)
	if placed {
		t.Move -= in.moveCost(job, now.Day, now.Slot)
	}
	t.Needs = in.needs(job, v, t.Odds, t.Cost.Cents)
	t.Shifts = shifts(pl, other, job.ID)
	return t
}

// known reports whether any crew has known odds for a start on day d.
func (j *Job) known(d int) bool {
	for _, w := range j.Ways {
		if w.odds(d, 0).Known || w.HalfDays == 1 && w.odds(d, 1).Known {
			return true
		}
	}
	return false
}

func (in *Input) way(j *Job, v Placing) Way {
	k := slices.IndexFunc(in.Crews, func(c Crew) bool { return c.ID == v.Crew })
	if k < 0 {
		return Way{}
	}
	return j.Ways[in.Crews[k].Size]
}

func (in *Input) oddsAt(j *Job, v Placing) Odds {
	w := in.way(j, v)
	return w.odds(v.Day, v.Slot)
}

// breaksPin reports whether a pinned job of the plan has no place in the other.
func (in *Input) breaksPin(pl, other Plan, but string) bool {
	for _, j := range in.Jobs {
		if j.Pin == nil || j.Fixed != nil || j.ID == but {
			continue
		}
		_, was := pl.placing(j.ID)
		if _, is := other.placing(j.ID); was && !is {
			return true
		}
	}
	return false
}

// needs gives the members that would have to be sealed at v for a cost to be
// nothing: what a placing earns rises by the same with each, taking the share of
// full ones among them as it is. 0 where more than all would have to be.
func (in *Input) needs(j *Job, v Placing, o Odds, cost int64) int64 {
	if cost <= 0 || in.M < 1 || !o.Known {
		return 0
	}
	last := v.Days[len(v.Days)-1]
	good := j.Value - j.LatePerDay*int64(max(0, last-j.Promised))
	fail := j.Later - j.Abort - in.lateLeft(j)
	each := float64(good - j.Return - fail)
	if o.Sealed > 0 {
		each += float64(j.Return) * float64(o.Full) / float64(o.Sealed)
	}
	if each <= 0 {
		return 0
	}
	more := float64(cost) * float64(in.M) / each
	if float64(o.Sealed)+more > float64(in.M) {
		return 0
	}
	return min(in.M, o.Sealed+int64(more)+1)
}

// shifts lists the jobs, but for one, whose day differs, by the plan's order.
func shifts(pl, other Plan, but string) []Shift {
	var out []Shift
	for _, v := range pl.Placings {
		to := -1
		if o, ok := other.placing(v.Job); ok {
			to = o.Day
		}
		if v.Job != but && to != v.Day {
			out = append(out, Shift{Job: v.Job, From: v.Day, To: to})
		}
	}
	for _, v := range other.Placings {
		if _, ok := pl.placing(v.Job); !ok && v.Job != but {
			out = append(out, Shift{Job: v.Job, From: -1, To: v.Day})
		}
	}
	return out
}
