package site

import (
	"fmt"
	"math"
	"time"

	"laycast/rules"
	"laycast/rules/physics"
)

// advise says whether to go on.
func (v Visit) advise(a *Answer, m *measured) {
	broken := v.broken(m.now, m.soak || len(m.wet) > 0 && m.wet[0])
	if v.Blind != "" || len(m.hours) == 0 {
		a.Advice, a.Why = Blind, v.blind()
		if m.soak {
			a.Advice, a.Why = Wait, v.soaked()
		} else if why := broken.measured(); why != "" {
			a.Advice, a.Why = Wait, why
		}
		return
	}
	switch {
	case m.soak && v.Profile.AsksDry(v.Stage):
		a.Advice, a.Why = Wait, v.soaked()
		return
	case m.now.Surface != m.now.Surface || m.now.Dew != m.now.Dew:
		a.Advice, a.Why = Wait, "the deck's surface, the air and its humidity are needed: measure them"
		return
	}
	i, why := v.first(m)
	switch {
	case i == 0:
		a.Advice = GoOn
	case i > 0:
		a.Advice, a.From, a.Why = Wait, m.hours[i].At, broken.words()
		if a.Why == "" {
			a.Why = why
		}
	default:
		a.Advice, a.Why = Stop, broken.words()
		if a.Why == "" {
			a.Why = why
		}
	}
}

func (v Visit) blind() string {
	if v.Blind != "" {
		return v.Blind
	}
	return "there is no forecast for the hours ahead"
}

func (v Visit) soaked() string {
	return fmt.Sprintf("the deck is wet by its meter (%.0f %% or more counts as wet): let it dry and measure again", WetWood)
}

// first gives the first hour from the reading's on from which the stage can be
// done and cured, -1 where there is none, and what the first hour lacked.
func (v Visit) first(m *measured) (int, string) {
	why := ""
	for i, h := range m.hours {
		from := h.At
		if i == 0 {
			from = m.at
		}
		if !v.WorkEnd.IsZero() && from.Add(v.Work).After(v.WorkEnd) {
			if why == "" {
				why = fmt.Sprintf("%s of work do not end by the end of the day", hoursWords(v.Work))
			}
			return -1, why
		}
		lacks := v.through(m, i, from)
		if lacks == "" {
			return i, why
		}
		if why == "" {
			why = lacks
		}
	}
	return -1, why
}

// through holds the work from a time on, and its cure after it, against the
// limits; "" where every one holds.
func (v Visit) through(m *measured, i int, from time.Time) string {
	cure, age := rules.Cure, 0.0
	sealed, _, rainproof := v.Profile.Ages()
	if age = sealed; v.Stage == rules.Topcoat {
		cure, age = rules.TopcoatCure, rainproof
	}
	if m.wet[i] && v.Profile.AsksDry(v.Stage) {
		return "water stands on the deck"
	}
	end := from.Add(v.Work)
	for k := i; ; k++ {
		if k >= len(m.hours) {
			return "the forecast does not reach so far"
		}
		h := m.hours[k]
		if b := v.broken(h, false); k > i || h.At.Before(end) {
			if w := b.words(); w != "" {
				return w
			}
		}
		if !h.At.Add(time.Hour).Before(end) {
			done, why := v.cured(m, k, end, cure, age)
			if why == "" && v.rainLikely(from, done) {
				why = "rain is likely before it has cured"
			}
			return why
		}
	}
}

// rainLikely reports whether members have rain before a work is safe.
func (v Visit) rainLikely(from, done time.Time) bool {
	return !v.RainFrom.IsZero() && v.RainFrom.Before(done) && v.RainFrom.Add(time.Hour).After(from)
}

// cured gives when what ended at `end` has come to an age, and what spoils it
// before.
func (v Visit) cured(m *measured, k int, end time.Time, cure rules.Stage, age float64) (time.Time, string) {
	t := end
	for ; k < len(m.hours); k++ {
		h := m.hours[k]
		to := h.At.Add(time.Hour)
		if !to.After(t) {
			continue
		}
		var b broken
		for _, c := range v.Profile.Checks(cure, h) {
			if !c.Holds {
				b = append(b, c)
			}
		}
		if w := b.words(); w != "" {
			return t, w + " while it cures"
		}
		rate := physics.RateFactor(h.Surface, v.Profile.CureE)
		gain := rate * to.Sub(t).Hours()
		if !(gain < age) {
			if rate > 0 {
				return t.Add(time.Duration(age / rate * float64(time.Hour))), ""
			}
			return t, "the deck's temperature is not known"
		}
		age -= gain
		t = to
	}
	return t, "the forecast does not reach to the end of the cure"
}

// coat says until when the topcoat may be begun today: the last half hour from
// which every limit holds until it is rain-proof.
func (v Visit) coat(a *Answer, m *measured) {
	if v.Blind != "" || len(m.hours) == 0 || v.WorkEnd.IsZero() || v.Coat <= 0 {
		a.NoCoat = v.blind()
		return
	}
	w := v
	w.Stage, w.Work = rules.Topcoat, v.Coat
	ready := m.at
	if v.Stage == rules.Laminate {
		if a.Advice != GoOn && a.From.IsZero() {
			a.NoCoat = "the laminate is not down"
			return
		}
		if a.Advice == Wait {
			ready = a.From
		}
		ready = ready.Add(v.Work)
		_, sandable, _ := v.Profile.Ages()
		t, why := v.cured(m, 0, ready, rules.Cure, sandable)
		if why != "" {
			a.NoCoat = why
			return
		}
		ready = t
	}
	a.NoCoat = "the day is too short for it"
	for t := v.WorkEnd.Add(-v.Coat).Truncate(coatStep); !t.Before(ready); t = t.Add(-coatStep) {
		i := int(t.Sub(m.hours[0].At).Hours())
		if i >= len(m.hours) {
			continue
		}
		if a.NoCoat = w.through(m, i, t); a.NoCoat == "" {
			a.CoatBy = t
			return
		}
	}
}

// coatStep lies between two times that are tried for the topcoat.
const coatStep = 30 * time.Minute

// broken are limits that do not hold.
type broken []rules.Checked

func (v Visit) broken(h rules.Hour, wet bool) broken {
	var out broken
	for _, c := range v.Profile.Checks(v.Stage, h) {
		if !c.Holds {
			out = append(out, c)
		}
	}
	if wet && v.Profile.AsksDry(v.Stage) {
		out = append(out, rules.Checked{Check: rules.Check{Limit: rules.LimitDry, At: h.At}, Known: true})
	}
	return out
}

// measured gives in words what is broken among what a crew measures.
func (b broken) measured() string {
	for _, c := range b {
		switch c.Limit {
		case rules.LimitDewMargin, rules.LimitRH, rules.LimitDeck, rules.LimitAir:
			if c.Known {
				return broken{c}.words()
			}
		}
	}
	return ""
}

// words says what is broken worst; "" where nothing is.
func (b broken) words() string {
	if len(b) == 0 {
		return ""
	}
	worst := b[0]
	for _, c := range b[1:] {
		if !c.Known && worst.Known || c.Known == worst.Known && rules.Tighter(c.Check, worst.Check) {
			worst = c
		}
	}
	switch {
	case !worst.Known:
		return string(worst.Limit) + " is not known"
	case worst.Limit == rules.LimitDry:
		return "water stands on the deck"
	case worst.Limit == rules.LimitRain:
		return fmt.Sprintf("rain, %.1f mm in the hour", worst.Value)
	}
	side := "at most"
	if worst.Value < worst.Bound {
		side = "at least"
	}
	return fmt.Sprintf("%s %.1f %s, %s %g is asked", worst.Limit, worst.Value, worst.Unit, side, worst.Bound)
}

func hoursWords(d time.Duration) string {
	return fmt.Sprintf("%.1f hours", math.Ceil(d.Hours()*10)/10)
}
