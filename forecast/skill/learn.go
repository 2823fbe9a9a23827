package skill

import (
	"math"
	"time"

	"laycast/forecast"
)

// Outlook is what an issue said of the hours to come, boiled down to what its
// errors are learned from: the centre and spread of its members on the scales
// of the measures, and the share of members with rain.
type Outlook struct {
	Start  time.Time // of hour 0: the moment that leads are counted from
	N      int       // hours
	Centre [NMeasures][]float32
	Spread [NMeasures][]float32 // variance of the members
	Wet    []float32            // share of members with rain, smoothed by the timing error of its lead
}

// wetLeast is the least rain (mm in an hour) that counts as wet: what a gauge
// reports first, and where the laminate's limit lies.
const wetLeast = 0.1 - 1e-4

// leastKnown is how many members must know an hour for it to be learned from
// or dressed, where there are several.
const leastKnown = 5

// NewOutlook boils an issue down; false where it has no hours to come.
func NewOutlook(is forecast.Issue) (Outlook, bool) {
	raw, ok := ahead(is)
	if !ok {
		return Outlook{}, false
	}
	return outlookOf(raw), true
}

// ahead gives the members to dress: the ensemble, or of a source without one the
// deterministic run from the hour on in which it was fetched.
func ahead(is forecast.Issue) (forecast.Hours, bool) {
	if is.Ens != nil && is.Ens.Hours.N > 0 {
		return is.Ens.Hours, true
	}
	if is.Det == nil || is.Det.Hours.N == 0 || !is.DetOnly {
		return forecast.Hours{}, false
	}
	h := is.Det.Hours
	from := max(0, h.Slot(is.Det.LastSeen))
	if from >= h.N {
		return forecast.Hours{}, false
	}
	out := forecast.Hours{Start: h.Start.Add(time.Duration(from) * time.Hour), N: h.N - from, Members: 1}
	for v, col := range h.Cols {
		if col != nil {
			out.Cols[v] = col[from:h.N]
		}
	}
	return out, true
}

func outlookOf(h forecast.Hours) Outlook {
	o := Outlook{Start: h.Start, N: h.N, Wet: wetShares(&h)}
	for v := range NMeasures {
		o.Centre[v], o.Spread[v] = make([]float32, h.N), make([]float32, h.N)
		for i := range h.N {
			c, s := centreOf(&h, v, i)
			o.Centre[v][i], o.Spread[v][i] = float32(c), float32(s)
		}
	}
	return o
}

// centreOf gives mean and variance over the members of one hour, NaN where too
// few know it.
func centreOf(h *forecast.Hours, v Measure, i int) (mean, variance float64) {
	var n, sum, square float64
	for m := range h.Members {
		if x := toScale(h, v, m, i); x == x {
			n++
			sum += x
			square += x * x
		}
	}
	if n < math.Min(leastKnown, float64(h.Members)) {
		return math.NaN(), math.NaN()
	}
	mean = sum / n
	if n > 1 {
		variance = math.Max(0, (square-n*mean*mean)/(n-1))
	}
	return mean, variance
}

// timingSD is how many hours, one standard deviation, the rain of a member may
// be early or late: an assumption, no source; symmetric, so that nothing gets
// wetter by it. On nine recorded station-years 0.3 h a day scored
// better than 0.6 for wet hours and for dry days.
func timingSD(lead float64) float64 { return 0.5 + 0.3*lead/dayHours }

// wetShares gives the share of members with rain about each hour: about, since
// a member's rain may be early or late. One run with a chance of rain of its
// own source counts by that chance. NaN where nothing is known.
func wetShares(h *forecast.Hours) []float32 {
	plain := make([]float64, h.N)
	for i := range plain {
		plain[i] = wetShare(h, i)
	}
	out := make([]float32, h.N)
	for i := range out {
		sd := timingSD(float64(i))
		reach := int(3 * sd)
		var sum, weight float64
		for k := max(0, i-reach); k <= min(h.N-1, i+reach); k++ {
			if plain[k] == plain[k] {
				w := math.Exp(-0.5 * float64((k-i)*(k-i)) / (sd * sd))
				sum, weight = sum+w*plain[k], weight+w
			}
		}
		out[i] = float32(sum / weight)
		if plain[i] != plain[i] {
			out[i] = forecast.Unknown()
		}
	}
	return out
}

func wetShare(h *forecast.Hours, i int) float64 {
	if h.Members == 1 {
		if c := h.At(forecast.RainChance, 0, i); forecast.Known(c) {
			return float64(c) / 100
		}
	}
	n, wet := 0, 0
	for m := range h.Members {
		if mm := h.At(forecast.Rain, m, i); forecast.Known(mm) {
			n++
			if mm >= wetLeast {
				wet++
			}
		}
	}
	if n < min(leastKnown, h.Members) {
		return math.NaN()
	}
	return float64(wet) / float64(n)
}

// leadDay gives the lead day (0 = the first) of an hour so many hours ahead.
func leadDay(hours int) int { return min(max(hours, 0)/dayHours, LeadDays-1) }

// Update learns from one day that is over: past holds the rows of what was (one
// member), from is the day's beginning, lon the place in degrees east, outlooks
// what was forecast on the evenings before, in any order. It does nothing and
// gives false where that day was learned from before or not a whole day of
// rows is known.
func (s *Stats) Update(outlooks []Outlook, past forecast.Hours, from time.Time, lon float64) bool {
	to := from.Add(dayHours * time.Hour)
	if to.After(past.End()) || from.Before(past.Start) || !to.After(s.Through) || !whole(&past, past.Slot(from)) {
		return false
	}
	s.age()
	for k := range outlooks {
		s.learn(&outlooks[k], &past, from, lon)
	}
	for i := range dayHours {
		if mm := past.At(forecast.Rain, 0, past.Slot(from)+i); mm >= wetLeast {
			s.Amounts[amountClass(float64(mm))] += 1.0 / dayHours
		}
	}
	s.Through, s.Days = to, s.Days+1
	return true
}

// whole reports whether most of a day's rows are known.
func whole(h *forecast.Hours, first int) bool {
	const most = 20 // hours
	known := 0
	for i := first; i < first+dayHours; i++ {
		if forecast.Known(h.At(forecast.Air, 0, i)) && forecast.Known(h.At(forecast.Rain, 0, i)) {
			known++
		}
	}
	return known >= most
}

// learn takes in the hours of a day that one outlook told of.
func (s *Stats) learn(o *Outlook, past *forecast.Hours, from time.Time, lon float64) {
	at, ahead := past.Slot(from), int(from.Sub(o.Start).Hours())
	for i := range dayHours {
		lead := ahead + i
		if lead < 0 || lead >= o.N || lead >= LeadDays*dayHours {
			continue
		}
		t := from.Add(time.Duration(i) * time.Hour)
		mm := past.At(forecast.Rain, 0, at+i)
		for v := range NMeasures {
			c, was := float64(o.Centre[v][lead]), toScale(past, v, 0, at+i)
			if c == c && was == was {
				s.moments(leadDay(lead), v, partOf(t, lon), mm >= wetLeast).add(c, was, float64(o.Spread[v][lead]), float64(dayParts)/dayHours)
			}
		}
		share := float64(o.Wet[lead])
		if share == share && forecast.Known(mm) {
			s.Rain[leadDay(lead)][rainClass(share)].add(share, mm >= wetLeast)
		}
	}
}

// moments gives where errors of a measure are kept: those of the depression in
// wet hours apart, since air in rain is damp whatever was forecast.
func (s *Stats) moments(d int, v Measure, part int, wet bool) *Moments {
	if v == Depression && wet {
		return &s.Damp[d][part]
	}
	return &s.Lead[d][v][part]
}

// add takes in one hour.
func (h *Hits) add(share float64, wet bool) {
	was := 0.0
	if wet {
		was = 1
	}
	h.Weight += 1.0 / dayHours
	part := 1.0 / dayHours / h.Weight
	h.Share += part * (share - h.Share)
	h.Wet += part * (was - h.Wet)
}

// Learner lives through the days of one cell: it is told each evening's issue
// and each day's past rows, and keeps the statistics that the daemon would.
type Learner struct {
	Stats Stats
	Lon   float64 // degrees east
	kept  []Outlook
}

// NewLearner begins with the prior.
func NewLearner(lon float64) *Learner { return &Learner{Stats: Prior(), Lon: lon} }

// Evening takes in what is forecast on an evening.
func (l *Learner) Evening(is forecast.Issue) {
	o, ok := NewOutlook(is)
	if !ok {
		return
	}
	if len(l.kept) == LeadDays+1 {
		l.kept = append(l.kept[:0:0], l.kept[1:]...)
	}
	l.kept = append(l.kept, o)
}

// Past takes in the rows of the day that begins at `from` and is over.
func (l *Learner) Past(rows forecast.Hours, from time.Time) bool {
	return l.Stats.Update(l.kept, rows, from, l.Lon)
}
