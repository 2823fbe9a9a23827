package notify

import (
	"fmt"
	"strings"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
)

// goLetter says all that a crew needs for the day, in the order in which it is
// needed: the hours, the site, the van, the work, and when to stop.
func (c *Composer) goLetter(l CallLetter, f letterFacts, headline string) letter {
	out := letter{Tone: goTone, Headline: headline, Lede: []string{f.lede(l, true)}}
	if l.Call.Eased {
		look := "look at the sky and the radar before you begin."
		if f.opens {
			look = "open nothing unless sky and radar bear it out, and have the covers laid out first."
		}
		out.Lede = append(out.Lede, "This go is less sure than one of the evening: "+look)
	}
	out.add(
		c.times(l, f), picture(l), day(l.Call.Stages, f.wall), c.outlook(l, f), site(l.Job), van(l, f), gear(l), before(l, f),
		mixCard(l, f), giveUp(l, f), c.contact(l), cautions(),
	)
	return out
}

// times are the hours by which the day stands or falls.
func (c *Composer) times(l CallLetter, f letterFacts) block {
	k := l.Call
	b := block{Title: "The hours that matter"}
	b.addFact("On site", f.wall.at(f.start))
	if !k.NoReturn.IsZero() {
		late := "not begun by then, leave it for another day"
		if f.opens {
			late = "not opened by then, leave it shut"
		}
		b.addFact("Point of no return", f.wall.at(k.NoReturn)+"; "+late)
	}
	for _, s := range k.Stages {
		if s.Stage == rules.Laminate {
			b.addFact("First mix", f.wall.at(s.From))
		}
	}
	b.addFact(f.sealed()+" by", sealedBy(k, f.wall))
	if !f.coat {
		b.addFact("Topcoat", topcoatTimes(k, f.wall))
	}
	if f.wall.loc.String() != c.zone.String() {
		b.addFact("Times", "on the clock at the site, "+f.wall.loc.String())
	}
	return b
}

// sealed says what a day's work is when it is safe.
func (f letterFacts) sealed() string {
	if f.coat {
		return "Rain-proof"
	}
	return "Sealed"
}

func sealedBy(k call.Call, w wall) string {
	if k.SealedBy.IsZero() {
		return ""
	}
	s := w.at(k.SealedBy) + " in the middle forecast"
	if !k.SealedByLate.IsZero() {
		s += "; nine in ten by " + w.at(k.SealedByLate)
	}
	return s
}

// topcoatTimes says when the topcoat goes on, and until when.
func topcoatTimes(k call.Call, w wall) string {
	var s []string
	for _, x := range k.Stages {
		if x.Stage == rules.Topcoat && !k.CoatBy.IsZero() {
			s = append(s, w.at(x.From)+", begun by "+w.at(k.CoatBy)+" or left for another day")
		}
	}
	switch {
	case k.OvercoatBy.IsZero():
	case len(s) > 0:
		s = append(s, "after "+w.at(k.OvercoatBy)+" abrade and wipe first")
	default:
		s = append(s, "another day, by "+w.at(k.OvercoatBy)+"; after that abrade and wipe first")
	}
	return strings.Join(s, "; ")
}

// picture shows the hour ribbon.
func picture(l CallLetter) block {
	if l.Picture == nil {
		return block{}
	}
	return block{Title: "Hour by hour", Picture: l.Picture}
}

// outlook is the chance and what it rests on.
func (c *Composer) outlook(l CallLetter, f letterFacts) block {
	b := block{Title: "The outlook"}
	switch {
	case !l.Call.Known:
		b.addFact("Chance", "not known; the forecast lacks hours or is too old")
	case f.coat:
		b.addFact("Chance that the topcoat cures dry", fmt.Sprintf("%s, %s", chanceWords(l.Call.Chance), percent(l.Call.Chance)))
	default:
		b.addFact("Chance that it is sealed", fmt.Sprintf("%s, %s", chanceWords(l.Call.Chance), percent(l.Call.Chance)))
		b.addFact("Topcoat the same day", percent(l.Call.Full))
		if f.opens {
			b.addFact("Rain while it is open", percent(l.Call.RainOpen))
		}
	}
	b.addFact("Made from", c.madeFrom(l.Call, f.wall))
	if l.Call.Late {
		b.addFact("Late", "this call was made late, at "+f.wall.at(l.Call.Made))
	}
	return b
}

// madeFrom says which forecast a call rests on and how old it is.
func (c *Composer) madeFrom(k call.Call, w wall) string {
	var s []string
	if k.Members > 0 {
		s = append(s, fmt.Sprintf("%d variants of the forecast", k.Members))
	}
	if k.Source != "" {
		s = append(s, "by "+clean(k.Source))
	}
	if !k.Fetched.IsZero() {
		s = append(s, "seen at "+w.at(k.Fetched))
	}
	return strings.Join(s, " ")
}

// day lists the stages with their hours and what is tightest in each.
func day(spans []rules.Span, w wall) block {
	b := block{Title: "The day in the middle forecast"}
	for _, s := range spans {
		b.Spans = append(b.Spans, span{w.span(s.From, s.To), stageWords(s.Stage), tightest(s.Tightest, w)})
	}
	return b
}

// site says where it is and what a crew wants to know before it arrives.
func site(j job.Booking) block {
	b := block{Title: "The site"}
	b.addFact("Address", clean(j.Site.Address))
	b.addFact("Access, gate", clean(j.Notes.Access))
	b.addFact("Parking", clean(j.Notes.Parking))
	b.addFact("Room below", clean(j.Notes.RoomBelow))
	b.addFact("Power, water", clean(j.Notes.PowerWater))
	b.addFact("Neighbours", clean(j.Notes.Neighbours))
	who := clean(j.Customer.Name)
	if p := clean(j.Phone); p != "" {
		who = strings.TrimPrefix(who+", "+p, ", ")
	}
	b.addFact("Customer", who)
	return b
}

// before says what must be done before the work begins.
func before(l CallLetter, f letterFacts) block {
	begin, first := "start", "before the first mix"
	if f.opens {
		begin, first = "strip", "before the strip, before the first mix"
	}
	if !f.coat {
		first += " and before the topcoat"
	}
	b := block{Title: "Before you " + begin, Items: []string{
		"Look at the sky and the radar. If it is worse than this mail says, the mail is wrong.",
		"Read and write down " + first + ": air temperature, humidity, deck surface temperature, moisture of the deck.",
	}}
	if !f.coat && (l.Job.Roof.Deck == job.OldBoard || l.Job.Roof.Deck == job.Concrete) {
		b.Items = append(b.Items, "The deck is old: laminate only on a meter reading that the data sheet allows.")
	}
	return b
}

// giveUp says when to stop.
func giveUp(l CallLetter, f letterFacts) block {
	b := block{Title: "When to give up"}
	if !l.Call.NoReturn.IsZero() {
		verb := "begun"
		if f.opens {
			verb = "opened"
		}
		b.Items = append(b.Items, "Not "+verb+" by "+f.wall.at(l.Call.NoReturn)+": not today.")
	}
	b.Items = append(b.Items, "Readings outside the data sheet or our laying limits: do not begin that stage.")
	if f.opens {
		b.Items = append(b.Items, "Rain while it is open: cover up at once, then ring.")
		if !l.Call.SealedByLate.IsZero() {
			b.Items = append(b.Items, "If it will not be sealed by "+f.wall.at(l.Call.SealedByLate)+", open no more of it and cover what is open.")
		}
	} else {
		b.Items = append(b.Items, "Rain on fresh work: cover up at once, then ring.")
	}
	return b
}

// contact says whom to ring, and where to read more.
func (c *Composer) contact(l CallLetter) block {
	b := block{Title: "Whom to ring"}
	b.addFact("Office", clean(c.firm.Name))
	b.addFact("Phone", strings.ReplaceAll(clean(c.firm.Phone), " ", nbsp))
	b.addFact("Mail", c.reply.Address)
	for _, k := range []link{{"Say that you have seen this", l.SeenURL}, {"Your page", l.Page}, {"Your calendar", l.Subscribe}} {
		if isWebLink(k.URL) {
			b.Links = append(b.Links, k)
		}
	}
	return b
}

// cautions stand under every go. Sources: styrene's flash point 31 °C, NIOSH
// Pocket Guide; peroxide and eyes, ICSC 1028; peroxide and accelerator, several
// safety pages (secondary).
func cautions() block {
	return block{Title: "Cautions", Small: true, Items: []string{
		"A forecast is no permission: the lead hand decides on site.",
		"The resin maker's data sheet, local codes and licensed practice govern.",
		"No ignition near a hot deck: styrene's flash point is 31" + nbsp + "°C (NIOSH Pocket Guide), and a roof in the sun gets hotter.",
		"Peroxide catalyst: goggles and gloves; never mix it neat with accelerator.",
		"Edge protection stands before anybody is on the roof.",
	}}
}
