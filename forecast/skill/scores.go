package skill

import (
	"cmp"
	"math"
	"slices"
)

// Scored is a chance that was given, and whether the thing happened.
type Scored struct {
	Chance   float64 // 0 to 1
	Happened bool
}

// outcome gives 1 for what happened, else 0.
func (s Scored) outcome() float64 {
	if s.Happened {
		return 1
	}
	return 0
}

// Brier gives the mean squared distance of the chances from what happened: 0 is
// perfect, NaN where there are none. Brier 1950, from memory.
func Brier(ss []Scored) float64 {
	var sum float64
	for _, s := range ss {
		e := s.Chance - s.outcome()
		sum += e * e
	}
	return sum / float64(len(ss))
}

// Skill gives how much better a score is than a reference: 1 is perfect, 0 no
// better, NaN where the reference itself is perfect.
func Skill(score, reference float64) float64 {
	if reference == 0 {
		return math.NaN()
	}
	return 1 - score/reference
}

// BrierParts are what a Brier score is made of (Murphy 1973): Score = Reliability -
// Resolution + Uncertainty + Within. Within is 0 where every class holds one
// chance only; else it is what the classes hide (Stephenson, Coelho and Jolliffe
// 2008, Weather and Forecasting 23(4) 752).
type BrierParts struct {
	Score       float64 `json:"brier"`
	Reliability float64 `json:"reliability"` // less is better
	Resolution  float64 `json:"resolution"`  // more is better
	Uncertainty float64 `json:"uncertainty"` // of the days, not of the forecast
	Within      float64 `json:"within"`
}

// PartsOf takes a Brier score apart. classes is how many equal classes of chance
// the days are put in; 0 gives every chance that was issued a class of its own,
// which is exact. All NaN where there are no days.
func PartsOf(ss []Scored, classes int) BrierParts {
	p := BrierParts{Score: Brier(ss)}
	n, base := float64(len(ss)), frequency(ss)
	for _, c := range classesOf(ss, classes) {
		w := float64(len(c)) / n
		mean, freq := meanChance(c), frequency(c)
		p.Reliability += w * (mean - freq) * (mean - freq)
		p.Resolution += w * (freq - base) * (freq - base)
	}
	p.Uncertainty = base * (1 - base)
	p.Within = p.Score - p.Reliability + p.Resolution - p.Uncertainty
	if classes == 0 || len(ss) == 0 {
		p.Within = 0 * p.Score // exact, so what is left is rounding
	}
	return p
}

// Skill gives the skill against always saying how often it happened over all.
func (p BrierParts) Skill() float64 { return Skill(p.Score, p.Uncertainty) }

// classesOf puts the days into classes, by rising chance; empty ones are left
// out.
func classesOf(ss []Scored, classes int) [][]Scored {
	ss = slices.Clone(ss)
	slices.SortStableFunc(ss, func(a, b Scored) int { return cmp.Compare(a.Chance, b.Chance) })
	class := func(s Scored) float64 {
		if classes == 0 {
			return s.Chance
		}
		return math.Min(math.Floor(s.Chance*float64(classes)), float64(classes-1)) // 1 belongs to the last
	}
	var out [][]Scored
	for from := 0; from < len(ss); {
		to := from + 1
		for to < len(ss) && class(ss[to]) == class(ss[from]) {
			to++
		}
		out = append(out, ss[from:to])
		from = to
	}
	return out
}

func meanChance(ss []Scored) float64 {
	var sum float64
	for _, s := range ss {
		sum += s.Chance
	}
	return sum / float64(len(ss))
}

// frequency gives how often it happened, 0 to 1.
func frequency(ss []Scored) float64 {
	var sum float64
	for _, s := range ss {
		sum += s.outcome()
	}
	return sum / float64(len(ss))
}
