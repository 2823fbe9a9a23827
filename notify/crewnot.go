package notify

import (
	"fmt"
	"strings"

	"laycast/rules"
	"laycast/scheduler/call"
)

// why gives a call's reasons and what stopped its members.
func why(k call.Call, w wall) []block {
	reasons := block{Title: "Why"}
	for _, r := range k.Reasons {
		if s := Sentence(r); s != "" && !counts(r, k) {
			reasons.Items = append(reasons.Items, s)
		}
	}
	stop := block{Title: "What speaks against it"}
	for _, f := range k.Failing {
		stop.Items = append(stop.Items, Sentence(failing(f, k.Members, w)))
	}
	if reasons.empty() && stop.empty() {
		reasons.Text = []string{"No forecast that could be relied on."}
	}
	return []block{reasons, stop}
}

// counts reports whether a reason only counts the members that a limit stopped,
// which the letter says in a block of its own.
func counts(reason string, k call.Call) bool {
	for _, f := range k.Failing {
		if strings.HasPrefix(reason, fmt.Sprintf("%d of %d: ", f.Members, k.Members)) {
			return true
		}
	}
	return false
}

func (c *Composer) noGoLetter(l CallLetter, f letterFacts, headline string) letter {
	out := letter{Tone: noGoTone, Headline: headline, Lede: []string{f.lede(l, false)}}
	if l.Before != nil && l.Before.Outcome == call.Go {
		out.Lede = append(out.Lede, "It was a go before. Do not open this roof.")
	}
	out.add(why(l.Call, f.wall)...)
	out.add(picture(l))
	if l.Call.Known {
		out.add(c.outlook(l, f))
	}
	next := block{Title: "What happens next", Items: []string{"Do not go to this roof " + f.when + ". A new date follows."}}
	if laid := l.Job.LaidM2; laid > 0 && laid < l.Job.Roof.AreaM2 {
		next.Items = append(next.Items, fmt.Sprintf("%s of %s are sealed; the night joint and the covers must hold until then.", area(laid), area(l.Job.Roof.AreaM2)))
	}
	planB := block{Title: "Plan B", Items: cleanAll(l.PlanB)}
	if planB.empty() {
		planB.Text = []string{"Weatherproof work: a survey, the snag list, the yard. The office says which."}
	}
	out.add(next, planB, c.contact(l))
	return out
}

func (c *Composer) holdLetter(l CallLetter, f letterFacts) letter {
	out := letter{Tone: holdTone, Headline: "Hold " + f.when, Lede: []string{f.lede(l, false)}}
	by, ok := c.decideBy(l)
	decided := "It is decided at the second look in the morning; you get a mail either way."
	if ok {
		decided = "It is decided by " + f.wall.at(by) + "; you get a mail either way."
	}
	out.Lede = append(out.Lede, decided)
	out.add(why(l.Call, f.wall)...)
	out.add(picture(l), c.outlook(l, f))
	next := block{Title: "Until then", Items: []string{
		"Be ready for " + f.wall.at(f.start) + " on site, but do not set off before you have heard.",
		"No word is no go: without a go by mail, ring the office before you open anything.",
	}}
	out.add(next, site(l.Job), van(l, f), gear(l), c.contact(l))
	return out
}

// stillLetter says what is different about a go that stays a go.
func (c *Composer) stillLetter(l CallLetter, f letterFacts) letter {
	out := letter{Tone: goTone, Headline: "Still go " + f.when, Lede: []string{f.lede(l, true)}}
	out.add(changes(*l.Before, l.Call, f.wall))
	reasons := block{Title: "Why"}
	for _, r := range l.Call.Reasons {
		reasons.Items = append(reasons.Items, Sentence(r))
	}
	out.add(reasons, picture(l), c.contact(l), cautions())
	return out
}

// changes lists what a reader would act on and that is not as it was.
func changes(was, now call.Call, w wall) block {
	b := block{Title: "What changed"}
	note := func(label, old, new string) {
		if old != new && new != "" {
			if old == "" {
				old = "not said"
			}
			b.addFact(label, new+" (was "+old+")")
		}
	}
	note("On site", w.at(was.Start), w.at(now.Start))
	note("Chance that it is sealed", knownPercent(was, was.Chance), knownPercent(now, now.Chance))
	note("Rain while it is open", knownPercent(was, was.RainOpen), knownPercent(now, now.RainOpen))
	note("Sealed by", w.at(was.SealedBy), w.at(now.SealedBy))
	note("Nine in ten by", w.at(was.SealedByLate), w.at(now.SealedByLate))
	note("Point of no return", w.at(was.NoReturn), w.at(now.NoReturn))
	old := map[rules.Stage]rules.Span{}
	for _, s := range was.Stages {
		old[s.Stage] = s
	}
	for _, s := range now.Stages {
		o := old[s.Stage]
		note("Hours of "+stageWords(s.Stage), w.span(o.From, o.To), w.span(s.From, s.To))
		if s.Tightest.Limit != o.Tightest.Limit {
			note("Tightest, "+stageWords(s.Stage), tightest(o.Tightest, w), tightest(s.Tightest, w))
		}
	}
	if b.empty() {
		b.Text = []string{"Nothing that you would act on."}
	}
	return b
}

func knownPercent(k call.Call, p float64) string {
	if !k.Known {
		return "not known"
	}
	return percent(p)
}

func cleanAll(ss []string) []string {
	var out []string
	for _, s := range ss {
		if s = Sentence(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}
