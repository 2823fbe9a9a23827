package site

import (
	"fmt"
	"math"
	"time"
)

// Lines says the answer in plain words, a sentence each, the most pressing first;
// times are on the clock of the zone.
func (a Answer) Lines(zone *time.Location) []string {
	clock := func(t time.Time) string { return t.In(zone).Format("15:04") }
	var out []string
	add := func(format string, x ...any) { out = append(out, fmt.Sprintf(format, x...)) }
	switch {
	case a.Advice == GoOn:
		add("Go on: by this reading and the present forecast every limit holds until the work has cured.")
	case a.Advice == Blind:
		add("laycast cannot say go on: %s. Go by what you measure and by the sky.", a.Why)
	case a.Advice == Stop:
		add("Not today: %s.", a.Why)
	case a.From.IsZero():
		add("Wait: %s.", a.Why)
	default:
		add("Wait until %s, and measure again then: %s.", clock(a.From), a.Why)
	}
	if a.DewMarginK == a.DewMarginK {
		add("Dew margin %.1f K: deck %.1f °C%s, dew point %.1f °C%s.", a.DewMarginK,
			a.SurfaceC, by(a.DeckMeasured), a.DewC, by(a.DewMeasured))
	} else {
		add("The dew margin is not known: measure the deck's surface, the air and its humidity.")
	}
	if a.DeckMeasured && math.Abs(a.Off.SurfaceK) >= 1 {
		side := "warmer"
		if a.Off.SurfaceK < 0 {
			side = "colder"
		}
		add("The deck is %.1f K %s than the forecast had it; the hours to come are taken as much %s.", math.Abs(a.Off.SurfaceK), side, side)
	}
	add("Mix now: %s.", a.Dose.Words())
	for _, w := range a.Dose.Warnings {
		add("Mind: %s.", w)
	}
	switch {
	case !a.CoatBy.IsZero():
		add("Begin the topcoat by %s at the latest, by the present forecast.", clock(a.CoatBy))
	case a.NoCoat != "":
		add("No topcoat today, as it looks now: %s.", a.NoCoat)
	}
	add("The lead hand decides on site; the resin maker's data sheet governs.")
	return out
}

func by(measured bool) string {
	if measured {
		return ""
	}
	return " (by the forecast)"
}
