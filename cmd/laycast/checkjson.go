package main

import (
	"math"

	"laycast/rules"
)

// The JSON of `check`; DESIGN section 13 fixes its fields.
type checkJSON struct {
	Job   string    `json:"job"`
	Issue issueJSON `json:"issue"`
	Days  []dayJSON `json:"days"`
}

type issueJSON struct {
	Source  string `json:"source"`
	Issued  any    `json:"issued"`  // when the content last changed
	Fetched any    `json:"fetched"` // when it was last seen
	Members int    `json:"members"`
}

type dayJSON struct {
	Date         string        `json:"date"`
	BestStart    any           `json:"best_start"`
	Chance       *float64      `json:"chance"`
	Full         *float64      `json:"full"`
	RainOpen     *float64      `json:"p_rain_open"`
	Basis        rules.Basis   `json:"basis"`
	Members      int           `json:"members"`
	Outcome      string        `json:"outcome_if_called_now"`
	Reasons      []string      `json:"reasons"`
	SealedBy     any           `json:"sealed_by"`
	SealedByLate any           `json:"sealed_by_late"`
	NoReturn     any           `json:"no_return"`
	NoReturnMid  any           `json:"no_return_median"`
	CureBeyond   bool          `json:"cure_beyond"`
	Windows      []windowJSON  `json:"windows"`
	Stages       []stageJSON   `json:"stages"`
	Failing      []failingJSON `json:"failing"`
	Hours        []hourJSON    `json:"hours"`
}

type windowJSON struct {
	From any `json:"from"`
	To   any `json:"to"`
}

type stageJSON struct {
	Stage    rules.Stage  `json:"stage"`
	From     any          `json:"from"`
	To       any          `json:"to"`
	Tightest tightestJSON `json:"tightest"`
}

type tightestJSON struct {
	Limit  rules.Limit `json:"limit"`
	At     any         `json:"at"`
	Value  float64     `json:"value"`
	Bound  float64     `json:"bound"`
	Margin float64     `json:"margin"`
}

type failingJSON struct {
	Limit   rules.Limit `json:"limit"`
	Members int         `json:"members"`
	From    any         `json:"from"`
	To      any         `json:"to"`
}

type hourJSON struct {
	At        any      `json:"at"`
	Air       *float64 `json:"air_c"`
	Dew       *float64 `json:"dew_c"`
	Surface   *float64 `json:"surface_c"`
	DewMargin *float64 `json:"dew_margin_k"`
	RH        *float64 `json:"rh_pct"`
	Rain      *float64 `json:"rain_mm"`
	Wind      *float64 `json:"wind_ms"`
	Gust      *float64 `json:"gust_ms"`
	Water     *float64 `json:"water_mm"`
	Board     *float64 `json:"board_pct"`
	CureRate  *float64 `json:"cure_rate"`
	Daylight  bool     `json:"daylight"`
}

// num gives a number to so many decimals, nil where it is not known.
func num(x float64, decimals float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	p := math.Pow(10, decimals)
	x = math.Round(x*p) / p
	return &x
}

func (f *finding) json() checkJSON {
	out := checkJSON{Job: f.job.ID, Days: []dayJSON{}}
	if r := f.issue.Det; r != nil {
		out.Issue = issueJSON{Source: r.Source, Issued: stamp(r.Changed), Fetched: stamp(r.LastSeen)}
	}
	if r := f.issue.Ens; r != nil {
		out.Issue.Members = r.Hours.Members
	}
	for _, d := range f.days {
		out.Days = append(out.Days, d.json())
	}
	return out
}

func (d foundDay) json() dayJSON {
	j := dayJSON{
		Date: d.Date.String(), Basis: d.Basis, Members: d.Members, Outcome: string(d.outcome), Reasons: d.reasons,
		SealedBy: stamp(d.SealedBy), SealedByLate: stamp(d.SealedByLate), NoReturn: stamp(d.NoReturn), NoReturnMid: stamp(d.NoReturnMedian), CureBeyond: d.CureBeyond,
		Windows: []windowJSON{}, Stages: []stageJSON{}, Failing: []failingJSON{}, Hours: []hourJSON{},
	}
	if d.Basis == rules.FromClimate {
		j.Chance = num(d.Climate, 4)
	}
	if s, ok := d.BestStart(); ok {
		j.BestStart = stamp(s.At)
		j.Chance, j.Full, j.RainOpen = num(s.Sealed, 4), num(s.Full, 4), num(s.RainOpen, 4)
	}
	for _, w := range d.Windows {
		j.Windows = append(j.Windows, windowJSON{stamp(w.From), stamp(w.To)})
	}
	for _, s := range d.Stages {
		t := s.Tightest
		j.Stages = append(j.Stages, stageJSON{s.Stage, stamp(s.From), stamp(s.To), tightestJSON{t.Limit, stamp(t.At), t.Value, t.Bound, t.Margin}})
	}
	for _, x := range d.Failing {
		j.Failing = append(j.Failing, failingJSON{x.Limit, x.Members, stamp(x.From), stamp(x.To)})
	}
	for _, h := range d.hours {
		j.Hours = append(j.Hours, hourJSON{
			At: stamp(h.At), Air: num(h.Air, 2), Dew: num(h.Dew, 2), Surface: num(h.Surface, 2), DewMargin: num(h.DewMargin, 2),
			RH: num(h.RH, 1), Rain: num(h.Rain, 2), Wind: num(h.Wind, 2), Gust: num(h.Gust, 2), Water: num(h.Water, 3),
			Board: num(h.Board, 1), CureRate: num(h.CureRate, 3), Daylight: h.Daylight,
		})
	}
	return j
}
