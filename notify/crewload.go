package notify

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"laycast/rules"
	"laycast/rules/load"
	"laycast/rules/mix"
)

// van is what to load: the cover sheets first, for without them nothing is
// opened.
func van(l CallLetter, f letterFacts) block {
	cover := "all fresh work"
	if f.opens {
		cover = "the whole open roof"
	}
	b := block{Title: "On the van", Text: []string{"Cover sheets, enough for " + cover + ", with weights or battens."}}
	for _, x := range l.Load {
		s := quantity(x)
		if n := clean(x.Note); n != "" {
			s += ", " + n
		}
		b.addFact(capital(clean(x.Item)), s)
	}
	return b
}

// quantity gives "12 pieces", "1 roll".
func quantity(x load.Item) string {
	unit := clean(x.Unit)
	if x.Qty == 1 {
		unit = strings.TrimSuffix(unit, "s")
	}
	return num(x.Qty) + nbsp + unit
}

// gear names the tools on one line, and what the list does not know.
func gear(l CallLetter) block {
	b := block{Small: true}
	var kit []string
	for _, x := range l.Kit {
		kit = append(kit, clean(x.Item)+nbsp+num(x.Qty))
	}
	if len(kit) > 0 {
		b.Text = append(b.Text, "Tools and gear: "+strings.Join(kit, ", ")+".")
	}
	for _, n := range l.Notes {
		b.Text = append(b.Text, Sentence(n))
	}
	return b
}

// mixCard says what to mix in the hours of work. Hours that ask for the same are
// one line.
func mixCard(l CallLetter, f letterFacts) block {
	b := block{Title: "Mix card"}
	var until time.Time
	from := 0
	for i, x := range l.Mix {
		what := MixWords(x)
		n := len(b.Spans)
		if n == 0 || b.Spans[n-1].What != what || !x.At.Equal(until) {
			b.Spans = append(b.Spans, span{What: what})
			n, from = n+1, i
		}
		until = x.At.Add(time.Hour)
		b.Spans[n-1].When = f.wall.span(l.Mix[from].At, until)
		for _, w := range x.Warnings {
			if w = Sentence(w); !slices.Contains(b.Items, w) {
				b.Items = append(b.Items, w)
			}
		}
	}
	if !b.empty() {
		b.Text = []string{"Go by the deck you measure, not by the forecast; the maker's data sheet governs the dose."}
	}
	return b
}

// MixWords says one line of a mix card: of the resin, or of the topcoat where
// that is what the hour is for.
func MixWords(x mix.Line) string {
	what, p := "resin", x.Resin
	if x.Stage == rules.Topcoat {
		what, p = "topcoat", x.Topcoat
	}
	switch {
	case x.DeckC != x.DeckC:
		return what + ": deck not known, no dose"
	case x.DosePct == 0:
		return fmt.Sprintf("%s: deck %.0f%s°C, no dose", what, x.DeckC, nbsp)
	case p.Kg == 0:
		return fmt.Sprintf("%s: deck %.0f%s°C, %s%s%%", what, x.DeckC, nbsp, num(x.DosePct), nbsp)
	}
	return fmt.Sprintf("%s: deck %.0f%s°C, %s%s%%: %s%skg + %.0f%sml for %s%sm², down within %.0f%smin",
		what, x.DeckC, nbsp, num(x.DosePct), nbsp, num(p.Kg), nbsp, p.Ml, nbsp, num(p.AreaM2), nbsp, x.WorkMin, nbsp)
}
