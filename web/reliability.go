package web

import (
	"bytes"
	"context"
	"fmt"
	"html/template"
	"math"
	"net/http"

	"laycast/forecast/skill"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/verify"
)

// Scores reads the chances that are scored.
type Scores interface {
	// Scored gives those of a firm's calls, and those of the reference roof
	// wherever the firm has jobs.
	Scored(ctx context.Context, uid string) ([]ledger.Chance, error)
}

// fewScored is how many days a table of chances needs to mean something, as for
// laycast skill.
const fewScored = 30

type reliabilityPage struct {
	Days    int // on which anything was scored
	Few     bool
	Verdict string   // whether the chances are honest, in words
	Calls   []string // what came of them
	Rows    []binLine
	Leads   []leadLine
	Diagram template.HTML
}

type binLine struct {
	Told, Mean, True, Band string
	N                      int
	Off                    bool // outside the band
}

type leadLine struct{ Ahead, N, Mean, True, Skill string }

// reliability shows whether what is given 80 % comes true eight times in ten.
func (s *site) reliability(w http.ResponseWriter, r *http.Request, v viewer) {
	f, err := s.Feeds.Firm(r.Context(), s.firmUID())
	if err != nil {
		s.unavailable(w, "reliability", err)
		return
	}
	cs, err := s.Scores.Scored(r.Context(), f.UID)
	if err != nil {
		s.unavailable(w, "reliability", err)
		return
	}
	p, err := reliabilityOf(cs)
	if err != nil {
		s.unavailable(w, "reliability", err)
		return
	}
	s.show(w, http.StatusOK, "reliability", frame{Title: "Reliability", Firm: notify.Clean(f.Name), Viewer: &v, Body: p})
}

func reliabilityOf(cs []ledger.Chance) (reliabilityPage, error) {
	var p reliabilityPage
	days := map[job.Date]bool{}
	var evening []skill.Scored
	byLead := map[int][]verify.Given{}
	for _, c := range cs {
		days[c.Date] = true
		if c.Lead == 1 {
			evening = append(evening, skill.Scored{Chance: c.Told.Sealed, Happened: c.Sealed})
		}
		if c.Firm == "" {
			byLead[c.Lead] = append(byLead[c.Lead], verify.Given{Date: c.Date, Lead: c.Lead, Told: c.Told, Dressed: c.Members, Raw: c.Members, Sealed: c.Sealed, Rained: c.Rained})
		}
	}
	p.Days, p.Few, p.Calls = len(days), len(days) < fewScored, callScores(cs)
	for lead := 0; lead <= 10; lead++ {
		if gs := byLead[lead]; len(gs) > 0 {
			p.Leads = append(p.Leads, leadLineOf(lead, gs))
		}
	}
	if len(evening) == 0 {
		return p, nil
	}
	bins := skill.Reliability(evening, verify.Bins)
	var over, under int
	for _, b := range bins {
		l := binLine{Told: fmt.Sprintf("%.0f to %.0f %%", 100*b.From, 100*b.To), Mean: share(b.Chance), True: share(b.Freq), Band: fmt.Sprintf("%.0f to %.0f %%", 100*b.Low, 100*b.High), N: b.N}
		const rounding = 1e-9
		switch {
		case b.Freq < b.Low-rounding:
			l.Off, over = !p.Few, over+1
		case b.Freq > b.High+rounding:
			l.Off, under = !p.Few, under+1
		}
		p.Rows = append(p.Rows, l)
	}
	p.Verdict = honestWords(over, under, len(bins))
	d := skill.Diagram{Title: "Chance that the roof is sealed, given the evening before", Base: math.NaN(), Note: fmt.Sprintf("%d chances, scored", len(evening)), Series: []skill.Series{{Name: "as told", Bins: bins}}}
	var b bytes.Buffer
	if err := d.SVG(&b); err != nil {
		return p, err
	}
	p.Diagram = template.HTML(b.String()) // its texts are ours, and escaped
	return p, nil
}

// share prints a frequency, which may be a certainty: it has happened.
func share(v float64) string { return fmt.Sprintf("%.0f %%", 100*v) }

// honestWords says what a table's rows tell of its chances.
func honestWords(over, under, rows int) string {
	switch {
	case over == 0 && under == 0:
		return "Every row lies where honest chances would, nineteen times in twenty."
	case over > under:
		return fmt.Sprintf("In %d of %d rows it came true less often than was told: there the chances promise too much.", over, rows)
	case under > over:
		return fmt.Sprintf("In %d of %d rows it came true more often than was told: there the chances are too timid.", under, rows)
	}
	return fmt.Sprintf("Of %d rows, %d promise too much and %d too little.", rows, over, under)
}

// callScores says what came of the last call for each day: of the goes, and of the
// days that were called off.
func callScores(cs []ledger.Chance) []string {
	type visit struct {
		id  string
		day job.Date
	}
	last := map[visit]ledger.Chance{}
	for _, c := range cs {
		k := visit{c.Job, c.Date}
		if old, ok := last[k]; c.Firm != "" && (!ok || c.Lead < old.Lead) {
			last[k] = c
		}
	}
	var goes, sealed, wet, offs, missed, crew int
	for _, c := range last {
		if c.How == ledger.CrewReport {
			crew++
		}
		switch c.Outcome {
		case call.Go:
			goes++
			if c.Sealed {
				sealed++
			}
			if c.Rained {
				wet++
			}
		case call.NoGo:
			offs++
			if c.Sealed {
				missed++
			}
		}
	}
	var out []string
	if goes > 0 {
		out = append(out, fmt.Sprintf("Goes: %d. Sealed that day: %d. Rained on while open: %d.", goes, sealed, wet))
	}
	if offs > 0 {
		out = append(out, fmt.Sprintf("Called off: %d. Could have been laid, as it turned out: %d.", offs, missed))
	}
	if len(last) > 0 {
		out = append(out, fmt.Sprintf("Known by the crew's own report: %d of %d; the others by past rows of the weather model, which are no gauge.", crew, len(last)))
	}
	return out
}

func leadLineOf(lead int, gs []verify.Given) leadLine {
	row := verify.RowOf([]verify.Part{verify.PartOf(gs, job.Date{}, func(verify.Given) bool { return true }, false)}, 0)
	mean, days := 0.0, map[job.Date]bool{}
	for _, g := range gs {
		days[g.Date] = true
		mean += g.Told.Sealed / float64(len(gs))
	}
	l := leadLine{Ahead: fmt.Sprintf("%d days ahead", lead), N: fmt.Sprint(row.N), Mean: share(mean), True: share(row.Freq), Skill: "–"}
	switch lead {
	case 0:
		l.Ahead = "the same morning"
	case 1:
		l.Ahead = "the evening before"
	}
	if v := row.Ways[verify.Recalibrated].Skill; v == v && len(days) >= fewScored {
		l.Skill = share(v)
	}
	return l
}
