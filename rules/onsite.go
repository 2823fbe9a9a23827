package rules

import (
	"math"
	"slices"
	"time"

	"laycast/forecast"
)

// Checked is one limit in one hour and whether it holds. One whose measure is
// not known does not.
type Checked struct {
	Check
	Holds bool
	Known bool
}

// Checks holds one hour against every limit of a stage, in the profile's order.
// The dry deck is not among them: it hangs on what came before the hour (see
// AsksDry).
func (p *Profile) Checks(s Stage, h Hour) []Checked {
	set, ok := setOf(s)
	if !ok {
		return nil
	}
	var out []Checked
	for _, b := range p.bounds(set) {
		if b.Limit == LimitDry {
			continue
		}
		v := h.of(b.Limit)
		out = append(out, Checked{
			Check: Check{Limit: b.Limit, At: h.At, Value: round2(v), Bound: b.Value, Margin: round2(b.margin(v)), Unit: b.Unit},
			Holds: v == v && b.holds(v), Known: v == v,
		})
	}
	return out
}

// of gives what a limit looks at. Frost looks at the colder of air and deck.
func (h Hour) of(l Limit) float64 {
	switch l {
	case LimitRain:
		return h.Rain
	case LimitWind:
		return h.Wind
	case LimitGust:
		return h.Gust
	case LimitAir:
		return h.Air
	case LimitFrost:
		return math.Min(h.Air, h.Surface)
	case LimitDeck:
		return h.Surface
	case LimitDewMargin:
		return h.DewMargin
	case LimitRH:
		return h.RH
	}
	return math.NaN()
}

// AsksDry reports whether a stage asks that no water stands on the deck.
func (p *Profile) AsksDry(s Stage) bool {
	set, ok := setOf(s)
	if !ok || !asksDry(set) {
		return false
	}
	for _, b := range p.bounds(set) {
		if b.Limit == LimitDry {
			return true
		}
	}
	return false
}

// Dry reports whether so much water (mm) counts as none.
func Dry(mm float64) bool { return mm <= tolerance }

// Ages gives the hours at 20 °C after which the firm's own resin is sealed and
// sandable, and its topcoat rain-proof.
func (p *Profile) Ages() (sealed, sandable, rainproof float64) {
	k := p.curePace()
	return k * p.SealedAge, k * p.SandableAge, k * p.RainproofAge
}

// Spans gives how long the laminate, and sanding with topcoat, take on a bay at
// the careful pace; 0 where the bay has no such stage.
func (c Case) Spans(b Bay) (laminate, topcoat time.Duration) {
	w, hour := c.work(b), float64(time.Hour)
	k := c.Profile.careful()
	return time.Duration(k * w.laminate * hour), time.Duration(k * (w.sand + w.topcoat) * hour)
}

// RainAhead says how likely rain is in the hours that touch [from, to), by the
// members of a run and a stage's limit on rain. known is false where fewer than
// LeastMembers of those that the source sent know all of the hours.
func (p *Profile) RainAhead(s Stage, run *forecast.Run, from, to time.Time) (r RainAhead, known bool) {
	set, ok := setOf(s)
	if run == nil || !ok || !to.After(from) {
		return RainAhead{}, false
	}
	k := slices.IndexFunc(p.bounds(set), func(b Bound) bool { return b.Limit == LimitRain })
	h := &run.Hours
	a, b := h.Slot(from), h.Slot(to.Add(-1))+1
	if k < 0 || a < 0 || b > h.N {
		return RainAhead{}, false
	}
	limit, wet, hit := p.bounds(set)[k], make([]int, b-a), 0
	var live []int
	for m := range h.Members {
		col := h.Cols[forecast.Rain]
		if col == nil || slices.ContainsFunc(col[m*h.N+a:m*h.N+b], func(x float32) bool { return !forecast.Known(x) }) {
			continue
		}
		live = append(live, m)
		any := 0
		for i, x := range col[m*h.N+a : m*h.N+b] {
			if !limit.holds(float64(x)) {
				wet[i]++
				any = 1
			}
		}
		hit += any
	}
	if sentBy(run.Parents, live) < LeastMembers {
		return RainAhead{}, false
	}
	r.Share = float64(hit) / float64(len(live))
	r.spell(wet, float64(len(live)), h.Start.Add(time.Duration(a)*time.Hour))
	return r, true
}

// spell finds the first hours in which a fifth of the members have rain, and the
// one in which most have.
func (r *RainAhead) spell(wet []int, members float64, start time.Time) {
	most := 0
	for i, n := range wet {
		at := start.Add(time.Duration(i) * time.Hour)
		if n > most {
			most, r.Likeliest = n, at
		}
		if float64(n) < rainLikely*members {
			continue
		}
		if r.From.IsZero() {
			r.From, r.To = at, at
		}
		if r.To.Equal(at) {
			r.To = at.Add(time.Hour)
		}
	}
}

// RainAhead is how likely rain is in some hours.
type RainAhead struct {
	Share     float64   // of members with rain in one of the hours
	From, To  time.Time // the first spell in which a fifth of the members have rain
	Likeliest time.Time // the hour in which most members have rain; zero: none has
}
