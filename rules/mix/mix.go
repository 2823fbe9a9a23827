// Package mix makes the mix card: for a deck temperature, or for each hour of a
// visit, the dose of catalyst by the owner's table, the millilitres for a batch
// that the crew can lay before it gels, and the time it has for that. It is
// pure, and gives no dose outside the owner's table.
package mix

import (
	"fmt"
	"math"
	"slices"
	"time"

	"laycast/rules"
	"laycast/rules/physics"
)

// Band is one row of the owner's table: the dose on a deck from From °C up to
// but not at To °C (the last band holds To too).
type Band struct {
	From, To float64 // °C of the deck
	Pct      float64 // % of catalyst by mass of resin
}

// Recipe is how a firm mixes. Its values and their sources stand in the file
// of materials (rules/load).
type Recipe struct {
	Bands    []Band  // the coldest first, each beginning where the last one ends, no dose above the one before
	Measured float64 // % with which the gel time of the laying limits was measured
	Density  float64 // kg/l of the catalyst
	UseShare float64 // share of the gel time in which a batch must be down
	Hot      float64 // °C of the deck from which batches are halved
	Cold     float64 // °C of the deck below which a caution is given
	Resin    Batch
	Topcoat  Batch
}

// Batch is how much is mixed at a time.
type Batch struct {
	KgPerM2 float64
	AreaM2  float64 // at the most
}

// Portion is one batch to be mixed; zero where none may be.
type Portion struct {
	AreaM2 float64 // that it is for
	Kg     float64 // resin or topcoat
	Ml     float64 // catalyst
}

// Line is what the card says for one deck temperature.
type Line struct {
	At    time.Time   // the hour; zero where a temperature was asked for
	Stage rules.Stage // what the plan does in the hour, "" where nothing that is mixed for
	DeckC float64     // °C; NaN where it is not known

	DosePct float64 // % by mass; 0: no dose, Warnings say why
	MlPerKg float64 // catalyst for a kilogram
	GelMin  float64 // minutes until it gels, by the firm's own gel time carried to DeckC
	WorkMin float64 // of them, those in which the batch must be down
	Resin   Portion
	Topcoat Portion

	Warnings []string
}

// At gives the line for a deck temperature in °C and so many hands.
func (r Recipe) At(p rules.Profile, hands int, deckC float64) Line {
	l := Line{DeckC: deckC}
	band, why := r.band(deckC)
	if why != "" {
		l.Warnings = []string{why}
		return l
	}
	l.DosePct = band.Pct
	l.MlPerKg = round(10*band.Pct/r.Density, 0.1)
	l.GelMin = physics.GelMinutes(p.GelMin, p.GelAt, deckC, p.CureE)
	if band.Pct > r.Measured {
		// How gel time goes with the dose is published nowhere that we found
		// (CHECKS section 6). Inverse proportion is a guess on the short side.
		l.GelMin *= r.Measured / band.Pct
		l.warn("more catalyst than the gel time was measured with (%.3g %%): the time is cut in proportion, a guess; try a cup first", r.Measured)
	}
	l.GelMin = math.Floor(l.GelMin)
	l.WorkMin = math.Floor(l.GelMin * r.UseShare)
	if physics.Extrapolated(deckC, p.GelAt) {
		l.warn("over 10 K from where the gel time was measured (%.3g °C): the time is an estimate; try a cup first", p.GelAt)
	}
	share := 1.0
	switch {
	case deckC > r.Hot:
		share = 0.5
		l.warn("hot deck: shade it, half batches, never more than this dose; styrene vapour ignites from 31 °C")
	case deckC < r.Cold:
		l.warn("cold deck: it cures slowly; more catalyst than the table says does not mend that")
	}
	pace := p.Pace(hands)
	if pace == 0 {
		l.warn("nobody laminates alone: no batch is given")
		return l
	}
	l.Resin = r.portion(r.Resin, share, p.LaminateRate*pace, l)
	l.Topcoat = r.portion(r.Topcoat, share, p.TopcoatRate*pace, l)
	return l
}

// Card gives a line for each hour of a visit, from the middle of the forecast.
// The spans are the stages as the plan has them; hours in which none of them
// mixes have no Stage.
func (r Recipe) Card(p rules.Profile, hands int, hours []rules.Hour, spans []rules.Span) []Line {
	lines := make([]Line, 0, len(hours))
	for _, h := range hours {
		l := r.At(p, hands, h.Surface)
		l.At, l.Stage = h.At, mixing(spans, h.At)
		lines = append(lines, l)
	}
	return lines
}

// Mixing gives the lines of the hours in which the plan mixes; all of them
// where it does in none.
func Mixing(lines []Line) []Line {
	var out []Line
	for _, l := range lines {
		if l.Stage != "" {
			out = append(out, l)
		}
	}
	if len(out) == 0 {
		return lines
	}
	return out
}

// mixing gives the stage of an hour in which resin or topcoat is mixed.
func mixing(spans []rules.Span, at time.Time) rules.Stage {
	for _, s := range spans {
		mixed := s.Stage == rules.Primer || s.Stage == rules.Laminate || s.Stage == rules.Topcoat
		if mixed && s.From.Before(at.Add(time.Hour)) && at.Before(s.To) {
			return s.Stage
		}
	}
	return ""
}

// band gives the row of the table for a deck temperature, or why there is none.
func (r Recipe) band(deckC float64) (Band, string) {
	if len(r.Bands) == 0 {
		return Band{}, "there is no table of doses: go by the maker's data sheet"
	}
	first, last := r.Bands[0], r.Bands[len(r.Bands)-1]
	switch {
	case math.IsNaN(deckC) || math.IsInf(deckC, 0):
		return Band{}, "the deck's temperature is not known: measure it; no dose is given"
	case deckC < first.From:
		return Band{}, fmt.Sprintf("the deck is colder than the table of doses reaches (%.3g °C): do not mix; no dose is given", first.From)
	case deckC > last.To:
		return Band{}, fmt.Sprintf("the deck is hotter than the table of doses reaches (%.3g °C): do not mix; shade it and wait; no dose is given", last.To)
	}
	i := slices.IndexFunc(r.Bands, func(b Band) bool { return deckC < b.To })
	if i < 0 {
		return last, ""
	}
	return r.Bands[i], ""
}

// portion gives the batch that a crew of rate m²/h lays in the working time.
func (r Recipe) portion(b Batch, share, rate float64, l Line) Portion {
	area := min(b.AreaM2*share, rate*l.WorkMin/60)
	area = math.Floor(area*10+1e-9) / 10
	kg := round(area*b.KgPerM2, 0.1)
	return Portion{AreaM2: area, Kg: kg, Ml: math.Round(kg * 10 * l.DosePct / r.Density)}
}

func (l *Line) warn(format string, a ...any) {
	l.Warnings = append(l.Warnings, fmt.Sprintf(format, a...))
}

func round(x, step float64) float64 { return math.Round(x/step) / math.Round(1/step) }

// Words gives the line without its hour and warnings: the dose, the batches
// and the time.
func (l Line) Words() string {
	if l.DosePct == 0 {
		if math.IsNaN(l.DeckC) {
			return "deck not known: no dose"
		}
		return fmt.Sprintf("deck %.0f °C: no dose", l.DeckC)
	}
	return fmt.Sprintf("deck %.0f °C: %.3g %% (%.1f ml a kg); resin %s; topcoat %s; down within %.0f min, gels at about %.0f",
		l.DeckC, l.DosePct, l.MlPerKg, l.Resin.words(), l.Topcoat.words(), l.WorkMin, l.GelMin)
}

func (p Portion) words() string {
	return fmt.Sprintf("%.1f kg + %.0f ml for %.3g m²", p.Kg, p.Ml, p.AreaM2)
}

// Cautions stand on every mix card. Sources: eyes and fire, ICSC 1028; never
// with accelerator, never with acetone, several safety pages (secondary); both
// CHECKS section 11.
func Cautions() []string {
	return []string{
		"The resin maker's data sheet governs the dose; local codes and licensed practice too.",
		"Never mix neat peroxide catalyst with accelerator: it explodes. Never thin it with acetone.",
		"Peroxide burns eyes at once and deeply: goggles and gloves on before the bottle is opened, water to rinse within reach.",
		"Keep catalyst and its rags out of sun and heat, away from acids, sawdust and anything that burns.",
		"Measure the deck's own temperature before each batch and go by that, not by the forecast. What warms or smokes in the bucket goes out into the open, away from everything.",
	}
}
