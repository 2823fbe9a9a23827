package main

import (
	"context"
	"errors"
	"fmt"
	"math"

	"laycast/forecast/skill"
	"laycast/job"
	"laycast/scheduler/ledger"
	"laycast/scheduler/verify"
)

// fewDays is how many days a table of chances needs to mean something: with
// thirty, one bin of three days still says nothing. Ours, no source.
const fewDays = 30

// ownSkill is how the chances did that the firm was given.
type ownSkill struct {
	reference []verify.Row // by days ahead
	crps      []float64    // of the air at noon, K, by days ahead; NaN where not known
	calls     []verify.Row // second look, evening
	days      int          // on which the reference roof was scored
	evening   []skill.Scored
}

// ownLeads are the leads of the reference roof: second look to a week ahead.
const ownLeads = 8

// own scores the chances that the firm was given so far.
func (c *skillCmd) own(ctx context.Context, s *session) error {
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	cs, err := readers{h.db}.Scored(ctx, h.firm.UID)
	if err != nil {
		return err
	}
	o := ownSkillOf(cs, c.Seed)
	bins := skill.Reliability(o.evening, verify.Bins)
	d := skill.Diagram{
		Title: "Chance that the roof is sealed, given the evening before", Base: math.NaN(),
		Note:   fmt.Sprintf("%d chances by %s, scored by past rows of the weather model", len(o.evening), h.firm.Name),
		Series: []skill.Series{{Name: "as told", Bins: bins}},
	}
	if err := errors.Join(drawTo(c.PNG, d.PNG), drawTo(c.SVG, d.SVG)); err != nil {
		return err
	}
	if c.JSON {
		return s.printJSON(o.json(bins))
	}
	o.text(s, bins)
	return nil
}

// ownSkillOf scores chances.
func ownSkillOf(cs []ledger.Chance, seed uint64) ownSkill {
	var o ownSkill
	var ref, calls []verify.Given
	crps := make([][2]float64, ownLeads)
	days := map[job.Date]bool{}
	for _, c := range cs {
		g := verify.Given{Date: c.Date, Lead: c.Lead, Told: c.Told, Dressed: c.Members, Raw: c.Members, Sealed: c.Sealed, Rained: c.Rained}
		if c.Lead == 1 {
			o.evening = append(o.evening, skill.Scored{Chance: c.Told.Sealed, Happened: c.Sealed})
		}
		if c.Firm != "" {
			calls = append(calls, g)
			continue
		}
		ref = append(ref, g)
		days[c.Date] = true
		if c.AirWas != nil && len(c.Air) > 0 && c.Lead < ownLeads {
			crps[c.Lead][0] += skill.CRPS(c.Air, *c.AirWas)
			crps[c.Lead][1]++
		}
	}
	o.days = len(days)
	row := func(gs []verify.Given, lead int) verify.Row {
		return verify.RowOf([]verify.Part{verify.PartOf(gs, job.Date{}, func(g verify.Given) bool { return g.Lead == lead }, false)}, seed)
	}
	for lead := range ownLeads {
		o.reference = append(o.reference, row(ref, lead))
		o.crps = append(o.crps, crps[lead][0]/crps[lead][1])
	}
	for lead := range 2 {
		o.calls = append(o.calls, row(calls, lead))
	}
	return o
}

type ownJSON struct {
	Days      int          `json:"days"`
	Enough    bool         `json:"enough"`
	ScoredBy  string       `json:"scored_by"`
	Reference []ownRowJSON `json:"reference"`
	Calls     []ownRowJSON `json:"calls"`
	Bins      []skill.Bin  `json:"bins"` // of chances told the evening before, calls and reference roof
}

type ownRowJSON struct {
	Lead    int          `json:"lead"` // days ahead; 0 is the second look
	N       int          `json:"n"`
	Sealed  *float64     `json:"frequency"`
	Climate *float64     `json:"climate_brier"`
	Told    skillWayJSON `json:"told"`
	Members skillWayJSON `json:"members"`
	AirCRPS *float64     `json:"air_crps"` // K; null for calls
}

func (o ownSkill) json(bins []skill.Bin) ownJSON {
	out := ownJSON{Days: o.days, Enough: o.days >= fewDays, ScoredBy: ledger.ModelRows, Reference: []ownRowJSON{}, Calls: []ownRowJSON{}, Bins: bins}
	for lead, r := range o.reference {
		out.Reference = append(out.Reference, ownRow(lead, r, o.crps[lead]))
	}
	for lead, r := range o.calls {
		out.Calls = append(out.Calls, ownRow(lead, r, math.NaN()))
	}
	if out.Bins == nil {
		out.Bins = []skill.Bin{}
	}
	return out
}

func ownRow(lead int, r verify.Row, crps float64) ownRowJSON {
	return ownRowJSON{Lead: lead, N: r.N, Sealed: number(r.Freq), Climate: number(r.Climate), AirCRPS: number(crps),
		Told: wayJSON(r.Ways[verify.Recalibrated]), Members: wayJSON(r.Ways[verify.Dressed])}
}

func wayJSON(s verify.Score) skillWayJSON {
	return skillWayJSON{number(s.Score), number(s.Reliability), number(s.Resolution), number(s.Uncertainty),
		number(s.Skill), number(s.Slope), number(s.Error), number(s.BandHigh)}
}

// text prints the tables.
func (o ownSkill) text(s *session, bins []skill.Bin) {
	switch {
	case o.days == 0 && len(o.evening) == 0:
		s.printf("No chance has been scored yet: that takes a day that is over and the past rows of its weather.\n")
		return
	case o.days < fewDays:
		s.printf("Too few to tell: %s scored, and fewer than %d say nothing of how honest the chances are. They are shown for what they are.\n\n", counted(o.days, "day"), fewDays)
	default:
		s.printf("Chances scored on %s, by past rows of the weather model (no gauge).\n\n", counted(o.days, "day"))
	}
	s.printf("a roof of %d m², asked for every evening wherever there are jobs\n", referenceM2)
	o.rows(s, o.reference, o.crps)
	s.printf("\ncalls made\n")
	o.rows(s, o.calls, nil)
	s.printf("\nchances told the evening before, roof and calls together\n   told      n   mean   came true   19 times in 20, if honest\n")
	for _, b := range bins {
		s.printf("%3.0f-%3.0f %% %4d  %3.0f %%      %3.0f %%        %3.0f to %3.0f %%\n", 100*b.From, 100*b.To, b.N, 100*b.Chance, 100*b.Freq, 100*b.Low, 100*b.High)
	}
	s.printf("\nahead = days ahead, 0 the second look. Brier = reliability - resolution + uncertainty (+ what bins hide); skill against the month's own frequency; slope 1 = honest; error = mean distance of frequency from chance, and what chance alone makes of it at most. air = CRPS of the air at noon, K.\n")
}

func (o ownSkill) rows(s *session, rows []verify.Row, crps []float64) {
	s.printf("ahead    n  sealed  Brier = reliab. - resol. + uncert.  skill  slope  error (band)   air\n")
	for lead, r := range rows {
		if r.N == 0 {
			continue
		}
		t, air := r.Ways[verify.Recalibrated], "-"
		if crps != nil {
			air = orDash(crps[lead])
		}
		s.printf("%-5d %4d   %3.0f %%  %.3f =  %.3f  -  %.3f +   %.3f    %5s  %5s  %.3f (%.3f)  %s\n", lead, r.N, 100*r.Freq,
			t.Score, t.Reliability, t.Resolution, t.Uncertainty, orDash(t.Skill), orDash(t.Slope), t.Error, t.BandHigh, air)
	}
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
