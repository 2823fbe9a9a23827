package verify

import (
	"math"
	"slices"

	"laycast/forecast/skill"
	"laycast/job"
)

// Way is a way of giving a chance.
type Way int

// The ways, best first.
const (
	Recalibrated Way = iota // dressed, then moved by the record of such chances
	Dressed                 // the share of the dressed members
	Raw                     // the share of the members as they came
	Single                  // 1 or 0, by the single run taken at its word
	Ways
)

// String gives the way in words.
func (w Way) String() string {
	return [...]string{"dressed and recalibrated", "dressed members", "raw members", "single run, yes or no"}[w]
}

// Bins is how many bins a reliability table has.
const Bins = 10

// Draws is how many years are drawn for the band of the calibration error.
const Draws = 1000

// Learn fits the recalibration from what was given for days up to `until`, as
// it stood on that day.
func Learn(gs []Given, until job.Date) skill.Recal {
	var sealed, rain []skill.Past
	for _, g := range gs {
		if g.Date.After(until) {
			continue
		}
		p := skill.Past{Lead: g.Lead, Ago: float64(until.DaysSince(g.Date)), Chance: g.Dressed.Sealed, N: 1, Hits: count(g.Sealed)}
		sealed = append(sealed, p)
		p.Chance, p.Hits = g.Dressed.RainOpen, count(g.Rained)
		rain = append(rain, p)
	}
	return skill.Fit(sealed, rain)
}

// Recalibrate gives the chances as they would have been told.
func Recalibrate(gs []Given, r skill.Recal) []Given {
	out := slices.Clone(gs)
	for i := range out {
		out[i].Told = r.Apply(out[i].Lead, out[i].Dressed)
	}
	return out
}

func count(is bool) float64 {
	if is {
		return 1
	}
	return 0
}

// Score is how one way did.
type Score struct {
	skill.BrierParts
	Skill     float64 // against Row.Climate
	Slope     float64 // of the reliability table; 1 is perfect
	Error     float64 // expected calibration error
	BandLow   float64 // where Error falls nineteen times in twenty if the chances are
	BandHigh  float64 // honest; NaN where not asked for
	Forecasts []skill.Scored
}

// Row is one table row: the days of one lead, or of several together.
type Row struct {
	N       int
	Freq    float64 // how often it happened
	Climate float64 // Brier score of the month's own frequency among these days
	Ways    [Ways]Score

	AirDressed, AirRaw float64 // mean fair CRPS of the air temperature at noon, K
}

// mostLead is the last lead that has a climate of its own.
const mostLead = 15

// Part is what one year adds to a row.
type Part struct {
	given  [Ways][]skill.Scored
	months [13][mostLead + 1][]skill.Scored // what happened, by month and lead
	day    []int                            // of each chance, numbered from 0 on
	air    [2]mean
	rain   bool
}

// PartOf takes the days after `since` that keep picks: whether the roof was
// sealed, or with rain whether it rained in. The single run says nothing of
// rain.
func PartOf(gs []Given, since job.Date, keep func(Given) bool, rain bool) Part {
	p := Part{rain: rain}
	days := map[job.Date]int{}
	for _, g := range gs {
		if !g.Date.After(since) || !keep(g) {
			continue
		}
		happened := g.Sealed
		given := [Ways]float64{g.Told.Sealed, g.Dressed.Sealed, g.Raw.Sealed, count(g.Said)}
		if rain {
			happened = g.Rained
			given = [Ways]float64{g.Told.RainOpen, g.Dressed.RainOpen, g.Raw.RainOpen}
		}
		for w, c := range given {
			p.given[w] = append(p.given[w], skill.Scored{Chance: c, Happened: happened})
		}
		if _, seen := days[g.Date]; !seen {
			days[g.Date] = len(days)
		}
		p.day = append(p.day, days[g.Date])
		of := &p.months[g.Date.Month][min(max(g.Lead, 0), mostLead)]
		*of = append(*of, skill.Scored{Happened: happened})
		p.air[0].add(g.AirDressed)
		p.air[1].add(g.AirRaw)
	}
	return p
}

// RowOf scores parts together. seed draws the bands; 0 leaves them out.
func RowOf(parts []Part, seed uint64) Row {
	var row Row
	var ss [Ways][]skill.Scored
	var reference mean
	var day []int
	next := 0
	var air [2]mean
	rain := false
	for _, p := range parts {
		rain = p.rain
		for w := range ss {
			ss[w] = append(ss[w], p.given[w]...)
		}
		for _, d := range p.day {
			day = append(day, next+d)
		}
		if len(day) > 0 {
			next = slices.Max(day) + 1
		}
		for _, leads := range p.months {
			for _, of := range leads {
				reference.addAll(climate(of), float64(len(of)))
			}
		}
		for k := range air {
			air[k].sum, air[k].n = air[k].sum+p.air[k].sum, air[k].n+p.air[k].n
		}
	}
	row.N, row.Climate = len(ss[0]), reference.value()
	row.AirDressed, row.AirRaw = air[0].value(), air[1].value()
	for w := range ss {
		if rain && Way(w) == Single {
			ss[w] = nil
		}
		row.Ways[w] = score(ss[w], day, row.Climate, seed)
	}
	row.Freq = row.Ways[0].freq()
	return row
}

// climate gives the Brier score of saying, on each day of a month, how often it
// happened in that very month: a reference that knows the year, so a hard one.
func climate(of []skill.Scored) float64 {
	if len(of) == 0 {
		return 0
	}
	return skill.PartsOf(of, 0).Uncertainty
}

func score(ss []skill.Scored, day []int, climate float64, seed uint64) Score {
	bins := skill.Reliability(ss, Bins)
	s := Score{BrierParts: skill.PartsOf(ss, Bins), Error: skill.CalibrationError(bins), Forecasts: ss, BandLow: math.NaN(), BandHigh: math.NaN()}
	s.Skill = skill.Skill(s.Score, climate)
	s.Slope, _ = skill.Slope(bins)
	if seed != 0 {
		s.BandLow, s.BandHigh = skill.CalibrationBand(ss, day, Bins, Draws, seed)
	}
	return s
}

// freq gives how often it happened.
func (s Score) freq() float64 {
	var sum float64
	for _, x := range s.Forecasts {
		sum += count(x.Happened)
	}
	return sum / float64(len(s.Forecasts))
}

// mean is a mean of what is known.
type mean struct{ sum, n float64 }

func (m *mean) add(x float64) {
	if x == x {
		m.sum, m.n = m.sum+x, m.n+1
	}
}

func (m *mean) addAll(x, n float64) { m.sum, m.n = m.sum+x*n, m.n+n }

func (m *mean) value() float64 { return m.sum / m.n }

// Gates are the bounds that the project sets itself for the chance of the day.
const (
	SlopeLow, SlopeHigh = 0.85, 1.15
	ErrorMost           = 0.05
)

// SlopeHolds and ErrorHolds report whether a score meets the bounds on
// reliability: slope near 1; calibration error small, or no larger than chance
// alone makes it.
func (s Score) SlopeHolds() bool { return s.Slope >= SlopeLow && s.Slope <= SlopeHigh }

// ErrorHolds is the second bound.
func (s Score) ErrorHolds() bool { return s.Error <= ErrorMost || s.Error <= s.BandHigh }

// SkillHolds reports whether a way beats the raw members and the single run.
func (r Row) SkillHolds(w Way) bool {
	return r.Ways[w].Skill > r.Ways[Raw].Skill && r.Ways[w].Skill > r.Ways[Single].Skill
}
