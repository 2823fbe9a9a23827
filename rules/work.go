package rules

import (
	"math"
	"time"

	"laycast/job"
	"laycast/rules/physics"
)

// Task is what a crew would do on one day.
type Task string

// The tasks of a day.
const (
	Lay  Task = "lay"  // open (where the work opens), board, laminate, and topcoat if the day allows
	Coat Task = "coat" // topcoat over what was sealed on an earlier day
)

// Bay is the part of a roof that one day takes.
type Bay struct {
	Task    Task
	AreaM2  float64
	TrimM   float64 // metres of edge
	Outlets float64
	Of      int  // bays in what is left of the roof, this one among them
	Late    bool // coat: the overcoat window was missed, so abrade and wipe first
}

// Case is one job on one day with a crew of one size.
type Case struct {
	Job     job.Booking
	Crew    int // hands
	Profile Profile
	Hours   job.Hours
	Zone    *time.Location // the firm's: its days are the days
	// Honest gives the chances that such chances have come to by the record; nil
	// leaves them as they are. It keeps their order.
	Honest func(Start) Start
	// Slow is the multiple of the nominal time that the crew is known to take; 0: it is
	// not known, and every member has a crew of its own.
	Slow float64
}

// honest moves the chances of a start.
func (c *Case) honest(s Start) Start {
	if c.Honest == nil {
		return s
	}
	return c.Honest(s)
}

// spell is a stretch of clock time in which work may be done.
type spell struct {
	from, to time.Time
	dark     bool // it ends (or begins) by the sun, not by the clock
}

// startStep lies between two times on site.
const startStep = 30 * time.Minute

// workday gives the time between the working hours' and civil twilight's
// bounds on d; ok is false when there is none.
func (c *Case) workday(d job.Date) (spell, bool) {
	s := spell{from: job.Instant(d, c.Hours.From, c.Zone), to: job.Instant(d, c.Hours.To, c.Zone)}
	dawn, dusk, ok := physics.CivilDay(c.Job.Site.Lat, c.Job.Site.Lon, d.Year, d.Month, d.Day, c.Zone)
	if ok {
		if wait := dawn.Sub(s.from); wait > 0 {
			// times on site keep to the half hours of the working day, so one
			// that begins with the light begins at the next of them
			s.from = s.from.Add((wait + startStep - 1) / startStep * startStep)
		}
		if dusk.Before(s.to) {
			s.to, s.dark = dusk, true
		}
	} else if physics.SunElevation(c.Job.Site.Lat, c.Job.Site.Lon, s.from.Add(s.to.Sub(s.from)/2)) < -6 {
		return s, false // polar night
	}
	return s, s.to.After(s.from)
}

// pace gives how much faster than a pair the crew works.
func (c *Case) pace() float64 { return c.Profile.Pace(c.Crew) }

// Pace gives how much faster than a pair so many hands work; 0 for one who is
// alone: nobody laminates alone.
func (p *Profile) Pace(hands int) float64 {
	if hands < 2 {
		return 0
	}
	return 1 + p.ThirdHand*float64(hands-2)
}

// opens reports whether the work leaves the building open.
func (c *Case) opens() bool { return c.Job.Roof.Work == job.Replace }

// boards reports whether new boards are laid.
func (c *Case) boards() bool { return c.Job.Roof.NewBoards() }

// primes reports whether the work goes onto an old surface.
func (c *Case) primes() bool { return c.Job.Roof.Primed() }

// JointM gives the metres of joint that are bandaged on so much of a roof with
// so many metres of trim: those of new boards, where they are laid, and those
// along the trims.
func (p *Profile) JointM(areaM2, trimM float64, boards bool) float64 {
	if !boards {
		return trimM
	}
	// half of the outer edge was counted as a joint that it is not
	return math.Max(areaM2*p.JointPerM2-trimM/2, 0) + trimM
}

// hours are the nominal hours of each stage of a bay, and those in which the
// primer ripens at 20 °C, whatever the pace.
type hours struct{ strip, prepare, deck, primer, ripe, laminate, sand, topcoat float64 }

// work gives the nominal hours of the bay's stages for this crew.
func (c *Case) work(b Bay) hours {
	p, v := &c.Profile, c.pace()
	if v == 0 {
		return hours{}
	}
	var h hours
	if b.Task == Coat {
		h.sand = b.AreaM2 / p.SandRate / v
		if b.Late {
			h.sand += b.AreaM2 / p.AbradeRate / v
		}
		h.topcoat = b.AreaM2 / p.TopcoatRate / v
		return h
	}
	if c.opens() {
		h.strip = b.AreaM2 / p.StripRate / v
	}
	if c.primes() {
		h.prepare, h.primer, h.ripe = b.AreaM2/p.PrepareRate/v, b.AreaM2/p.PrimerRate/v, p.PrimedAge*p.curePace()
	}
	h.deck = (b.TrimM*p.TrimMin + b.Outlets*p.OutletMin) / 60 / v
	if c.boards() {
		h.deck += b.AreaM2 / p.DeckRate / v
	}
	joints := p.JointM(b.AreaM2, b.TrimM, c.boards())
	h.laminate = (joints*p.BandageMin/60 + b.AreaM2/p.LaminateRate) / v
	if b.Of > 1 {
		h.laminate += p.NightJoint / 60 / v
	}
	h.sand, h.topcoat = b.AreaM2/p.SandRate/v, b.AreaM2/p.TopcoatRate/v
	return h
}

// toSeal gives the hours from the strip until the laminate is down, at a
// multiple of the nominal pace, the break among them.
func (h hours) toSeal(slow, breakMin float64) float64 {
	return slow*(h.strip+h.prepare+h.deck+h.primer+h.laminate) + h.ripe + breakMin/60
}

// careful is the multiple of the nominal time within which the work is done in
// FitShare of all members.
func (p *Profile) careful() float64 {
	return p.SlowMedian * math.Exp(p.SlowSD*normalQuantile(p.FitShare))
}

// normalQuantile gives the standard normal quantile of q in (0, 1).
func normalQuantile(q float64) float64 { return math.Sqrt2 * math.Erfinv(2*q-1) }

// NextBay gives what a crew would do next on day d: the next bay to be laid,
// or the topcoat over what is sealed. ok is false when nothing is left, when
// the crew cannot do it, or when the day has no working time.
func (c Case) NextBay(d job.Date) (Bay, bool) {
	day, ok := c.workday(d)
	if !ok {
		return Bay{}, false
	}
	return c.nextBay(d, day)
}

func (c *Case) nextBay(d job.Date, day spell) (Bay, bool) {
	if c.pace() == 0 {
		return Bay{}, false
	}
	roof := &c.Job.Roof
	left := roof.AreaM2 - c.Job.LaidM2
	if left <= 0.005 { // areas are kept to the centimetre squared
		bare := roof.AreaM2 - c.Job.CoatedM2
		if bare <= 0.005 {
			return Bay{}, false
		}
		return c.cut(Bay{Task: Coat, AreaM2: bare, Late: c.overcoatMissed(d)}, day.to.Sub(day.from).Hours())
	}
	return c.cut(Bay{Task: Lay, AreaM2: left}, day.to.Sub(day.from).Hours())
}

// need gives the hours that the bay takes at the careful pace, setting and
// clearing up apart.
func (c *Case) need(b Bay) float64 { return c.needAt(b, c.Profile.careful()) }

// needAt gives them at another multiple of the nominal time.
func (c *Case) needAt(b Bay, slow float64) float64 {
	w := c.work(b)
	if b.Task == Coat {
		return slow * (w.sand + w.topcoat)
	}
	return w.toSeal(slow, c.Profile.Break)
}

// overcoatMissed reports whether by the morning of d the overcoat window of the
// last sealed bay is over.
func (c *Case) overcoatMissed(d job.Date) bool {
	if c.Job.SealedOn.IsZero() {
		return false
	}
	sealed := job.Instant(c.Job.SealedOn, c.Hours.To, c.Zone)
	return job.Instant(d, c.Hours.From, c.Zone).Sub(sealed).Hours() > c.Profile.OvercoatHours
}

// leastBay is the smallest area in m² that it is worth a day to lay: a day
// that holds no more is no working day.
const leastBay = 1.0

// cut gives the first of the least number of equal bays of what is left, such
// that each is done, at the careful pace, within a working day of dayHours. ok
// is false when the day is too short for any.
func (c *Case) cut(left Bay, dayHours float64) (Bay, bool) {
	roof, p := &c.Job.Roof, &c.Profile
	room := dayHours - (p.Setup+p.ClearUp)/60
	for n := 1; n == 1 || left.AreaM2 >= leastBay*float64(n); n++ {
		b := left
		b.AreaM2, b.Of = left.AreaM2/float64(n), n
		if share := b.AreaM2 / roof.AreaM2; b.Task == Lay {
			b.TrimM, b.Outlets = roof.EdgeLength()*share, float64(roof.Outlets)*share
		}
		if c.need(b) <= room {
			return b, true
		}
	}
	return Bay{}, false
}

// Bays gives the number of bays that the whole roof takes by the clock alone,
// whatever the season's daylight: what `job show` prints. It is 0 where the
// crew or the working hours are too few.
func (c Case) Bays() int {
	if c.pace() == 0 {
		return 0
	}
	b, _ := c.cut(Bay{Task: Lay, AreaM2: c.Job.Roof.AreaM2}, float64(c.Hours.To-c.Hours.From)/60)
	return b.Of
}

// HalfDays gives the half days that what is left of the job takes from day d
// on: the least of 1, 2, 4 or 6 that holds it, 6 where it takes more (the rest
// is a visit of its own), 0 when nothing can be done.
func (c Case) HalfDays(d job.Date) int {
	b, ok := c.NextBay(d)
	if !ok {
		return 0
	}
	p, w := &c.Profile, c.work(b)
	fixed := (p.Setup + p.ClearUp) / 60
	half := float64(c.Hours.To-c.Hours.From) / 60 / 2
	if b.Of == 1 {
		need := fixed + w.toSeal(p.careful(), 0)
		if b.Task == Coat {
			need = fixed + p.careful()*(w.sand+w.topcoat)
		}
		if need <= half {
			return 1
		}
		return 2
	}
	if b.Of == 2 {
		return 4
	}
	return 6
}
