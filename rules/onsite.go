package rules

import (
	"math"
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

// RainAhead says how likely rain is in the hours that touch [from, to): the share
// of members in which an hour breaks a stage's limit on rain, the first hour in
// which a fifth of them do (zero: none), and the end of that spell. known is
// false where fewer than LeastMembers know all of the hours.
func (g *Ground) RainAhead(s Stage, from, to time.Time) (r RainAhead, known bool) {
	set, ok := setOf(s)
	if g.n == 0 || !ok || !to.After(from) {
		return RainAhead{}, false
	}
	a, b := int(math.Floor(g.hour(from))), int(math.Ceil(g.hour(to)))
	if a < 0 || b > g.n {
		return RainAhead{}, false
	}
	var live []int
	wet := make([]int, b-a)
	hit := 0
	for m := range g.count {
		any, all := false, true
		for i := a; i < b; i++ {
			all = all && forecast.Known(float32(g.raw(forecast.Rain, m, i)))
		}
		if !all {
			continue
		}
		live = append(live, m)
		for i := a; i < b; i++ {
			if g.limits.breaks(set, m, i, bitRain) {
				any = true
				wet[i-a]++
			}
		}
		if any {
			hit++
		}
	}
	if g.sent(live) < LeastMembers {
		return RainAhead{}, false
	}
	r.Share = float64(hit) / float64(len(live))
	most := 0
	for i, n := range wet {
		if float64(n) >= rainLikely*float64(len(live)) {
			if r.From.IsZero() {
				r.From = g.at(float64(a + i))
			}
			if r.To.IsZero() || r.To.Equal(g.at(float64(a+i))) {
				r.To = g.at(float64(a + i + 1))
			}
		}
		if n > most {
			most, r.Likeliest = n, g.at(float64(a+i))
		}
	}
	return r, true
}

// RainAhead is how likely rain is in some hours.
type RainAhead struct {
	Share     float64   // of members with rain in one of the hours
	From, To  time.Time // the first spell in which a fifth of the members have rain
	Likeliest time.Time // the hour in which most members have rain; zero: none has
}
