package rules

import "laycast/rules/physics"

// StandardGel is the gel time in minutes at 20 °C of the resin that the ages of
// the built-in profile are meant for. Common practice, no source: published gel
// times of such resins lie between 13 and 60 minutes (CHECKS section 6, grade
// S, conditions not seen), which is why a firm's own measurement counts.
const StandardGel = 20.0

// curePace gives by how much longer (above 1) or shorter this firm's resin takes
// to each age than the standard one, from its gel time carried to 20 °C.
func (p *Profile) curePace() float64 {
	return physics.GelMinutes(p.GelMin, p.GelAt, physics.CureReference, p.CureE) / StandardGel
}

// beyondGel reports whether a cure of member m between two hours runs more than
// 10 K from the temperature at which the gel time was measured: there its time
// is an extrapolation, and the reader is told.
func (g *Ground) beyondGel(m int, from, to float64) bool {
	for i := int(from); i < g.n && float64(i) < to; i++ {
		if physics.Extrapolated(g.value(LimitDeck, m, i), g.profile.GelAt) {
			return true
		}
	}
	return false
}
