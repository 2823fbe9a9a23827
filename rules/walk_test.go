package rules

import (
	"fmt"
	"math"
	"testing"
	"time"

	"laycast/job"
	"laycast/rules/physics"

	"pgregory.net/rapid"
)

// TestWalkAgreesWithReference lives random days in both ways.
func TestWalkAgreesWithReference(t *testing.T) {
	seen := map[string]int{}
	rapid.Check(t, func(rt *rapid.T) {
		s := someScene(t, rapid.Uint64().Draw(rt, "seed"), 6)
		g := s.ground()
		p, ok := g.dayPlan(s.c, s.d)
		if !ok {
			seen["no work"]++
			return
		}
		var decks [][]physics.Deck
		for m := range g.count {
			decks = append(decks, decksOf(s.c, s.hrs, m))
		}
		from, to := workingTime(s.c, s.d)
		hot := middleDeck(decks, s.hrs.N)
		for m := range g.count {
			for _, start := range p.startsOf(g, time.Time{}) {
				if !g.known(m, p.from, p.knownTo) {
					seen["unknown"]++
					continue
				}
				got := g.walk(&p, m, start)
				if quick := quickly(g, &p, m, start); quick != got.outcome {
					rt.Fatalf("member %d from %.1f: %+v with a diary, %+v without", m, start, got.outcome, quick)
				}
				r := reference{c: s.c, bay: p.bay, hrs: s.hrs, m: m, slow: g.slow[m], decks: decks[m], hot: hot, from: from, to: to,
					sealBy: job.Instant(s.d, 20*60, s.c.Zone)}
				sealed, full := r.live(g.at(start))
				compare(rt, got, sealed, full, &r, fmt.Sprintf("member %d from %s (%s, %s)", m, g.at(start).In(s.c.Zone), p.bay.Task, s.c.Job.Roof.Work))
				count(seen, got, p.bay.Task)
				seen[string(s.c.Job.Roof.Work)] += one(sealed)
			}
		}
	})
	for what, least := range map[string]int{"lay sealed": 50, "lay full": 50, "lay failed": 50, "coat full": 50, "coat failed": 50, "rain open": 1,
		"replace": 1, "overboard": 1, "relaminate": 1, "balcony": 1} {
		if seen[what] < least {
			t.Errorf("only %d walks with %q among the random days: %v", seen[what], what, seen)
		}
	}
	t.Log(seen)
}

func compare(rt *rapid.T, got result, sealed, full bool, r *reference, where string) {
	if got.sealed != sealed || got.full != full || got.rainOpen != r.rained {
		rt.Fatalf("%s: walk sealed %v full %v rain open %v (%s at %.3f, %v); reference %v %v %v, at %.3f", where,
			got.sealed, got.full, got.rainOpen, got.cause, got.causeAt, got.passages[:got.count], sealed, full, r.rained, r.hourOf(r.now))
	}
	if sealed && math.Abs(got.sealedAt-r.sealed) > 1e-6 {
		rt.Fatalf("%s: walk is sealed at %.6f, the reference at %.6f", where, got.sealedAt, r.sealed)
	}
}

func count(seen map[string]int, r result, task Task) {
	switch {
	case r.full:
		seen[string(task)+" full"]++
	case r.sealed:
		seen[string(task)+" sealed"]++
	default:
		seen[string(task)+" failed"]++
	}
	if r.rainOpen {
		seen["rain open"]++
	}
}

// quickly lives a day without a diary, as Judge does.
func quickly(g *Ground, p *dayPlan, m int, start float64) outcome {
	w := newWalker(g, p, m)
	w.arrive(start)
	if !w.await() {
		return outcome{}
	}
	return w.outcome()
}
