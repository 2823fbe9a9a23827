package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"laycast/job"
	"laycast/scheduler/season"
)

// The JSON of `season`; DESIGN section 13 fixes its first fields.
type seasonJSON struct {
	Station string            `json:"station"`
	AreaM2  float64           `json:"area_m2"`
	Years   int               `json:"years"`
	Months  []seasonMonthJSON `json:"months"`
}

type seasonMonthJSON struct {
	Month    int               `json:"month"`
	Days     int               `json:"days"`
	Sealable int               `json:"sealable"`
	Full     int               `json:"full"`
	Binding  string            `json:"binding"`
	Stopped  map[string]int    `json:"stopped"`
	Unknown  int               `json:"unknown"`
	BayM2    float64           `json:"bay_m2"`    // mean of what a day takes of the roof
	Work     int               `json:"work_days"` // the firm's working days that are known
	WorkSeal int               `json:"work_sealable"`
	From     *job.TimeOfDay    `json:"from"` // the usual times on site, null where no day was sealable
	To       *job.TimeOfDay    `json:"to"`
	Jobs     float64           `json:"jobs"` // that a crew can expect to finish in such a month
	Called   []seasonCallsJSON `json:"called,omitempty"`
}

type seasonCallsJSON struct {
	Spread  float64 `json:"spread"`
	Go      int     `json:"go"`
	Hold    int     `json:"hold"`
	Laid    int     `json:"laid"`
	Held    int     `json:"held"`
	Full    int     `json:"full"`
	Rained  int     `json:"rained_open"`
	Unknown int     `json:"unknown"`
}

func (f seasonOf) json() seasonJSON {
	out := seasonJSON{Station: f.station.id, AreaM2: f.area, Years: f.years, Months: []seasonMonthJSON{}}
	for i, m := range f.months {
		j := seasonMonthJSON{
			Month: i + 1, Days: m.Days, Sealable: m.Sealable, Full: m.Full, Binding: string(m.Binding()),
			Stopped: map[string]int{}, Unknown: m.Unknown, BayM2: math.Round(meanBay(m)*10) / 10,
			Work: m.Work, WorkSeal: m.WorkSealable, Jobs: math.Round(m.Jobs(f.area, f.years)*10) / 10,
		}
		if from, to, ok := m.Window(); ok {
			j.From, j.To = &from, &to
		}
		for l, n := range m.Causes {
			j.Stopped[string(l)] = n
		}
		for k, year := range f.called {
			c := year[i]
			j.Called = append(j.Called, seasonCallsJSON{spreads[k], c.Go, c.Hold, c.Laid, c.Held, c.Full, c.Rained, c.Unknown})
		}
		out.Months = append(out.Months, j)
	}
	return out
}

// meanBay gives the mean area in m² that a day takes of the roof, 0 where no
// day was judged.
func meanBay(m season.Month) float64 {
	if m.Days == 0 {
		return 0
	}
	return m.BayM2 / float64(m.Days)
}

// text prints the table of one record and area.
func (c *seasonCmd) text(s *session, f seasonOf) {
	s.printf("%s: %g m², %s, %d hands, profile %s\n\n", f.station.id, f.area, c.Work, c.Crew, c.Profile)
	head := "month  days  sealable      full          bay  on site        jobs  binding"
	for k := range f.called {
		head += fmt.Sprintf("%-26s", fmt.Sprintf("    spread %g", spreads[k]))
	}
	s.printf("%s\n", strings.TrimRight(head, " "))
	year, jobs := season.Month{}, 0.0
	calls := make([]season.Called, len(f.called))
	for i, m := range f.months {
		row := make([]season.Called, len(f.called))
		for k := range f.called {
			row[k] = f.called[k][i]
			calls[k].Add(row[k])
		}
		year.Add(m)
		jobs += m.Jobs(f.area, f.years)
		s.printf("%s\n", textRow(time.Month(i + 1).String()[:3], m, m.Jobs(f.area, f.years), row))
	}
	s.printf("%s\n\n", textRow("year", year, jobs, calls))
	s.printf("on site = the usual first and last time from which it is still sealed; jobs = what one crew can expect to finish on its working days, reckoned at %.0f %% of the sealable ones, since forecasts are what they are (52 to 57 measured, docs/limits-tables.md).\n", season.Caught*100)
	if len(f.called) > 0 {
		s.printf("called = called go the evening before; laid = go after the second look; held = sealed by the record; rain = rain on the open roof.\n")
	}
	s.printf("Days are judged by the record itself: what was is no promise. The resin maker's data sheet, local codes and licensed practice govern.\n\n")
}

func textRow(name string, m season.Month, jobs float64, calls []season.Called) string {
	row := fmt.Sprintf("%-5s %5d %5d %3s %% %5d %3s %% %5.1f m²  %-11s %6.1f  %-17s", name, m.Days, m.Sealable, share(m.Sealable, m.Days-m.Unknown),
		m.Full, share(m.Full, m.Days-m.Unknown), meanBay(m), onSite(m), jobs, m.Binding())
	for _, c := range calls {
		row += fmt.Sprintf("  called %d laid %d held %d rain %d", c.Go, c.Laid, c.Held, c.Rained)
	}
	return strings.TrimRight(row, " ")
}

// onSite gives the usual times on site, "07:30-10:00".
func onSite(m season.Month) string {
	from, to, ok := m.Window()
	if !ok {
		return "-"
	}
	return from.String() + "-" + to.String()
}

// share gives n of m in whole %, a dash of nothing.
func share(n, m int) string {
	if m <= 0 {
		return "-"
	}
	return fmt.Sprintf("%.0f", 100*float64(n)/float64(m))
}

// markdown prints tables with a row for each record: perfect knowledge first,
// then each spread, area by area.
func (c *seasonCmd) markdown(s *session, all []seasonOf) {
	for _, area := range c.Area {
		s.printf("#### %g m²: sealable / topcoated the same day, %% of days\n\n", area)
		c.table(s, all, area, func(f seasonOf, from, to int) string {
			m := sumMonths(f.months[from:to])
			return share(m.Sealable, m.Days-m.Unknown) + " / " + share(m.Full, m.Days-m.Unknown)
		})
		s.printf("#### %g m²: what stopped most days; mean bay, m²\n\n", area)
		c.table(s, all, area, func(f seasonOf, from, to int) string {
			m := sumMonths(f.months[from:to])
			return fmt.Sprintf("%s %d; %.0f", m.Binding(), m.Causes[m.Binding()], meanBay(m))
		})
		if c.Members == 0 {
			s.printf("#### %g m²: usual time on site; jobs that one crew can expect to finish\n\n", area)
			c.table(s, all, area, func(f seasonOf, from, to int) string {
				jobs := 0.0
				for _, m := range f.months[from:to] {
					jobs += m.Jobs(area, f.years)
				}
				m := sumMonths(f.months[from:to])
				return fmt.Sprintf("%s; %.1f", onSite(m), jobs)
			})
			continue
		}
		for k := range spreads {
			s.printf("#### %g m², %d members, spread %g: called go · laid · held · rained open, days\n\n", area, c.Members+1, spreads[k])
			c.table(s, all, area, func(f seasonOf, from, to int) string {
				x := sumCalled(f.called[k][from:to])
				return fmt.Sprintf("%d · %d · %d · %d", x.Go, x.Laid, x.Held, x.Rained)
			})
		}
	}
}

// table prints one table: a cell for each month and one for the year.
func (c *seasonCmd) table(s *session, all []seasonOf, area float64, cell func(f seasonOf, from, to int) string) {
	s.printf("| station |")
	for m := time.January; m <= time.December; m++ {
		s.printf(" %s |", m.String()[:3])
	}
	s.printf(" year |\n|---|%s\n", strings.Repeat("---|", 13))
	for _, f := range all {
		if f.area != area {
			continue
		}
		s.printf("| %s |", f.station.id)
		for m := range 12 {
			s.printf(" %s |", cell(f, m, m+1))
		}
		s.printf(" %s |\n", cell(f, 0, 12))
	}
	s.printf("\n")
}

func sumMonths(ms []season.Month) (out season.Month) {
	for _, m := range ms {
		out.Add(m)
	}
	return out
}

func sumCalled(ms []season.Called) (out season.Called) {
	for _, m := range ms {
		out.Add(m)
	}
	return out
}
