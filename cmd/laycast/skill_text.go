package main

import (
	"fmt"
	"math"

	"laycast/scheduler/verify"
)

// The JSON of `skill --weather`.
type skillJSON struct {
	Scale    float64            `json:"scale"`
	Stations []skillStationJSON `json:"stations"`
	All      []skillRowJSON     `json:"all"`
	Rain     skillRowJSON       `json:"rain_open"`
}

type skillStationJSON struct {
	Station string         `json:"station"`
	Leads   []skillRowJSON `json:"leads"`
}

type skillRowJSON struct {
	Lead       string                  `json:"lead"` // days ahead: "0" is the second look, "1-5" is all evenings together
	Days       int                     `json:"days"`
	Frequency  *float64                `json:"frequency"`
	Climate    *float64                `json:"climate_brier"`
	AirDressed *float64                `json:"air_crps_dressed"` // K
	AirRaw     *float64                `json:"air_crps_raw"`
	Ways       map[string]skillWayJSON `json:"ways"`
}

type skillWayJSON struct {
	Brier       *float64 `json:"brier"`
	Reliability *float64 `json:"reliability"`
	Resolution  *float64 `json:"resolution"`
	Uncertainty *float64 `json:"uncertainty"`
	Skill       *float64 `json:"skill"`
	Slope       *float64 `json:"slope"`
	Error       *float64 `json:"calibration_error"`
	BandHigh    *float64 `json:"calibration_band"`
}

var wayNames = [verify.Ways]string{"recalibrated", "dressed", "raw", "single"}

// number rounds to four decimals; not a number is null.
func number(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	x = math.Round(x*1e4) / 1e4
	return &x
}

func skillJSONOf(ts []trial) []skillJSON {
	out := []skillJSON{}
	for _, t := range ts {
		j := skillJSON{Scale: t.scale, All: rowsJSON(t.all), Rain: rowJSON("1-5", t.rain)}
		for _, st := range t.stations {
			j.Stations = append(j.Stations, skillStationJSON{st.station, rowsJSON(st.leads)})
		}
		out = append(out, j)
	}
	return out
}

func rowsJSON(rows []verify.Row) (out []skillRowJSON) {
	for lead, r := range rows {
		out = append(out, rowJSON(leadName(lead), r))
	}
	return out
}

func rowJSON(lead string, r verify.Row) skillRowJSON {
	j := skillRowJSON{Lead: lead, Days: r.N, Frequency: number(r.Freq), Climate: number(r.Climate), AirDressed: number(r.AirDressed), AirRaw: number(r.AirRaw), Ways: map[string]skillWayJSON{}}
	for w, s := range r.Ways {
		j.Ways[wayNames[w]] = wayJSON(s)
	}
	return j
}

// leadName names row `lead` of a table.
func leadName(lead int) string {
	if lead == verify.Leads {
		return fmt.Sprintf("1-%d", verify.Leads-1)
	}
	return fmt.Sprint(lead)
}

// text prints the table of every station at one scale of errors.
func (c *skillCmd) text(s *session, t trial) {
	s.printf("Chance that a roof of %d m² is sealed; errors x %g, %s, seed %d.\nLearned from the first half of the year, scored on the second.\n", referenceM2, t.scale, c.members(), c.Seed)
	for _, st := range t.stations {
		s.printf("\n%s\n", st.station)
		textRows(s, st.leads)
	}
	if len(t.stations) > 1 {
		s.printf("\nall stations\n")
		textRows(s, t.all)
	}
	s.printf("\nahead = days ahead, 0 the second look. slope 1 = honest. error = mean distance of frequency from chance, and what chance alone makes of it at most (19 times in 20). skill = against the month's own frequency: recalibrated, dressed, raw members, single run. air = CRPS of the air at noon in K, dressed and raw.\n\n")
}

func textRows(s *session, rows []verify.Row) {
	s.printf("ahead  days  sealed  slope  error  (band)  skill: recal  dressed    raw  single     air: dressed  raw\n")
	for lead, r := range rows {
		h := r.Ways[verify.Recalibrated]
		s.printf("%-5s %5d   %3.0f %%  %5.2f  %.3f  (%.3f)        %5.2f    %5.2f  %5.2f   %5.2f             %.2f %.2f\n", leadName(lead), r.N, 100*r.Freq, h.Slope, h.Error, h.BandHigh,
			h.Skill, r.Ways[verify.Dressed].Skill, r.Ways[verify.Raw].Skill, r.Ways[verify.Single].Skill, r.AirDressed, r.AirRaw)
	}
}

// members says what the forecasts were.
func (c *skillCmd) members() string {
	if c.Alone {
		return "one run and no ensemble"
	}
	return fmt.Sprintf("raw members of spread %g", c.Spread)
}

// markdown prints the tables of one scale of errors for a page of documentation.
func (c *skillCmd) markdown(s *session, t trial) {
	head := "Errors"
	if c.Alone {
		head = "One run, no ensemble; errors"
	}
	s.printf("## %s × %g\n\n### All %d station-years together\n\n", head, t.scale, len(t.stations))
	c.together(s, t)
	s.printf("\n### Each station, 1 to %d days ahead\n\n", verify.Leads-1)
	c.byStation(s, t)
	s.printf("\n%s\n\n", gates(t))
}

func (c *skillCmd) together(s *session, t trial) {
	s.printf("| days ahead | chances | sealed | Brier = reliability − resolution + uncertainty (+ within bins) | slope: recalibrated / dressed / raw | calibration error (band): recalibrated | dressed | raw | skill: recalibrated / dressed / raw / single run | CRPS of air, K: dressed / raw |\n|---|---|---|---|---|---|---|---|---|---|\n")
	line := func(name string, r verify.Row) {
		h, d, m, one := r.Ways[verify.Recalibrated], r.Ways[verify.Dressed], r.Ways[verify.Raw], r.Ways[verify.Single]
		s.printf("| %s | %d | %.0f %% | %.3f = %.3f − %.3f + %.3f (%+.3f) | %.2f / %.2f / %.2f | %.3f (%.3f) | %.3f (%.3f) | %.3f (%.3f) | %.2f / %.2f / %.2f / %s | %.2f / %.2f |\n",
			name, r.N, 100*r.Freq, h.Score, h.Reliability, h.Resolution, h.Uncertainty, h.Within, h.Slope, d.Slope, m.Slope,
			h.Error, h.BandHigh, d.Error, d.BandHigh, m.Error, m.BandHigh, h.Skill, d.Skill, m.Skill, orDash(one.Skill), r.AirDressed, r.AirRaw)
	}
	for lead, r := range t.all {
		line(leadName(lead), r)
	}
	line(fmt.Sprintf("1-%d, rain while open", verify.Leads-1), t.rain)
}

func orDash(x float64) string {
	if math.IsNaN(x) {
		return "–"
	}
	return fmt.Sprintf("%.2f", x)
}

func (c *skillCmd) byStation(s *session, t trial) {
	s.printf("| station | chances | sealed |")
	for lead := range verify.Leads {
		s.printf(" slope, error (band), %d |", lead)
	}
	s.printf(" all: slope | all: error (band) | all: skill, recalibrated / dressed / raw / single |\n|---|---|---|")
	for range verify.Leads + 3 {
		s.printf("---|")
	}
	s.printf("\n")
	for _, st := range t.stations {
		all := st.leads[verify.Leads]
		s.printf("| %s | %d | %.0f %% |", st.station, all.N, 100*all.Freq)
		for _, r := range st.leads[:verify.Leads] {
			h := r.Ways[verify.Recalibrated]
			s.printf(" %.2f, %.3f (%.3f) |", h.Slope, h.Error, h.BandHigh)
		}
		h := all.Ways[verify.Recalibrated]
		s.printf(" %.2f | %.3f (%.3f) | %.2f / %.2f / %.2f / %.2f |\n", h.Slope, h.Error, h.BandHigh,
			h.Skill, all.Ways[verify.Dressed].Skill, all.Ways[verify.Raw].Skill, all.Ways[verify.Single].Skill)
	}
}

// gates says plainly how many rows meet the bounds that the project sets
// itself, and how many would by chance.
func gates(t trial) string {
	var n, slope, off, better, both int
	years, yearSlope, yearOff, yearBetter := 0, 0, 0, 0
	count := func(k *int, is bool) {
		if is {
			*k++
		}
	}
	for _, st := range t.stations {
		for lead, r := range st.leads {
			h := r.Ways[verify.Recalibrated]
			if lead == verify.Leads {
				years++
				count(&yearSlope, h.SlopeHolds())
				count(&yearOff, h.ErrorHolds())
				count(&yearBetter, r.SkillHolds(verify.Recalibrated))
				continue
			}
			n++
			count(&slope, h.SlopeHolds())
			count(&off, h.ErrorHolds())
			count(&better, r.SkillHolds(verify.Recalibrated))
			count(&both, h.SlopeHolds() && h.ErrorHolds() && r.SkillHolds(verify.Recalibrated))
		}
	}
	return fmt.Sprintf("Of the recalibrated chances at %d station-years (1 to %d days ahead together): slope between %.2f and %.2f at %d, calibration error at most %.2f or inside its band at %d, skill above that of the raw members and of the single run at %d. "+
		"Station by station and lead by lead, second look included (%d rows of about 184 chances, in which chance alone moves the slope by about 0.1): slope %d, error %d, skill %d, all three %d.",
		years, verify.Leads-1, verify.SlopeLow, verify.SlopeHigh, yearSlope, verify.ErrorMost, yearOff, yearBetter, n, slope, off, better, both)
}
