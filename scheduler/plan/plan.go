// Package plan finds the week: which job, with which crew, on which day. It is
// pure: numbers in (whole cents, whole members of M, days counted from the
// first day of the horizon), numbers out, the same plan for the same input.
package plan

// Input is one planning problem. Days are indices 0..Days-1; day 0 is the
// first day that may still be planned.
type Input struct {
	Days    int
	Working []bool // by day; false: nobody works
	M       int64  // the denominator of every Odds
	Crews   []Crew
	Jobs    []Job
	Costs   Costs
}

// Place is a point on a flat map, in hectometres (100 m).
type Place struct{ X, Y int64 }

// Crew is one crew over the horizon.
type Crew struct {
	ID     string
	Size   int
	Skills []string
	Depot  Place
	Off    []bool // by day; nil: never off
}

// Job is one visit to be placed.
type Job struct {
	ID    string
	At    Place
	Skill string // "" = any crew
	NoGap bool   // its days follow each other on the calendar, not only in working days

	Earliest, Promised, Deadline int // days; may lie outside the horizon
	Blackout                     []int

	Value      int64 // earned by laying it in full
	Abort      int64 // lost when the opened roof fails
	LatePerDay int64
	Later      int64 // what it is worth when left for after the horizon
	Return     int64 // coming back for what a sealed roof still lacks

	Ways    map[int]Way // by crew size; a size that is not there cannot do it
	Current *Told       // the date told to the customer, if any
	Moves   int         // moves so far: each doubles the price of the next
	Fixed   *Fixed      // frozen: must stand where it is
	Pin     *Pin        // the owner's: there or nowhere, and before anything that is only worth more
}

// Way is how a crew of one size does a job.
type Way struct {
	HalfDays int       // 1, 2, 4 or 6
	Odds     [][2]Odds // by first day; [0] morning or whole day, [1] afternoon (half-day jobs only)
}

// Odds are members of M in which a start succeeds.
type Odds struct {
	Sealed, Full int64
	Known        bool // false: no start may be planned on that day
}

// Told is a date the customer was told.
type Told struct {
	Day  int // may lie outside the horizon
	Slot int
}

// Fixed is a frozen placing.
type Fixed struct {
	Crew string
	Day  int
	Slot int
}

// Pin is a place the owner chose. A plan keeps as many pins as it can, whatever
// they cost, and breaks no rule for them.
type Pin struct {
	Day  int
	Crew string // "": any that can
}

// Costs are the prices of moving and driving, in cents.
type Costs struct {
	Move        []Tier // by notice, ascending; the last holds for all beyond
	ShortNotice int64  // on top when the new date is within ShortDays
	ShortDays   int    // last day that counts as short notice; 0 stands for 2, negative: none
	SwapSlot    int64  // morning for afternoon on the same day
	Unplace     int64  // on top when a told date is taken away without a new one
	PerKm       int64  // road km
	PairMaxHm   int64  // farthest apart, in road hectometres, that a crew's two half-day jobs may lie
}

// Tier is the cost of moving a date told for at most Days ahead.
type Tier struct {
	Days int
	Cost int64
}

// Plan is the answer.
type Plan struct {
	Placings  []Placing // by day, slot, crew
	Left      []Left    // by job
	Objective int64     // cents, summed again from the rules
	Base      int64     // the objective with everything left out
	Bound     int64     // no plan that keeps as many pins can have a greater objective
	Proven    bool      // Objective == Bound, or the search was exhausted
}

// Placing is one visit on the plan.
type Placing struct {
	Job      string
	Crew     string
	Day      int
	Slot     int
	HalfDays int
	Days     []int // the days worked
	Gain     int64 // over leaving it out, travel of its own included
}

// Left is a job with no place, and why.
type Left struct {
	Job    string
	Reason Reason
}

// Reason says why a job has no place.
type Reason string

// The reasons, as codes; words are made where they are shown.
const (
	NoCrew   Reason = "no-crew"   // no crew has the skill or the hands
	NoDay    Reason = "no-day"    // no day between earliest and deadline that a crew can work and the forecast reaches
	NotWorth Reason = "not-worth" // every day's chance is too poor to be worth it
	NoRoom   Reason = "no-room"   // other jobs are worth more in every place it could take
	TooLong  Reason = "too-long"  // it does not fit the days left
	Clash    Reason = "clash"     // frozen where it cannot stand: crew unknown, off or not able, or the place already frozen for another
)

// Gap gives the printed gap: (Bound-Objective) as a share of the gain over
// leaving everything out; 0 when proven.
func (p Plan) Gap() float64 {
	if p.Proven || p.Bound <= p.Objective {
		return 0
	}
	gain := p.Objective - p.Base
	if gain < 1 {
		gain = 1
	}
	return float64(p.Bound-p.Objective) / float64(gain)
}
