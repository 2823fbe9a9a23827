package replay

import (
	"math"
	"slices"
	"sort"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/plan"
)

// The score of a season, in cents. Assumptions of the benchmark, all common
// practice, no source: four fifths of a job's value are earned as its roof is
// sealed, a fifth with its topcoat. What is not done when the season ends is
// worth half of that, for every policy alike, but a roof whose last date passed
// untouched is lost.
const (
	coatShare = 0.2
	leftShare = 0.5
)

// leftWorth gives what a job not laid is worth at the end, as a share of its
// value.
func leftWorth(s *Season, j job.Job) float64 {
	if j.Deadline.Before(s.Last()) {
		return 0
	}
	return leftShare
}

// lay is one day's work that a crew was sent to.
type lay struct {
	job, crew string
	on        job.Date
	slot      int
	toldAt    job.Date // the day on which the customer was told this day; zero: never, or not the visit's first day
	outcome
}

// move is a told date that did not hold.
type move struct {
	job      string
	was      job.Date
	heard    job.Date // the day on which the customer was told so
	next     job.Date // the new date, zero while there is none
	nextTold job.Date // when it was told
	again    bool     // of a visit after the job's first
	pulled   bool     // by the evening's call or later
}

// notice gives the days between hearing and the date that fell.
func (m move) notice() int { return max(0, m.was.DaysSince(m.heard)) }

// standBy is a customer who was told no day, and was asked on the evening before to
// stand by for one.
type standBy struct {
	job string
	on  job.Date
}

// diary is all that a policy did.
type diary struct {
	lays     []lay
	moves    []move
	standBys []standBy
	open     map[string]int          // by job: its last move, while it has no new date
	end      map[string]job.Booking  // as the jobs stand
	done     map[string]job.Date     // the day on which the last of the roof was sealed
	due      map[string]promisedDate // the told date in force
}

type promisedDate struct{ date, toldOn job.Date }

func newDiary() *diary {
	return &diary{open: map[string]int{}, end: map[string]job.Booking{}, done: map[string]job.Date{}, due: map[string]promisedDate{}}
}

// told writes down that a customer was told a date; one told before and not
// kept moves. visit tells visits of a job apart.
func (d *diary) told(id, visit string, date, today job.Date) {
	key := id + visit
	if old, ok := d.due[key]; ok && old.date != date {
		d.broke(id, visit, today, false)
	}
	if old, ok := d.due[key]; ok && old.date == date {
		return
	}
	d.due[key] = promisedDate{date, today}
	if i, ok := d.open[key]; ok {
		d.moves[i].next, d.moves[i].nextTold = date, today
		delete(d.open, key)
	}
}

// broke writes down that the date told for a visit does not hold.
func (d *diary) broke(id, visit string, today job.Date, pulled bool) {
	key := id + visit
	old, ok := d.due[key]
	if !ok {
		return
	}
	delete(d.due, key)
	d.open[key] = len(d.moves)
	d.moves = append(d.moves, move{job: id, was: old.date, heard: today, pulled: pulled, again: visit != number(1)})
}

// went writes down that a crew went, and what came of it. b is the job as it
// stands after the day.
func (d *diary) went(id, visit, crew string, on job.Date, slot int, o outcome, b job.Booking) {
	l := lay{job: id, crew: crew, on: on, slot: slot, outcome: o}
	if p, ok := d.due[id+visit]; ok && p.date == on {
		l.toldAt = p.toldOn
		delete(d.due, id+visit)
	}
	d.lays = append(d.lays, l)
	d.end[id] = b
	if _, ok := d.done[id]; allLaid(b) && !ok {
		d.done[id] = on
	}
}

// Score is what a policy came to, in cents and counts.
type Score struct {
	Money                                     int64 // over doing nothing
	Sealed, Coated, Aborts, Late, Moved, Road int64 // its parts
	Jobs                                      int   // that arrived
	Done                                      int   // sealed whole
	Finished                                  int   // topcoat and all
	Lays                                      int   // crews sent
	Failed                                    int   // of them, not sealed (or topcoat not held)
	Rained                                    int   // of them, rain on the open roof
	Pulled                                    int   // told dates that fell on the evening before or later
	Moves                                     int
	ShortMoves                                int     // with 2 days' notice or less
	Notice                                    float64 // mean days between telling and laying, of visits whose day was told
	ReturnMoves                               int     // of Moves, of a visit after the first
	StandBys                                  int     // customers who were told no day and asked to stand by for one
	InVain                                    int     // of StandBys, those to whom nobody came
	Foreseen                                  float64 // sum of 1 - chance over the lays
	Sure                                      float64 // 95 % half width of the failures that go with it
}

// score adds a season up.
func (d *diary) score(s *Season) Score {
	var x Score
	for _, a := range s.Jobs {
		x.Jobs++
		b, ok := d.end[a.Job.ID]
		if !ok {
			b = job.Booking{Job: a.Job}
		}
		x.job(s, b, d.done[a.Job.ID], d.earned(a.Job))
	}
	notice, told, variance := 0, 0, 0.0
	for _, l := range d.lays {
		x.Lays++
		x.Foreseen += 1 - l.chance
		variance += l.chance * (1 - l.chance)
		b := d.end[l.job]
		if !l.sealed {
			x.Failed++
			if l.task == rules.Lay {
				x.Aborts += int64(b.AbortCost)
			}
		}
		if l.rained {
			x.Rained++
		}
		if l.task == rules.Coat {
			x.Coated -= int64(s.Firm.Costs.ReturnCost)
		}
		if !l.toldAt.IsZero() {
			told++
			notice += l.on.DaysSince(l.toldAt)
		}
	}
	x.Sure = 1.96 * math.Sqrt(variance)
	if told > 0 {
		x.Notice = float64(notice) / float64(told)
	}
	for _, m := range d.moves {
		x.Moves++
		if m.notice() <= 2 {
			x.ShortMoves++
		}
		if m.pulled {
			x.Pulled++
		}
		if m.again {
			x.ReturnMoves++
		}
		x.Moved += moveCost(s.Firm.Costs, m)
	}
	for _, p := range d.standBys {
		x.StandBys++
		if !slices.ContainsFunc(d.lays, func(l lay) bool { return l.job == p.job && l.on == p.on }) {
			x.InVain++
			x.Moved += int64(s.Firm.Costs.ShortNotice)
		}
	}
	x.Road = d.road(s)
	x.Money = x.Sealed + x.Coated - x.Aborts - x.Late - x.Moved - x.Road
	return x
}

// grace is how many days after a job's last date a roof of several bays that
// was begun in time may be laid to its end; what is laid later earns nothing.
const grace = 7

// earned gives the share of a roof that was sealed in time to be paid for.
func (d *diary) earned(j job.Job) float64 {
	m2 := 0.0
	for _, l := range d.lays {
		if l.job == j.ID && l.sealed && l.task == rules.Lay && !l.on.After(j.Deadline.AddDays(grace)) {
			m2 += l.areaM2
		}
	}
	return min(1, m2/j.Roof.AreaM2)
}

// job adds what a job earned over being left alone, by the share of its roof
// that was sealed in time.
func (x *Score) job(s *Season, b job.Booking, done job.Date, share float64) {
	v, coated := float64(b.Value), min(share, b.CoatedM2/b.Roof.AreaM2)
	x.Sealed += int64(math.Round(v * share * (1 - coatShare - leftWorth(s, b.Job))))
	x.Coated += int64(math.Round(v * coatShare * (coated + (share-coated)*leftShare)))
	if b.LaidM2-b.CoatedM2 > square { // somebody has to come back
		x.Coated -= int64(s.Firm.Costs.ReturnCost)
	}
	if allLaid(b) {
		x.Done++
		x.Late += lateness(b.Job, done) - lateLeft(s, b.Job)
	}
	if allLaid(b) && allCoated(b) {
		x.Finished++
	}
}

// lateness is what a job costs that is sealed on a day.
func lateness(j job.Job, on job.Date) int64 {
	return int64(j.LateCostPerDay) * int64(max(0, on.DaysSince(j.Promised)))
}

// lateLeft is the lateness that a job has run up which is left over.
func lateLeft(s *Season, j job.Job) int64 {
	end := s.Last().AddDays(1)
	if j.Deadline.Before(end) {
		end = j.Deadline
	}
	return lateness(j, end)
}

// moveCost is what a told date that fell costs: by the notice given, and more
// where the new date comes at short notice.
func moveCost(c job.Costs, m move) int64 {
	var cost int64
	for _, t := range c.Move {
		cost = int64(t.Cost)
		if m.notice() <= t.Days {
			break
		}
	}
	if !m.next.IsZero() && m.next.DaysSince(m.nextTold) <= 2 {
		cost += int64(c.ShortNotice)
	}
	return cost
}

// road adds up the driving: from the depot round the day's roofs and back.
func (d *diary) road(s *Season) int64 {
	type crewDay struct {
		crew string
		on   job.Date
	}
	stops := map[crewDay][]lay{}
	for _, l := range d.lays {
		k := crewDay{l.crew, l.on}
		stops[k] = append(stops[k], l)
	}
	var hm int64
	for _, ls := range stops {
		sort.Slice(ls, func(a, b int) bool { return ls[a].slot < ls[b].slot })
		at := plan.Place{}
		for _, l := range ls {
			next := s.place(d.end[l.job].Site)
			hm += plan.RoadHm(at, next)
			at = next
		}
		hm += plan.RoadHm(at, plan.Place{})
	}
	return hm * int64(s.Firm.Costs.Km) / 10
}

// place puts a site on the flat map around the depot, in hectometres.
func (s *Season) place(x job.Site) plan.Place {
	const perDegree = 1112 // hectometres in a degree of latitude
	depot := s.Crews[0].Depot
	return plan.Place{
		X: int64(math.Round((x.Lon - depot.Lon) * perDegree * math.Cos(depot.Lat*math.Pi/180))),
		Y: int64(math.Round((x.Lat - depot.Lat) * perDegree)),
	}
}
