package rules

import (
	"fmt"
	"sort"

	"laycast/job"
)

// Bound is one limit on one measure, in force during a stage.
type Bound struct {
	Limit  Limit
	Least  bool    // true: the value must be at least Value; false: at most
	Strict bool    // the value itself already breaks the limit
	Value  float64 // in Unit
	Unit   string
}

// Profile is what a resin system and a way of working ask for: how fast each
// stage goes, which limits hold in it, and how long the work must be protected
// after it. A Profile is a value and is not changed once made.
type Profile struct {
	Name string

	// minutes
	Setup      float64 // on arrival, before any stage
	Break      float64 // taken during the deck stage, so that the roof is not left wet and open
	ClearUp    float64 // after the last work of the day
	NightJoint float64 // for each bay that ends at a joint for the night

	ThirdHand  float64 // share by which each hand beyond the pair speeds the work
	SlowMedian float64 // the work takes this multiple of its nominal time, in the middle member
	SlowSD     float64 // standard deviation of the logarithm of that multiple
	FitShare   float64 // a bay is cut so that it is laid within the day in this share of members

	StripRate    float64 // m²/h for a pair
	DeckRate     float64 // m²/h
	TrimMin      float64 // minutes for a metre of trim
	OutletMin    float64 // minutes for an outlet
	BandageMin   float64 // minutes for a metre of joint
	JointPerM2   float64 // metres of board joint for a square metre of deck
	LaminateRate float64 // m²/h
	SandRate     float64 // m²/h
	AbradeRate   float64 // m²/h, when the overcoat window was missed
	TopcoatRate  float64 // m²/h

	// hours of equivalent age at 20 °C
	SealedAge    float64 // from the end of laminating until the roof is sealed
	SandableAge  float64
	RainproofAge float64 // of the topcoat
	CureE        float64 // activation energy, kJ/mol

	OvercoatHours float64       // hours after sealing in which topcoat goes on without abrading
	FrostHours    float64       // after the topcoat, the deck must stay at 0 °C or above
	SealedBy      job.TimeOfDay // the roof must be sealed by then: nobody leaves an open roof to the night
	HeatBefore    float64       // °C: with the deck forecast hotter than this at the laminate, the roof is not opened

	Opening     []Bound // strip, and the deck stage on an open roof
	Laminating  []Bound
	Curing      []Bound
	Sanding     []Bound
	Topcoating  []Bound
	TopcoatCure []Bound
}

// Limits that several stages share. 10 m/s is close to the 23 mph above which a
// safety regulator's page warns of lost balance (CHECKS section 8, grade S);
// the gust and all other figures are common practice, no source.
func windBounds() []Bound {
	return []Bound{
		{Limit: LimitWind, Value: 10, Unit: "m/s"},
		{Limit: LimitGust, Value: 15, Unit: "m/s"},
	}
}

// noRain is the laminator's "none": less than 0.1 mm in the hour, the smallest
// amount that the sources tell.
func noRain() Bound { return Bound{Limit: LimitRain, Strict: true, Value: 0.1, Unit: "mm"} }

func resinBounds(deckMax float64) []Bound {
	return append([]Bound{
		noRain(),
		{Limit: LimitAir, Least: true, Value: 5, Unit: "°C"},
		{Limit: LimitAir, Value: 30, Unit: "°C"},
		{Limit: LimitDeck, Least: true, Value: 5, Unit: "°C"},
		{Limit: LimitDeck, Value: deckMax, Unit: "°C"},
		// 3 K: coating practice, attributed to ISO 8502-4 (CHECKS section 2, grade S, secondary pages)
		{Limit: LimitDewMargin, Least: true, Value: 3, Unit: "K"},
		// 85 %: steel-paint practice (CHECKS section 2, grade S, secondary pages); no source for GRP
		{Limit: LimitRH, Value: 85, Unit: "%"},
		{Limit: LimitDry, Value: 0, Unit: "mm"},
	}, windBounds()...)
}

// Polyester is the built-in profile. Every figure is common practice, no
// source, unless a comment says otherwise; the resin maker's data sheet
// governs.
func Polyester() Profile {
	return Profile{
		Name:  "polyester",
		Setup: 30, Break: 30, ClearUp: 30, NightJoint: 30,
		ThirdHand: 0.4, SlowMedian: 1.2, SlowSD: 0.2, FitShare: 0.9,
		StripRate: 10, DeckRate: 8, TrimMin: 3, OutletMin: 20, BandageMin: 1.5,
		// Boards of 2.4 m by 0.6 m: half of each board's 6 m of edge for its
		// 1.44 m² (the other half is the neighbour's).
		JointPerM2:   2.08,
		LaminateRate: 14, SandRate: 40, AbradeRate: 20, TopcoatRate: 20,
		SealedAge: 0.75, SandableAge: 1.0, RainproofAge: 2,
		CureE:         50, // kJ/mol; published 40 to 60 (CHECKS section 6, grade S)
		OvercoatHours: 48, FrostHours: 14, SealedBy: 20 * 60, HeatBefore: 35,
		Opening: append([]Bound{
			{Limit: LimitRain, Value: 0.2, Unit: "mm"}, // cover sheets on site
			{Limit: LimitFrost, Least: true, Strict: true, Value: 0, Unit: "°C"},
		}, windBounds()...),
		Laminating:  resinBounds(40),
		Curing:      []Bound{noRain(), {Limit: LimitAir, Least: true, Value: 5, Unit: "°C"}},
		Sanding:     []Bound{noRain()},
		Topcoating:  resinBounds(35),
		TopcoatCure: []Bound{noRain(), {Limit: LimitDewMargin, Least: true, Value: 1, Unit: "K"}, {Limit: LimitAir, Least: true, Value: 5, Unit: "°C"}},
	}
}

// ProfileNamed gives the profile of that name.
func ProfileNamed(name string) (Profile, error) {
	if name == "" || name == "polyester" {
		return Polyester(), nil
	}
	return Profile{}, fmt.Errorf("there is no profile %q; known: polyester", name)
}

// margin gives how far value lies inside the bound, negative outside it.
func (b Bound) margin(value float64) float64 {
	if b.Least {
		return value - b.Value
	}
	return b.Value - value
}

// tolerance keeps a value that equals its bound on the right side of it: hours
// are stored in steps of 0.01.
const tolerance = 1e-3

// holds reports whether value keeps the bound.
func (b Bound) holds(value float64) bool {
	if b.Strict {
		return b.margin(value) > tolerance
	}
	return b.margin(value) >= -tolerance
}

// errorOf is about one standard error of a forecast for the next day, by which
// margins in different units are compared: T, Td and wind from 3,095 pairs at
// one station (NWS point forecasts, KMLE 2019: 1.8 K for the dew margin, 1.7
// m/s for wind); the others are guesses in proportion, common practice, no
// source.
func errorOf(l Limit) float64 {
	switch l {
	case LimitRain, LimitDry:
		return 0.1 // mm
	case LimitWind:
		return 1.7
	case LimitGust:
		return 2.5
	case LimitDeck:
		return 3
	case LimitRH:
		return 8
	}
	return 1.8 // K or °C
}

// Tighter reports whether check a leaves less room than b, in standard errors.
func Tighter(a, b Check) bool { return room(a) < room(b) }

// room gives the margin of a check in standard errors. An hour without any rain
// leaves more room than its 0.1 mm: rain that is not forecast rarely falls a
// tenth at a time. It counts as two, a guess.
func room(c Check) float64 {
	if c.Limit == LimitRain && c.Value == 0 {
		return 2
	}
	return c.Margin / errorOf(c.Limit)
}

// quantile gives the q-quantile (nearest rank) of xs, which it sorts.
func quantile(xs []float64, q float64) float64 {
	sort.Float64s(xs)
	i := int(q * float64(len(xs)))
	if i >= len(xs) {
		i = len(xs) - 1
	}
	return xs[i]
}
