package replay

import (
	"math"
	"slices"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/plan"
)

// A course is what becomes of one roof over a season: on which days some of it is
// sealed, and on which its topcoat goes on.

// stand is how far a roof has come.
type stand struct {
	laid, coated float64 // m²
	paid         float64 // m² of laid that were sealed in time to be paid for
	age          int     // days since it was sealed whole, while topcoat is missing; `ripe` and more are one
}

// dayWork is a day's work that could have come off.
type dayWork struct {
	day, from, to int // stands of the roof before and after
	half          bool
	late          bool    // half: there was a start from noon on
	gain          float64 // at once; the rest is in the worth of the stands
	drive         float64 // what at least it drives
}

// roof holds every course of a job.
type roof struct {
	id     string // of the job
	stands []stand
	wait   []int     // by stand: the stand a day later when nothing is done
	worth  []float64 // by stand: what it earns when the season ends so, over doing nothing
	works  []dayWork // by day
	at     plan.Place

	value [][]float64 // by day and stand, at the prices last asked for
}

// survey finds a job's courses: it lives through the days from every stand that the
// roof can have. What a day takes, whether it holds and what it earns are asked of
// the code that says so for the policies, with every start tried.
type survey struct {
	roof
	t     *truth
	a     Arrival
	index map[stand]int
	half  map[stand]bool
	ripe  int // age from which the overcoat window is over for sure
}

func courses(t *truth, a Arrival) roof {
	v := &survey{t: t, a: a, index: map[stand]int{}, half: map[stand]bool{}, ripe: int(t.profile.OvercoatHours/24) + 2}
	v.roof.id, v.at = a.Job.ID, t.s.place(a.Job.Site)
	live := []int{v.id(stand{})}
	for i := range t.s.Days {
		var next []int
		for _, k := range live {
			next = append(next, v.wait[k])
		}
		if d := t.s.From.AddDays(i); t.s.Firm.Work.Working(d) && !d.Before(a.On) && !d.Before(a.Job.Earliest) {
			had := len(v.works)
			v.day(i, d, live)
			for _, w := range v.works[had:] {
				next = append(next, w.to)
			}
		}
		slices.Sort(next)
		live = slices.Compact(next)
	}
	return v.roof
}

// id numbers a stand, and those that follow it when nothing is done.
func (v *survey) id(x stand) int {
	b := v.booking(x, v.t.s.From)
	if !allLaid(b) || allCoated(b) {
		x.age = 0
	}
	// bays in another order are the same to all but the last digits
	key := stand{math.Round(x.laid * 1e6), math.Round(x.coated * 1e6), math.Round(x.paid * 1e6), x.age}
	if k, ok := v.index[key]; ok {
		return k
	}
	k := len(v.stands)
	v.index[key] = k
	end := Score{}
	end.job(v.t.s, b, v.t.s.Last(), min(1, x.paid/v.a.Job.Roof.AreaM2))
	v.stands, v.wait, v.worth = append(v.stands, x), append(v.wait, k), append(v.worth, float64(end.Sealed+end.Coated))
	if x.age > 0 && x.age < v.ripe {
		x.age++
		older := v.id(x) // before the index: the slice may move
		v.wait[k] = older
	}
	return k
}

// booking gives the job as it stands on the morning of d.
func (v *survey) booking(x stand, d job.Date) job.Booking {
	b := job.Booking{Job: v.a.Job, State: job.Booked, NextVisit: 1, LaidM2: x.laid, CoatedM2: x.coated}
	if x.laid > 0 {
		b.SealedOn = d.AddDays(-max(1, x.age))
	}
	return b
}

// day adds what could be done on day i from the stands that can be.
func (v *survey) day(i int, d job.Date, live []int) {
	held := map[rules.Bay]could{}
	for _, k := range live {
		x := v.stands[k]
		b := v.booking(x, d)
		bay, ok := v.t.caseOf(b).NextBay(d)
		if !ok || x.laid == 0 && d.After(v.a.Job.Deadline) {
			continue
		}
		key := bay
		key.Of = min(bay.Of, 2) // the work of a day hangs on whether it is the last, no more
		c, ok := held[key]
		if !ok {
			c = v.t.best(b, d)
			held[key] = c
		}
		if !c.sealed {
			continue
		}
		w := dayWork{day: i, from: k, half: v.halfDay(x), late: c.late}
		v.add(w, bay, d, false)
		if w.late = c.fullLate; c.full && bay.Task == rules.Lay {
			v.add(w, bay, d, true)
		}
	}
}

// add adds one day's work, with the topcoat or without.
func (v *survey) add(w dayWork, bay rules.Bay, d job.Date, full bool) {
	x := v.stands[w.from]
	b := laid(v.booking(x, d), outcome{task: bay.Task, areaM2: bay.AreaM2, full: full}, d)
	if bay.Task == rules.Coat {
		w.gain = -float64(v.t.s.Firm.Costs.ReturnCost)
	} else {
		if !d.After(v.a.Job.Deadline.AddDays(grace)) {
			x.paid += bay.AreaM2
		}
		if x.age = 0; allLaid(b) {
			w.gain = float64(lateLeft(v.t.s, v.a.Job) - lateness(v.a.Job, d))
		}
	}
	x.laid, x.coated, x.age = b.LaidM2, b.CoatedM2, min(x.age+1, v.ripe)
	w.to = v.id(x)
	v.works = append(v.works, w)
}

// halfDay says whether what a roof takes next was ever half a day's work. Places in
// the plan are given by the length of another day than the one they are for.
func (v *survey) halfDay(x stand) bool {
	x.age = 0
	half, ok := v.half[x]
	if !ok {
		for i := 0; i < v.t.s.Days && !half; i++ {
			d := v.t.s.From.AddDays(i)
			half = v.t.caseOf(v.booking(x, d)).HalfDays(d) == 1
		}
		v.half[x] = half
	}
	return half
}
