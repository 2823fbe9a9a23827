package main

import (
	"context"
	"fmt"

	"laycast/forecast"
	"laycast/forecast/replay"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/scheduler"
	"laycast/scheduler/verify"
)

// warnFroms are the shares of members that are tried as the one to warn from.
func warnFroms() []float64 {
	return []float64{0.06, 0.08, 0.1, scheduler.WarnFrom, 0.15, 0.2, 0.3, 0.5}
}

// stationCover is how the watch did at one station.
type stationCover struct {
	station string
	days    []verify.OpenDay
}

type coverJSON struct {
	Station  string  `json:"station"`
	WarnFrom float64 `json:"warn_from"`
	Days     int     `json:"open_days"`
	Rain     int     `json:"rain_while_open"`
	InTime   int     `json:"warned_in_time"`
	Late     int     `json:"warned_late"`
	Heavy    int     `json:"heavy"`
	HeavyHit int     `json:"heavy_warned"`
	False    int     `json:"false_alarms"`
	LeadMin  int     `json:"lead_min"`
}

// coverUps lives through the records and watches every roof that was called go.
func (c *skillCmd) coverUps(ctx context.Context, s *session) error {
	say := &progress{s: s, on: true}
	var all []verify.OpenDay
	var by []stationCover
	for _, path := range c.Weather {
		x := stationCover{}
		err := c.years(ctx, path, c.Scale[0], func(st station, src *replay.Source, year int) error {
			x.station = st.id
			f := issuer{ctx, src, forecast.CellOf(st.lat, st.lon, st.elevation), c.Alone}
			days, err := verify.OpenDays(referenceRoof(st), src, f, skill.NewLearner(st.lon), job.Date{Year: year, Month: 1, Day: 2},
				job.Date{Year: year, Month: 12, Day: 30}, func(d job.Date) { say.month(st.id, d) })
			x.days = append(x.days, days...)
			return err
		})
		if err != nil {
			return err
		}
		by, all = append(by, x), append(all, x.days...)
	}
	if c.JSON {
		return s.printJSON(coverJSONOf(by))
	}
	c.coverTable(s, by, all)
	return nil
}

// coverTable prints every share that was tried for all stations together, and the
// one that is used for each.
func (c *skillCmd) coverTable(s *session, by []stationCover, all []verify.OpenDay) {
	head, row := "%-24s %5s %6s %6s %8s %5s %6s %7s %12s %8s\n", "%-24s %5.2f %6d %6d %8d %5d %6d %7s %12d %8s\n"
	if c.Markdown {
		head = "| %s | %s | %s | %s | %s | %s | %s | %s | %s | %s |\n|---|---|---|---|---|---|---|---|---|---|\n"
		row = "| %s | %.2f | %d | %d | %d | %d | %d | %s | %d | %s |\n"
	}
	line := func(name string, k verify.CoverUps) {
		s.printf(row, name, k.WarnFrom, k.Days, k.Rain, k.InTime, k.Late, k.Rain-k.InTime-k.Late, fmt.Sprintf("%d of %d", k.HeavyHit, k.Heavy), k.False, fmt.Sprintf("%d min", k.LeadMin))
	}
	s.printf(head, "station", "from", "open", "rain", "in time", "late", "missed", "1 mm +", "false alarms", "lead")
	for _, from := range warnFroms() {
		line("all", verify.Count(all, from))
	}
	for _, x := range by {
		line(x.station, verify.Count(x.days, scheduler.WarnFrom))
	}
}

func coverJSONOf(by []stationCover) (out []coverJSON) {
	for _, x := range by {
		for _, from := range warnFroms() {
			k := verify.Count(x.days, from)
			out = append(out, coverJSON{x.station, from, k.Days, k.Rain, k.InTime, k.Late, k.Heavy, k.HeavyHit, k.False, k.LeadMin})
		}
	}
	return out
}
