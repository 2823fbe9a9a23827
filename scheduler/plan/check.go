package plan

import (
	"fmt"
	"slices"
)

// Check goes over a plan by the rules alone, sharing no search code with Solve,
// and adds its objective up again. It gives the first fault as an error: a rule
// broken, a job missing or named twice, an objective that is not the sum, or a
// bound below it.
func Check(in Input, pl Plan) error {
	in.Days = min(in.Days, MaxDays)
	c := checker{in: &in, jobs: make(map[string]int), crews: make(map[string]int),
		seen: make(map[int]bool), slots: make(map[[3]int]int)}
	if err := c.index(); err != nil {
		return err
	}
	sum, err := c.sum(pl)
	if err != nil {
		return err
	}
	return c.totals(pl, sum)
}

// sum adds up what a plan earns and what driving it costs, checking each part.
func (c *checker) sum(pl Plan) (int64, error) {
	var sum int64
	for _, v := range pl.Placings {
		got, err := c.placing(v)
		if err != nil {
			return 0, err
		}
		sum += got
	}
	for _, l := range pl.Left {
		got, err := c.left(l)
		if err != nil {
			return 0, err
		}
		sum += got
	}
	if n := len(pl.Placings) + len(pl.Left); n != len(c.in.Jobs) {
		return 0, fmt.Errorf("%d jobs, but the plan names %d", len(c.in.Jobs), n)
	}
	travel, err := c.travel()
	return sum - travel, err
}

type checker struct {
	in    *Input
	jobs  map[string]int
	crews map[string]int
	seen  map[int]bool
	slots map[[3]int]int // crew, day, slot -> job
}

func (c *checker) index() error {
	for i, j := range c.in.Jobs {
		if _, dup := c.jobs[j.ID]; dup {
			return fmt.Errorf("job %q is in the input twice", j.ID)
		}
		c.jobs[j.ID] = i
	}
	for i, k := range c.in.Crews {
		if _, dup := c.crews[k.ID]; dup {
			return fmt.Errorf("crew %q is in the input twice", k.ID)
		}
		c.crews[k.ID] = i
	}
	return nil
}

func (c *checker) once(id string) (int, error) {
	j, ok := c.jobs[id]
	if !ok {
		return 0, fmt.Errorf("job %q is not in the input", id)
	}
	if c.seen[j] {
		return 0, fmt.Errorf("job %q is in the plan twice", id)
	}
	c.seen[j] = true
	return j, nil
}

// placing checks one placing and gives what it earns before driving.
func (c *checker) placing(v Placing) (int64, error) {
	j, err := c.once(v.Job)
	if err != nil {
		return 0, err
	}
	k, ok := c.crews[v.Crew]
	if !ok {
		return 0, fmt.Errorf("job %q: crew %q is not in the input", v.Job, v.Crew)
	}
	job, crew := &c.in.Jobs[j], &c.in.Crews[k]
	way, ok := job.Ways[crew.Size]
	switch {
	case !ok || way.HalfDays != v.HalfDays || way.HalfDays < 1:
		return 0, fmt.Errorf("job %q: a crew of %d cannot do it in %d half days", v.Job, crew.Size, v.HalfDays)
	case v.Slot != 0 && (v.Slot != 1 || way.HalfDays != 1):
		return 0, fmt.Errorf("job %q: slot %d", v.Job, v.Slot)
	case job.Skill != "" && !slices.Contains(crew.Skills, job.Skill):
		return 0, fmt.Errorf("job %q: crew %q has not the skill %q", v.Job, v.Crew, job.Skill)
	case job.Fixed != nil && *job.Fixed != Fixed{Crew: v.Crew, Day: v.Day, Slot: v.Slot}:
		return 0, fmt.Errorf("job %q is frozen and was moved", v.Job)
	case job.Fixed == nil && job.Pin != nil && (job.Pin.Day != v.Day || job.Pin.Crew != "" && job.Pin.Crew != v.Crew):
		return 0, fmt.Errorf("job %q is pinned to day %d, crew %q, and stands on day %d with %q", v.Job, job.Pin.Day, job.Pin.Crew, v.Day, v.Crew)
	}
	if err := c.dates(v, job, &way); err != nil {
		return 0, err
	}
	if err := c.occupy(v, j, k, crew); err != nil {
		return 0, err
	}
	return c.worth(v, job, &way), nil
}

// dates checks the days of a placing against the calendar and the job.
func (c *checker) dates(v Placing, job *Job, way *Way) error {
	need := max(1, (way.HalfDays+1)/2)
	if len(v.Days) != need || v.Days[0] != v.Day {
		return fmt.Errorf("job %q: %d days from %d wanted, got %v", v.Job, need, v.Day, v.Days)
	}
	for i, d := range v.Days {
		if d < 0 || d >= c.in.Days || d >= len(c.in.Working) || !c.in.Working[d] {
			return fmt.Errorf("job %q: day %d is not a working day", v.Job, d)
		}
		for g := v.Day + 1; i > 0 && g < d; g++ {
			if g > v.Days[i-1] && (job.NoGap || c.in.Working[g]) {
				return fmt.Errorf("job %q: gap on day %d", v.Job, g)
			}
		}
		if i > 0 && d <= v.Days[i-1] {
			return fmt.Errorf("job %q: days out of order %v", v.Job, v.Days)
		}
		if job.Fixed == nil && slices.Contains(job.Blackout, d) {
			return fmt.Errorf("job %q: blackout on day %d", v.Job, d)
		}
	}
	if job.Fixed != nil {
		return nil
	}
	if v.Day < job.Earliest || v.Days[need-1] > job.Deadline {
		return fmt.Errorf("job %q: days %v outside %d to %d", v.Job, v.Days, job.Earliest, job.Deadline)
	}
	known := func(s int) bool { return v.Day < len(way.Odds) && way.Odds[v.Day][s].Known }
	blind := job.Pin != nil && !known(0) && (way.HalfDays != 1 || !known(1)) // a pin may stand where no forecast reaches
	if c.in.M < 1 || !known(v.Slot) && !blind {
		return fmt.Errorf("job %q: no odds known for a start on day %d", v.Job, v.Day)
	}
	return nil
}

func (c *checker) occupy(v Placing, j, k int, crew *Crew) error {
	for _, d := range v.Days {
		if d < len(crew.Off) && crew.Off[d] {
			return fmt.Errorf("job %q: crew %q is off on day %d", v.Job, v.Crew, d)
		}
		for s := range 2 {
			if v.HalfDays == 1 && s != v.Slot {
				continue
			}
			if other, taken := c.slots[[3]int{k, d, s}]; taken {
				return fmt.Errorf("crew %q has %q and %q on day %d, slot %d", v.Crew, c.in.Jobs[other].ID, v.Job, d, s)
			}
			c.slots[[3]int{k, d, s}] = j
		}
	}
	return nil
}

// worth is the expected value of a placing in whole cents, rounded down.
func (c *checker) worth(v Placing, job *Job, way *Way) int64 {
	m, o := c.in.M, Odds{}
	if v.Day < len(way.Odds) {
		o = way.Odds[v.Day][v.Slot]
	}
	if m < 1 || !o.Known {
		m, o = 1, Odds{}
	}
	fail := job.Later - job.Abort - c.overdue(job)
	good := job.Value
	if late := v.Days[len(v.Days)-1] - job.Promised; late > 0 {
		good -= job.LatePerDay * int64(late)
	}
	total := o.Full*good + (o.Sealed-o.Full)*(good-job.Return) + (m-o.Sealed)*fail
	each := total / m
	if each*m > total {
		each--
	}
	if t := job.Current; t != nil && t.Day != v.Day {
		cost := c.notice(t.Day)
		if lim := c.in.Costs.ShortDays; v.Day <= lim || lim == 0 && v.Day <= 2 {
			cost += c.in.Costs.ShortNotice
		}
		each -= c.grown(job, cost)
	} else if t != nil && t.Slot != v.Slot {
		each -= c.grown(job, c.in.Costs.SwapSlot)
	}
	return each
}

func (c *checker) overdue(job *Job) int64 {
	if days := min(c.in.Days, job.Deadline) - job.Promised; days > 0 {
		return job.LatePerDay * int64(days)
	}
	return 0
}

func (c *checker) notice(told int) int64 {
	if len(c.in.Costs.Move) == 0 {
		return 0
	}
	for _, t := range c.in.Costs.Move {
		if told <= t.Days {
			return t.Cost
		}
	}
	return c.in.Costs.Move[len(c.in.Costs.Move)-1].Cost
}

// grown doubles a price for each earlier move, eight times at most.
func (c *checker) grown(job *Job, cost int64) int64 {
	for i := 0; i < job.Moves && i < 8; i++ {
		cost *= 2
	}
	return cost
}

// left checks a job left out and gives what that is worth.
func (c *checker) left(l Left) (int64, error) {
	j, err := c.once(l.Job)
	if err != nil {
		return 0, err
	}
	job := &c.in.Jobs[j]
	if l.Reason == "" {
		return 0, fmt.Errorf("job %q is left without a reason", l.Job)
	}
	if (job.Fixed != nil) != (l.Reason == Clash) {
		return 0, fmt.Errorf("job %q is left with reason %q, frozen: %t", l.Job, l.Reason, job.Fixed != nil)
	}
	return c.leftWorth(job), nil
}

func (c *checker) leftWorth(job *Job) int64 {
	v := job.Later - c.overdue(job)
	if job.Current != nil {
		v -= c.grown(job, c.notice(job.Current.Day)+c.in.Costs.Unplace)
	}
	return v
}

// travel adds up the driving of every crew-day.
func (c *checker) travel() (int64, error) {
	var total int64
	for k, crew := range c.in.Crews {
		for d := range max(0, c.in.Days) {
			am, a := c.slots[[3]int{k, d, 0}]
			pm, b := c.slots[[3]int{k, d, 1}]
			if !a && !b {
				continue
			}
			if !a {
				am = pm
			} else if !b {
				pm = am
			}
			x, y := &c.in.Jobs[am], &c.in.Jobs[pm]
			hm := RoadHm(x.At, crew.Depot) + RoadHm(y.At, crew.Depot)
			if am != pm {
				between := RoadHm(x.At, y.At)
				if between > c.in.Costs.PairMaxHm && (x.Fixed == nil || y.Fixed == nil) {
					return 0, fmt.Errorf("crew %q, day %d: %q and %q are too far apart for one day", crew.ID, d, x.ID, y.ID)
				}
				hm += between
			}
			total += floorDiv(hm*c.in.Costs.PerKm, 10)
		}
	}
	return total, nil
}

// totals compares the sums with what the plan says.
func (c *checker) totals(pl Plan, sum int64) error {
	var base int64
	for i := range c.in.Jobs {
		base += c.leftWorth(&c.in.Jobs[i])
	}
	gains := base
	for _, v := range pl.Placings {
		gains += v.Gain
	}
	switch {
	case base != pl.Base:
		return fmt.Errorf("base is %d, the plan says %d", base, pl.Base)
	case sum != pl.Objective:
		return fmt.Errorf("objective is %d, the plan says %d", sum, pl.Objective)
	case gains != sum:
		return fmt.Errorf("gains add up to %d, the objective is %d", gains, sum)
	case pl.Bound < sum:
		return fmt.Errorf("bound %d is below the objective %d", pl.Bound, sum)
	}
	return nil
}
