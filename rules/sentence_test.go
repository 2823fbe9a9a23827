package rules

import (
	"strings"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
)

// TestSentence reads days out as a firm would see them.
func TestSentence(t *testing.T) {
	fine := func() *handmade { return fair(may4, 20) }
	dewy := func() *handmade {
		return fine().hour(forecast.Dew, 0, 9, 15.5).hour(forecast.RH, 0, 9, 97).hour(forecast.Solar, 0, 9, 0).hour(forecast.Cloud, 0, 9, 100)
	}
	coat := small()
	coat.Job.LaidM2, coat.Job.SealedOn = 8, may4.AddDays(-1)
	for name, c := range map[string]struct {
		s     *handmade
		c     Case
		wants []string
		nots  []string
	}{
		"fine":     {fine(), small(), []string{"Tuesday: go from 07:30, 100 %: sealed by ", ", rain unlikely all day"}, []string{"dew", "%!", "tightest"}},
		"dewy":     {dewy(), small(), []string{"dew lifts at 09:00, sealed by "}, nil},
		"damp":     {fine().always(forecast.RH, 90), small(), []string{"no window; best from 07:30, 0 %: dew does not lift, humidity stops 20 of 20, rain unlikely all day"}, []string{"sealed"}},
		"evening":  {fine().hour(forecast.Rain, 20, 24, 1), small(), []string{"go from 07:30, 100 %", "rain unlikely before 20:00"}, nil},
		"all day":  {fine().hour(forecast.Rain, 0, 24, 1), small(), []string{"no window", "rain stops 20 of 20, rain likely from the start"}, nil},
		"few wet":  {fine().member(forecast.Rain, 0, 16, 18, 1).member(forecast.Rain, 1, 16, 18, 1), small(), []string{"rain unlikely all day"}, nil},
		"some wet": {fine().member(forecast.Rain, 0, 16, 18, 1).member(forecast.Rain, 1, 16, 18, 1).member(forecast.Rain, 2, 16, 18, 1).member(forecast.Rain, 3, 16, 18, 1), small(), []string{"rain unlikely before 16:00"}, nil},
		"windy":    {fine().hour(forecast.Wind, 11, 12, 8.9).hour(forecast.Gust, 0, 24, 9), small(), []string{"; tightest: wind 8.9 of 10 m/s at 11:00"}, nil},
		"topcoat":  {fine(), coat, []string{"go from 07:30, 100 %: rain-proof by "}, []string{"sealed"}},
		"few":      {fair(may4, 9), small(), []string{"Tuesday: not known: only 9 members"}, []string{"go", "%"}},
	} {
		got := c.s.judge(c.c).Sentence(time.UTC)
		for _, w := range c.wants {
			if !strings.Contains(got, w) {
				t.Errorf("%s: %q lacks %q", name, got, w)
			}
		}
		for _, n := range c.nots {
			if strings.Contains(strings.TrimPrefix(got, "Tuesday"), n) {
				t.Errorf("%s: %q holds %q", name, got, n)
			}
		}
	}
	if got := (Day{Date: may4, Best: -1}).Sentence(time.UTC); !strings.HasPrefix(got, "Tuesday: not known") {
		t.Errorf("nothing: %q", got)
	}
}

// TestSentenceInTheZone: the reader's clock, not the forecast's.
func TestSentenceInTheZone(t *testing.T) {
	day := fair(may4, 20).judge(small())
	z := time.FixedZone("", 2*3600)
	if got := day.Sentence(z); !strings.Contains(got, "go from 09:30") {
		t.Errorf("%q", got)
	}
}

// TestPercentKeepsADoubt: 19 of 19 is certain as far as is known, 399 of 400 is
// not.
func TestPercentKeepsADoubt(t *testing.T) {
	for share, want := range map[float64]string{1: "100 %", 0: "0 %", 0.9975: "99 %", 0.0025: "1 %", 0.864: "86 %"} {
		if got := percent(share); got != want {
			t.Errorf("%g: %s, want %s", share, got, want)
		}
	}
}

// TestAllKindsAreJudged: on a fair day each kind of work is sealed, by its own
// stages.
func TestAllKindsAreJudged(t *testing.T) {
	for _, c := range []struct {
		work   job.Work
		deck   job.Deck
		stages string
	}{
		{job.Replace, job.NewBoard, "strip deck laminate cure topcoat topcoat cure"},
		{job.Overboard, job.Felt, "deck laminate cure topcoat topcoat cure"},
		{job.Relaminate, job.GRP, "prepare deck primer laminate cure topcoat topcoat cure"},
		{job.Balcony, job.Concrete, "prepare deck primer laminate cure topcoat topcoat cure"},
	} {
		cs := roof(4, c.work, c.deck)
		day := fair(may4, 20).judge(cs)
		var names []string
		for _, s := range day.Stages {
			names = append(names, string(s.Stage))
		}
		if got := strings.Join(names, " "); got != c.stages || day.Starts[0].Sealed != 1 {
			t.Errorf("%s: %.2f sealed, stages %s, want %s", c.work, day.Starts[0].Sealed, got, c.stages)
		}
	}
}

// TestPrimerHasItsOwnLimits: rain on wet primer ends the day, opens nothing,
// and a laminate waits for the primer's age.
func TestPrimerHasItsOwnLimits(t *testing.T) {
	c := roof(6, job.Relaminate, job.GRP)
	c.Profile.PrimerRate = 4 // slow enough to be at it for more than an hour
	s := fair(may4, 20)
	r := walkOf(t, s.ground(c), c, may4, 0, clock(may4, 7.5))
	primer, _ := r.span(Primer)
	lam, _ := r.span(Laminate)
	if !r.sealed || lam.from < primer.to+0.3 {
		t.Fatalf("sealed %v, primed at %.2f, laminate from %.2f", r.sealed, primer.to, lam.from)
	}
	for h, what := range map[int]string{int(primer.to - 1e-9): "wet primer", int(lam.from - 1e-9): "primer that is not through"} {
		wet := fair(may4, 20).hour(forecast.Rain, h-48, h-47, 0.1)
		if got := walkOf(t, wet.ground(c), c, may4, 0, clock(may4, 7.5)); got.sealed || got.rainOpen || got.cause != LimitRain {
			t.Errorf("rain on %s: sealed %v, rain open %v, cause %s", what, got.sealed, got.rainOpen, got.cause)
		}
	}
	old := c
	old.Profile.PrimedAge = 4
	r = walkOf(t, s.ground(old), old, may4, 0, clock(may4, 7.5)) // of a smaller bay
	primer, _ = r.span(Primer)
	if lam, ok := r.span(Laminate); !ok || lam.from < primer.to+3 {
		t.Errorf("four hours of primer: primed at %.2f, laminate from %.2f", primer.to, lam.from)
	}
}
