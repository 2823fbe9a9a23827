package skill

import "math"

// Recalibration: a chance p is moved to the chance whose logit is Shift + (1 +
// Bend) logit(p), a line for each band of leads, fitted to chances that were
// scored. So 0.8 can become 0.7 where such chances came true seven times in ten.
// The line always rises, so no order of days or starts is turned round.

// bands are the first leads, in days, of what is recalibrated together: the day
// itself (second look), tomorrow (the call), the day after, and further off.
var bands = [...]int{0, 1, 2, 3, 5}

// Weights of the prior, in days of middling chances, once the record spans a
// year: the line over all leads is drawn to the identity, a band's own line to
// that over all leads, since a band has few days and the same day stands in every
// band. A shorter record is season as much as source: half a year in which
// chances were too low says little of the other half. So the weight grows as the
// square of what the span falls short of a year, up to four times. Chosen on two recorded years,
// named in docs/skill.md; no source.
const (
	priorDays = 400
	bandDays  = 200
	wholeYear = 365
	mostShort = 4
)

// recalHalfLife is in how many days a scored chance loses half of its weight: a
// model changes in months, and a season must still remember the last one. Ours,
// no source.
const recalHalfLife = 180

// dayWeight is the most that the chances of one day and group weigh together, in
// days: cells near each other share their weather.
const dayWeight = 1

// leastSlope keeps the line rising.
const leastSlope = 0.2

// soft keeps chances of 0 and 1 off the ends of the logit, where one day against
// them would count without bound: with 200 members they mean about 1 in 200.
const soft = 0.005

// Line moves chances of one kind and band. The zero Line leaves them as they
// are.
type Line struct {
	Shift float64 `json:"shift"`
	Bend  float64 `json:"bend"`
	Days  float64 `json:"days"` // of record that it rests on, forgetting counted
}

// Recal moves the chances of one source. The zero Recal leaves them as they are.
// It is plain data, and JSON.
type Recal struct {
	Sealed   [len(bands)]Line `json:"sealed"`
	RainOpen [len(bands)]Line `json:"rain_open"`
}

// Chances are the three chances of one start, 0 to 1.
type Chances struct {
	Sealed   float64 `json:"sealed"`
	Full     float64 `json:"full"`
	RainOpen float64 `json:"rain_open"`
}

// Apply gives the chances that those issued `lead` days ahead stand for; 0 is
// the day itself. None stays none: a roof that no member seals is out of reach of
// any record, and work that opens no roof cannot be rained in. The share of the sealed that is topcoated the same day stays;
// sealed and rain while open exclude each other, so sealed gives way where both
// would be more than 1. What is not known (NaN) stays so.
func (r Recal) Apply(lead int, c Chances) Chances {
	b := band(lead)
	out := Chances{Sealed: r.Sealed[b].move(c.Sealed), RainOpen: r.RainOpen[b].move(c.RainOpen)}
	if c.Sealed+c.RainOpen <= 1 {
		out.Sealed = math.Min(out.Sealed, 1-out.RainOpen)
	}
	out.Full = c.Full
	if c.Sealed > 0 {
		out.Full = math.Min(c.Full/c.Sealed, 1) * out.Sealed
	}
	return out
}

// band gives the band of a lead.
func band(lead int) int {
	b := 0
	for b+1 < len(bands) && lead >= bands[b+1] {
		b++
	}
	return b
}

// move moves one chance along the line.
func (l Line) move(p float64) float64 {
	if p == 0 || l == (Line{Days: l.Days}) {
		return p
	}
	q := 1 / (1 + math.Exp(-(l.Shift + (1+l.Bend)*logit(p))))
	return math.Max(0, math.Min(1, (q-soft)/(1-2*soft)))
}

func logit(p float64) float64 {
	q := soft + (1-2*soft)*p
	return math.Log(q / (1 - q))
}

// Past are chances of one kind, lead and day that were scored.
type Past struct {
	Lead   int     // days ahead
	Ago    float64 // days since the day they were for
	Chance float64 // as the members gave it, before any recalibration
	N      float64 // so many of them
	Hits   float64 // of which came true
}

// Fit learns the lines from scored chances of sealed and of rain while open.
// Chances that are not numbers are left out.
func Fit(sealed, rain []Past) Recal {
	return Recal{Sealed: fitKind(sealed), RainOpen: fitKind(rain)}
}

// fitKind fits the line over all leads and from it those of the bands.
func fitKind(ps []Past) (out [len(bands)]Line) {
	short := shortOf(ps)
	all := fitLine(weigh(ps, func(Past) int { return 0 }), Line{}, priorDays*short)
	for b := range out {
		var of []Past
		for _, p := range ps {
			if band(p.Lead) == b {
				of = append(of, p)
			}
		}
		out[b] = fitLine(weigh(of, func(p Past) int { return p.Lead }), all, bandDays*short)
	}
	return out
}

// shortOf gives how many times heavier the prior is for a record that does not
// span a year.
func shortOf(ps []Past) float64 {
	first, last := math.Inf(1), math.Inf(-1)
	for _, p := range ps {
		first, last = math.Min(first, p.Ago), math.Max(last, p.Ago)
	}
	short := wholeYear / (last - first + 1)
	return math.Max(1, math.Min(short*short, mostShort))
}

// weighed is a chance with what it weighs and how much of that came true.
type weighed struct{ x, n, hits float64 }

// weigh gives the chances their weights: old ones less, and those of one day
// and group at most dayWeight together before that.
func weigh(ps []Past, group func(Past) int) []weighed {
	type key struct {
		ago   float64
		group int
	}
	total := map[key]float64{}
	for _, p := range ps {
		if p.known() {
			total[key{p.Ago, group(p)}] += p.N
		}
	}
	var out []weighed
	for _, p := range ps {
		if !p.known() {
			continue
		}
		w := math.Exp2(-p.Ago/recalHalfLife) * math.Min(1, dayWeight/total[key{p.Ago, group(p)}])
		out = append(out, weighed{logit(p.Chance), w * p.N, w * p.Hits})
	}
	return out
}

func (p Past) known() bool { return p.Chance >= 0 && p.Chance <= 1 && p.N > 0 }

// Information that one day of a middling chance gives about shift and bend: p(1
// - p) at .2 or .8, and that times the square of a middling logit. The prior on
// the shift counts three times as much: how often chances are too low on the
// whole changes with the season, by how much they are too bold less so.
const (
	infoShift = 3 * 0.16
	infoBend  = 0.16 * 2
)

// fitLine finds the line of greatest likelihood with a normal prior about
// `prior` worth `days` days, by Newton's method: the logarithm of both is
// concave, so there is one greatest.
func fitLine(ws []weighed, prior Line, days float64) Line {
	l := Line{Shift: prior.Shift, Bend: prior.Bend}
	for _, w := range ws {
		l.Days += w.n
	}
	free := true // whether the bend may still move
	for range 50 {
		da, db, stop := l.step(ws, prior, days, free)
		l.Shift, l.Bend = l.Shift+da, l.Bend+db
		if free && 1+l.Bend < leastSlope {
			l.Bend, free = leastSlope-1, false
			continue
		}
		if stop {
			break
		}
	}
	return l
}

// step gives one step of Newton's method, halved until it gains, and whether it
// is the last.
func (l Line) step(ws []weighed, prior Line, days float64, free bool) (da, db float64, last bool) {
	pa, pb := days*infoShift, days*infoBend
	ga, gb := -pa*(l.Shift-prior.Shift), -pb*(l.Bend-prior.Bend)
	haa, hab, hbb := pa, 0.0, pb
	for _, w := range ws {
		q := 1 / (1 + math.Exp(-(l.Shift + (1+l.Bend)*w.x)))
		e, v := w.hits-w.n*q, w.n*q*(1-q)
		ga, gb = ga+e, gb+e*w.x
		haa, hab, hbb = haa+v, hab+v*w.x, hbb+v*w.x*w.x
	}
	if free {
		det := haa*hbb - hab*hab
		da, db = (hbb*ga-hab*gb)/det, (haa*gb-hab*ga)/det
	} else {
		da = ga / haa
	}
	const enough, tiny = 40, 1e-9
	at := l.gain(ws, prior, days)
	for range enough {
		if (Line{Shift: l.Shift + da, Bend: l.Bend + db}).gain(ws, prior, days) >= at-1e-12 {
			break
		}
		da, db = da/2, db/2
	}
	return da, db, math.Abs(da)+math.Abs(db) < tiny
}

// gain is the logarithm of likelihood times prior, but for a constant.
func (l Line) gain(ws []weighed, prior Line, days float64) float64 {
	a, b := l.Shift-prior.Shift, l.Bend-prior.Bend
	sum := -days / 2 * (infoShift*a*a + infoBend*b*b)
	for _, w := range ws {
		z := l.Shift + (1+l.Bend)*w.x
		sum += w.hits*z - w.n*softplus(z)
	}
	return sum
}

// softplus gives log(1 + exp z) without overflow.
func softplus(z float64) float64 { return math.Max(z, 0) + math.Log1p(math.Exp(-math.Abs(z))) }
