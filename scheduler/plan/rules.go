package plan

import "math"

// The rules in whole cents: what a placing earns, what leaving a job out
// costs, what a crew-day's driving costs. Everything here is integer
// arithmetic with floor division, so that two programs agree to the cent.

const (
	// shortDays stands for Costs.ShortDays = 0 (common practice, no source).
	shortDays = 2
	// maxDoublings caps how often an earlier move doubles the price of the
	// next, so that the price stays a number (common practice, no source).
	maxDoublings = 8
	// farHm is farther than any two places on Earth; keeps squares inside 64 bits.
	farHm = 1_000_000
)

// RoadHm estimates the road between two places in whole hectometres: 1.3 times
// the straight line (common practice, no source), rounded half to even, in
// integers only, because floating point breaks ties differently elsewhere.
func RoadHm(a, b Place) int64 {
	dx, dy := clamp(a.X-b.X, farHm), clamp(a.Y-b.Y, farHm)
	n := 169 * (dx*dx + dy*dy)
	r := isqrt(n) / 10
	h := 100 * (2*r + 1) * (2*r + 1)
	if 4*n > h || (4*n == h && r%2 == 1) {
		r++
	}
	return r
}

func clamp(x, lim int64) int64 { return max(-lim, min(lim, x)) }

func isqrt(n int64) int64 {
	r := int64(math.Sqrt(float64(n)))
	for r*r > n {
		r--
	}
	for (r+1)*(r+1) <= n {
		r++
	}
	return r
}

// floorDiv divides rounding down, for b > 0.
func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}

func (in *Input) working(d int) bool {
	return d >= 0 && d < in.Days && d < len(in.Working) && in.Working[d]
}

func (c *Crew) off(d int) bool { return d >= 0 && d < len(c.Off) && c.Off[d] }

func (c *Crew) can(skill string) bool {
	if skill == "" {
		return true
	}
	for _, s := range c.Skills {
		if s == skill {
			return true
		}
	}
	return false
}

// daysNeeded turns half days into days; 0 for a way that is none.
func daysNeeded(halfDays int) int {
	if halfDays < 1 {
		return 0
	}
	return (halfDays + 1) / 2
}

// run gives the last day of a visit of need days that begins on day d and
// takes every working day from there; ok is false when it does not fit.
func (in *Input) run(d, need int, noGap bool) (last int, ok bool) {
	if need < 1 || !in.working(d) {
		return 0, false
	}
	last = d
	for left := need - 1; left > 0; {
		last++
		if last >= in.Days || noGap && !in.working(last) {
			return 0, false
		}
		if in.working(last) {
			left--
		}
	}
	return last, true
}

// daysBetween lists the working days from first to last.
func (in *Input) daysBetween(first, last int) []int {
	var ds []int
	for d := first; d <= last; d++ {
		if in.working(d) {
			ds = append(ds, d)
		}
	}
	return ds
}

// tier is the price of moving a date told for day told.
func (c *Costs) tier(told int) int64 {
	var cost int64
	for _, t := range c.Move {
		cost = t.Cost
		if told <= t.Days {
			break
		}
	}
	return cost
}

func (c *Costs) short(d int) bool {
	lim := c.ShortDays
	if lim == 0 {
		lim = shortDays
	}
	return d <= lim
}

// doubled applies the doubling of a price by earlier moves.
func (j *Job) doubled(cost int64) int64 { return cost << max(0, min(j.Moves, maxDoublings)) }

// moveCost is the price of placing job j on day d, slot s, against the date told.
func (in *Input) moveCost(j *Job, d, s int) int64 {
	switch {
	case j.Current == nil:
		return 0
	case j.Current.Day != d:
		cost := in.Costs.tier(j.Current.Day)
		if in.Costs.short(d) {
			cost += in.Costs.ShortNotice
		}
		return j.doubled(cost)
	case j.Current.Slot != s:
		return j.doubled(in.Costs.SwapSlot)
	}
	return 0
}

// lateLeft is the lateness a job left out has run up by the end of the horizon.
// Without it an overdue job would be cheaper to leave than to lay.
func (in *Input) lateLeft(j *Job) int64 {
	return j.LatePerDay * int64(max(0, min(in.Days, j.Deadline)-j.Promised))
}

// leave is the value of leaving job j out of the horizon.
func (in *Input) leave(j *Job) int64 {
	v := j.Later - in.lateLeft(j)
	if j.Current != nil {
		v -= j.doubled(in.Costs.tier(j.Current.Day) + in.Costs.Unplace)
	}
	return v
}

// odds gives the chance of a start on day d, slot s; unknown outside the table.
func (w *Way) odds(d, s int) Odds {
	if d < 0 || d >= len(w.Odds) {
		return Odds{}
	}
	if w.HalfDays != 1 {
		s = 0
	}
	return w.Odds[d][s]
}

// reward is the expected value of laying job j from day d, slot s to day last,
// before driving. The expectation is linear in the odds and so needs no
// independence between jobs or days.
func (in *Input) reward(j *Job, w *Way, d, s, last int) int64 {
	o := w.odds(d, s)
	sealed, full := o.Sealed, o.Full
	if in.M < 1 || !o.Known {
		sealed, full = 0, 0
	}
	m := max(1, in.M)
	fail := j.Later - j.Abort - in.lateLeft(j)
	good := j.Value - j.LatePerDay*int64(max(0, last-j.Promised))
	r := floorDiv(full*good+(sealed-full)*(good-j.Return)+(m-sealed)*fail, m)
	return r - in.moveCost(j, d, s)
}

// drive is the price of hm hectometres of road.
func (in *Input) drive(hm int64) int64 { return floorDiv(hm*in.Costs.PerKm, 10) }

// allowed tells whether job j may begin on day d and end on day last, crews aside.
func (in *Input) allowed(j *Job, d, last int) bool {
	if d < j.Earliest || last > j.Deadline {
		return false
	}
	for _, b := range j.Blackout {
		if b >= d && b <= last && in.working(b) {
			return false
		}
	}
	return true
}
