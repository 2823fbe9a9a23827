package web

import (
	"slices"

	"laycast/job"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// pastCall is a call with what came of its day.
type pastCall struct {
	When, Crew string
	Call       callLine
	Came       string // what the day came to, "" where that cannot be known yet
	Tone       string
}

// pastCallsOf gives a job's calls, newest first, each with what its chance was
// scored by later.
func pastCallsOf(b ledger.Book, j job.Booking, chances []ledger.Chance, at moment) []pastCall {
	zone := siteZone(j.Job, at.zone)
	var out []pastCall
	for _, k := range b.Calls {
		if k.Job != j.ID {
			continue
		}
		p := pastCall{When: k.Date.Words(), Crew: crewName(b, k.Crew), Call: callLineOf(k, zone)}
		if k.Date.Before(at.today) {
			p.Came, p.Tone = cameWords(k, chances)
		}
		out = append(out, p)
	}
	slices.Reverse(out) // the book has the oldest first
	return out
}

// cameWords says what a call's day came to. Past rows of a weather model are no
// gauge, and are called what they are.
func cameWords(k call.Call, chances []ledger.Chance) (words, tone string) {
	lead := 1
	if k.Occasion == call.SecondLook {
		lead = 0
	}
	i := slices.IndexFunc(chances, func(c ledger.Chance) bool { return c.Date == k.Date && c.Lead == lead })
	if i < 0 {
		return "No chance was kept to be scored.", "none"
	}
	c := chances[i]
	switch c.State {
	case ledger.Lost:
		return "Nothing tells how the day went.", "none"
	case ledger.Open:
		return "Not scored yet.", "none"
	}
	by := " by past rows of the weather model, which are no gauge."
	if c.How == ledger.CrewReport {
		by = " by the crew's own report."
	}
	did := k.Outcome == call.Go
	switch {
	case c.Sealed && did:
		return "The roof was sealed," + by, "go"
	case c.Sealed:
		return "The roof could have been sealed," + by, "hold"
	case c.Rained && did:
		return "It rained on the open roof," + by, "no-go"
	case c.Rained:
		return "It would have rained on the open roof," + by, "go"
	case did:
		return "The roof was not sealed that day," + by, "no-go"
	}
	return "The roof could not have been sealed," + by, "go"
}
