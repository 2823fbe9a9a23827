package plan

import (
	"cmp"
	"slices"
)

// Keep gives the plan before in place of a fresh one where the fresh one gains
// less than `least` cents over it: people are not moved for noise. before holds
// the placings as they stand, in the days of in; one that breaks a rule by now,
// or a job that has a place in the fresh plan and had none, makes the fresh plan
// stand. What is kept bears the fresh plan's bound.
func Keep(in Input, before []Placing, fresh Plan, least int64) Plan {
	held := make(map[string]bool, len(before))
	for _, v := range before {
		held[v.Job] = true
	}
	for _, v := range fresh.Placings {
		if !held[v.Job] {
			return fresh
		}
	}
	before = slices.SortedFunc(slices.Values(before), func(a, b Placing) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Slot, b.Slot), cmp.Compare(a.Crew, b.Crew))
	})
	old := Plan{Placings: before, Base: fresh.Base, Bound: fresh.Bound}
	why := make(map[string]Reason, len(fresh.Left))
	for _, l := range fresh.Left {
		why[l.Job] = l.Reason
	}
	for _, j := range in.Jobs {
		if held[j.ID] {
			continue
		}
		r := why[j.ID]
		if r == "" {
			r = NoRoom
		}
		old.Left = append(old.Left, Left{Job: j.ID, Reason: r})
	}
	value, err := value(in, old)
	if err != nil || fresh.Objective-value >= least {
		return fresh
	}
	old.Objective = value
	old.Proven = fresh.Proven && value == fresh.Objective
	return old
}

// value adds a plan up by the rules, which it must keep.
func value(in Input, pl Plan) (int64, error) {
	in.Days = min(in.Days, MaxDays)
	c := checker{in: &in, jobs: make(map[string]int), crews: make(map[string]int),
		seen: make(map[int]bool), slots: make(map[[3]int]int)}
	if err := c.index(); err != nil {
		return 0, err
	}
	return c.sum(pl)
}
