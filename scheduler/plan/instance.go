package plan

import (
	"encoding/json"
	"fmt"
	"strconv"
)

// instance is the file format of the planning benchmark: distances in
// hectometres, money in whole pence, jobs and crews by number.
type instance struct {
	Days    int             `json:"days"`
	Members int64           `json:"members"`
	Working []bool          `json:"working"`
	Depots  []instancePlace `json:"depots"`
	Crews   []instanceCrew  `json:"crews"`
	Jobs    []instanceJob   `json:"jobs"`
	Params  instanceParams  `json:"params"`
}

type instancePlace struct{ X, Y int64 }

type instanceCrew struct {
	ID     int      `json:"id"`
	Depot  int      `json:"depot"`
	Skills []string `json:"skills"`
	Off    []int    `json:"off"`
}

type instanceJob struct {
	ID         int               `json:"id"`
	X          int64             `json:"x"`
	Y          int64             `json:"y"`
	HalfDays   int               `json:"half_days"`
	NoGap      bool              `json:"no_gap"`
	Skill      string            `json:"skill"`
	Earliest   int               `json:"earliest"`
	Promised   int               `json:"promised"`
	Deadline   int               `json:"deadline"`
	Value      int64             `json:"value"`
	Abort      int64             `json:"abort_cost"`
	LatePerDay int64             `json:"late_per_day"`
	Blackout   []int             `json:"blackout"`
	Later      int64             `json:"later_value"`
	Current    *instanceDate     `json:"current"`
	Fixed      *instanceDate     `json:"fixed"`
	PM         []json.RawMessage `json:"pm"` // by day: members, two for half-day jobs, or null
}

type instanceDate struct{ Day, Slot, Crew int }

type instanceParams struct {
	PencePerHm  int64      `json:"km_pence_per_hm"` // per hectometre in spite of its name
	PairMaxHm   int64      `json:"pair_max_hm"`
	MoveCost    [][2]int64 `json:"move_cost"`
	ShortNotice [2]int64   `json:"short_notice"`
	SlotMove    int64      `json:"slot_move"`
	Unplace     int64      `json:"unplace_extra"`
}

// ReadInstance reads a benchmark instance. Ids become decimal strings, every
// crew has size 1, and a start that holds is sealed and full alike.
func ReadInstance(data []byte) (Input, error) {
	var f instance
	if err := json.Unmarshal(data, &f); err != nil {
		return Input{}, fmt.Errorf("read planning instance: %w", err)
	}
	if f.Days < 1 || f.Days > MaxDays || f.Members < 1 {
		return Input{}, fmt.Errorf("read planning instance: days %d (1 to %d wanted), members %d (at least 1 wanted)", f.Days, MaxDays, f.Members)
	}
	if f.Members > mostMembers {
		return Input{}, fmt.Errorf("read planning instance: %d members, at most %d can be counted", f.Members, mostMembers)
	}
	if f.Params.ShortNotice[0] == 0 {
		return Input{}, fmt.Errorf("read planning instance: short_notice of 0 days cannot be said in Costs.ShortDays")
	}
	in := Input{Days: f.Days, Working: f.Working, M: f.Members, Costs: f.Params.costs()}
	for _, c := range f.Crews {
		if c.Depot < 0 || c.Depot >= len(f.Depots) {
			return Input{}, fmt.Errorf("read planning instance: crew %d: depot %d is not in the file", c.ID, c.Depot)
		}
		off := make([]bool, f.Days)
		for _, d := range c.Off {
			if d >= 0 && d < f.Days {
				off[d] = true
			}
		}
		in.Crews = append(in.Crews, Crew{ID: strconv.Itoa(c.ID), Size: 1, Skills: c.Skills, Depot: Place(f.Depots[c.Depot]), Off: off})
	}
	for i := range f.Jobs {
		j, err := f.Jobs[i].job(f.Members)
		if err != nil {
			return Input{}, fmt.Errorf("read planning instance: job %d: %w", f.Jobs[i].ID, err)
		}
		in.Jobs = append(in.Jobs, j)
	}
	return in, nil
}

func (p instanceParams) costs() Costs {
	c := Costs{
		ShortNotice: p.ShortNotice[1], ShortDays: int(p.ShortNotice[0]), SwapSlot: p.SlotMove,
		Unplace: p.Unplace, PerKm: 10 * p.PencePerHm, PairMaxHm: p.PairMaxHm,
	}
	for _, t := range p.MoveCost {
		c.Move = append(c.Move, Tier{Days: int(t[0]), Cost: t[1]})
	}
	return c
}

// Limits that keep every sum inside 64 bits.
const (
	mostMembers = 1_000_000
	mostPence   = 1_000_000_000
)

func (f *instanceJob) job(members int64) (Job, error) {
	for _, v := range []int64{f.Value, f.Abort, f.LatePerDay, f.Later} {
		if v < -mostPence || v > mostPence {
			return Job{}, fmt.Errorf("%d pence is beyond %d", v, mostPence)
		}
	}
	if far := 1_000_000; f.Promised < -far || f.Promised > far {
		return Job{}, fmt.Errorf("promised day %d is beyond %d", f.Promised, far)
	}
	j := Job{
		ID: strconv.Itoa(f.ID), At: Place{f.X, f.Y}, Skill: f.Skill, NoGap: f.NoGap,
		Earliest: f.Earliest, Promised: f.Promised, Deadline: f.Deadline, Blackout: f.Blackout,
		Value: f.Value, Abort: f.Abort, LatePerDay: f.LatePerDay, Later: f.Later,
	}
	if f.Current != nil {
		j.Current = &Told{Day: f.Current.Day, Slot: f.Current.Slot}
	}
	if f.Fixed != nil {
		j.Fixed = &Fixed{Crew: strconv.Itoa(f.Fixed.Crew), Day: f.Fixed.Day, Slot: f.Fixed.Slot}
	}
	w := Way{HalfDays: f.HalfDays}
	for d, raw := range f.PM {
		o, err := instanceOdds(raw)
		if err != nil {
			return Job{}, fmt.Errorf("pm of day %d: %w", d, err)
		}
		for _, o := range o {
			if o.Full < 0 || o.Full > members {
				return Job{}, fmt.Errorf("pm of day %d: %d of %d members", d, o.Full, members)
			}
		}
		w.Odds = append(w.Odds, o)
	}
	j.Ways = map[int]Way{1: w}
	return j, nil
}

func instanceOdds(raw json.RawMessage) ([2]Odds, error) {
	var one *int64
	var two []int64
	if err := json.Unmarshal(raw, &one); err == nil {
		if one == nil {
			return [2]Odds{}, nil
		}
		return [2]Odds{{Sealed: *one, Full: *one, Known: true}, {}}, nil
	}
	if err := json.Unmarshal(raw, &two); err != nil || len(two) != 2 {
		return [2]Odds{}, fmt.Errorf("a number, two numbers or null wanted, got %s", raw)
	}
	return [2]Odds{
		{Sealed: two[0], Full: two[0], Known: true},
		{Sealed: two[1], Full: two[1], Known: true},
	}, nil
}

// Result is a plan for a benchmark instance, in the form its checker reads.
type Result struct {
	Objective int64           `json:"objective"` // pence
	Base      int64           `json:"base"`      // the objective with every job left out
	Gain      int64           `json:"gain"`      // Objective - Base
	Bound     int64           `json:"bound"`     // on the objective
	Gap       float64         `json:"gap"`       // share of the gain
	Proven    bool            `json:"proven"`
	Millis    int64           `json:"ms"`
	Plan      []ResultPlacing `json:"plan"`
}

// ResultPlacing is one placing of a Result.
type ResultPlacing struct {
	Job  int `json:"job"`
	Day  int `json:"day"`
	Slot int `json:"slot"`
	Crew int `json:"crew"`
}

// NewResult puts a plan for an instance in the form of its checker. It fails
// when a job or crew is not a number, as those of an instance are.
func NewResult(pl Plan, millis int64) (Result, error) {
	r := Result{
		Objective: pl.Objective, Base: pl.Base, Gain: pl.Objective - pl.Base, Bound: pl.Bound,
		Gap: pl.Gap(), Proven: pl.Proven, Millis: millis, Plan: []ResultPlacing{},
	}
	for _, v := range pl.Placings {
		job, err := strconv.Atoi(v.Job)
		if err != nil {
			return Result{}, fmt.Errorf("job %q of the plan is not a number: %w", v.Job, err)
		}
		crew, err := strconv.Atoi(v.Crew)
		if err != nil {
			return Result{}, fmt.Errorf("crew %q of the plan is not a number: %w", v.Crew, err)
		}
		r.Plan = append(r.Plan, ResultPlacing{Job: job, Day: v.Day, Slot: v.Slot, Crew: crew})
	}
	return r, nil
}
