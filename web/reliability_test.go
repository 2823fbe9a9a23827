package web

import (
	"context"
	"net/http"
	"testing"

	"laycast/forecast/skill"
	"laycast/job"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

type scored []ledger.Chance

func (s scored) Scored(context.Context, string) ([]ledger.Chance, error) { return s, nil }

// TestReliabilitySaysWhetherChancesAreHonest: chances of 80 % that come true one
// time in two are said to promise too much; with few days nothing is said.
func TestReliabilitySaysWhetherChancesAreHonest(t *testing.T) {
	var cs scored
	for i := range 60 {
		d := job.Date{Year: 2027, Month: 1, Day: 1}.AddDays(i)
		cs = append(cs, ledger.Chance{Date: d, Lead: 1, Told: skill.Chances{Sealed: 0.81}, Members: skill.Chances{Sealed: 0.81}, State: ledger.Scored, Sealed: i%2 == 0, How: ledger.ModelRows})
	}
	for i, o := range []call.Outcome{call.Go, call.Go, call.NoGo} {
		c := ledger.Chance{Firm: uid, Job: "A1", Date: day(1 + i), Lead: 1, Told: skill.Chances{Sealed: 0.81}, Outcome: o, State: ledger.Scored, Sealed: i != 1, Rained: i == 1, How: ledger.ModelRows}
		cs = append(cs, c)
		c.Lead, c.How = 0, ledger.CrewReport // the second look stood by it
		cs = append(cs, c)
	}
	h := openHouse()
	site, owner, _ := insideOf(t, h, &desk{}, func(c *Config) { c.Scores = cs })
	body := text(t, get(site, "/reliability", "Cookie", owner))
	wants(t, "reliability", body, "promise too much", "80 to 90 %", `class="say hold">51 %`, "Goes: 2. Sealed that day: 1. Rained on while open: 1.", "Called off: 1. Could have been laid, as it turned out: 1.", "the crew&#39;s own report: 3 of 3", "<svg", "the evening before")
	hides(t, "reliability", body, "<script", "style=", "NaN", "Too few")
	site, owner, _ = insideOf(t, h, &desk{}, func(c *Config) { c.Scores = cs[:5] })
	body = text(t, get(site, "/reliability", "Cookie", owner))
	wants(t, "with few", body, "Too few to tell: 5 days are scored")
	hides(t, "with few", body, "promise too much:")
	site, owner, _ = insideOf(t, h, &desk{}, func(c *Config) { c.Scores = scored{} })
	wants(t, "with none", text(t, get(site, "/reliability", "Cookie", owner)), "No chance has been scored yet")
	if r := get(site, "/reliability"); r.StatusCode != http.StatusSeeOther {
		t.Errorf("signed out: %d", r.StatusCode)
	}
}
