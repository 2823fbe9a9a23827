package plan

import (
	"cmp"
	"slices"
)

// crowdDays is how far ahead a book is looked through for the price of a day: what is
// due later has time. Ours, no source.
const crowdDays = 120

// noDay is the part of a day that counts as none: sums of shares are not exact.
const noDay = 0.001

// Crowd says what a crew's day after the plan's own days will be worth, in cents: what
// the dearest of the booked jobs that find none would earn by the day. It is 0 where
// all of them find one.
//
// The jobs are put to the days by their deadlines as if they were water, and where
// they take more than there is until one of them, those that earn least by the day
// go without. A day of the plan has the mean chance of the jobs that may begin on it,
// for each crew that works; a later day, and one of which nothing is known, has
// share(day) for each crew, from 0 to 1.
func Crowd(in Input, share func(day int) float64) int64 {
	in.Days = max(0, min(in.Days, MaxDays))
	must, needs := in.crowdNeeds()
	room := in.room(share)
	taken, price := must, 0.0
	var kept []need
	for i, n := range needs {
		kept, taken = append(kept, n), taken+n.days
		if i+1 < len(needs) && needs[i+1].deadline == n.deadline {
			continue
		}
		slices.SortStableFunc(kept, func(a, b need) int { return cmp.Compare(b.earns, a.earns) })
		for over := taken - room[n.deadline]; over > noDay && len(kept) > 0; over = taken - room[n.deadline] {
			least := &kept[len(kept)-1]
			if n.deadline >= in.Days {
				price = max(price, least.earns)
			}
			if over < least.days {
				least.days, taken = least.days-over, room[n.deadline]
				break
			}
			taken -= least.days
			kept = kept[:len(kept)-1]
		}
	}
	return int64(price)
}

// need is what a job takes of the crews' days to come, and what it earns by the day.
type need struct {
	deadline    int
	days, earns float64
}

// crowdNeeds gives what the jobs need, by deadline. What is frozen, and what is left of roofs
// that were begun, which are due some time or other, is done first whatever it earns: the days
// that it must have.
func (in *Input) crowdNeeds() (must float64, out []need) {
	for i := range in.Jobs {
		j := &in.Jobs[i]
		days := LeastDays(j)
		switch {
		case days == 0 || j.Deadline < 0:
		case j.Fixed != nil || j.Deadline >= crowdDays:
			must += days
		default:
			out = append(out, need{deadline: j.Deadline, days: days, earns: max(0, float64(j.Value-j.Return)/days)})
		}
	}
	slices.SortStableFunc(out, func(a, b need) int { return cmp.Compare(a.deadline, b.deadline) })
	return must, out
}

// room gives the crew-days that there are up to each day.
func (in *Input) room(share func(day int) float64) []float64 {
	out, sum := make([]float64, crowdDays), 0.0
	for d := range out {
		odds, known := in.usual(d)
		if !known {
			odds = share(d)
		}
		for k := range in.Crews {
			if d >= in.Days || in.working(d) && !in.Crews[k].off(d) {
				sum += odds
			}
		}
		out[d] = sum
	}
	return out
}

// usual gives the mean chance of the jobs that may begin on a day of the plan.
func (in *Input) usual(d int) (odds float64, known bool) {
	sealed, n := int64(0), int64(0)
	for i := range in.Jobs {
		for _, w := range in.Jobs[i].Ways {
			if o := w.odds(d, 0); o.Known {
				sealed, n = sealed+o.Sealed, n+1
			}
		}
	}
	if n == 0 {
		return 0, false
	}
	return float64(sealed) / float64(n*max(1, in.M)), true
}

// LeastDays gives how many days of a crew a job takes at the least, in halves; 0 where no
// crew can do it.
func LeastDays(j *Job) float64 {
	least := 0
	for _, w := range j.Ways {
		if least == 0 || w.HalfDays < least {
			least = w.HalfDays
		}
	}
	return float64(least) / 2
}
