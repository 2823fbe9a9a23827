package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	made "laycast/forecast/replay"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/replay"
)

type replayCmd struct {
	Weather []string `sep:"none" required:"" help:"Weather record, hourly, in UTC; may be given more than once." placeholder:"FILE.csv"`
	Jobs    []int    `help:"Jobs booked over a season; may be given more than once." default:"100,160"`
	Crews   int      `help:"Crews of four hands." default:"3"`
	Seed    uint64   `help:"Seed of the jobs and of the forecasts' errors." default:"1"`
	Days    int      `help:"Days of a season." default:"84"`
	From    string   `help:"First day of the season, month and day." default:"04-03" placeholder:"MM-DD"`
	Members int      `help:"Members of the replayed forecasts, besides a control." default:"50"`
	Spread  float64  `help:"Spread of the members: 1 as wide as the errors and judged as they come, 0.5 as narrow as raw ensembles are and dressed." default:"1"`
	Policy  []string `help:"Ways of booking to try; may be given more than once." enum:"laycast,bold,fixed,greedy,perfect" default:"laycast,bold,fixed,greedy,perfect"`
	Losses  bool     `help:"Say also what became of the crews' days, where the daemon decided."`
	placeFlags
	JSON     bool `help:"Print JSON." xor:"form"`
	Markdown bool `help:"Print tables for a page of documentation." xor:"form"`
}

// Help shows examples.
func (replayCmd) Help() string {
	return "The rolling benchmark: whole seasons on recorded weather, each lived through by the daemon's own tasks on made-up forecasts of it, and on the same jobs and forecasts by a bold daemon (it goes from the bounds of its no-go), by a fixed calendar, by the greedy best day, and by the daemon with a perfect forecast. " +
		"The share is of what a clairvoyant, who knows the weather and every job beforehand, could at most have gained over doing nothing. No configuration is needed.\n\n" +
		"Examples:\n  laycast replay --weather dublin_2017.csv\n  laycast replay --weather dublin_2017.csv --jobs 60 --crews 2 --from 05-01 --days 56 --json\n  laycast replay --weather quay.csv --lat 53.3 --lon -6.2 --zone Europe/Dublin --seed 7"
}

// Run lives through a season for every year of every record and every load.
func (c *replayCmd) Run(ctx context.Context, s *session) error {
	from, err := c.valid()
	if err != nil {
		return usageError{err}
	}
	seasons, err := c.seasons(from)
	if err != nil {
		return err
	}
	bar := newBar(s.Err, len(seasons)*c.Days*len(c.policies()))
	var out []replay.Result
	for _, x := range seasons {
		r, err := replay.Run(ctx, x, c.policies(), func() { bar.step(x.Name) })
		if err != nil {
			bar.end()
			return err
		}
		out = append(out, r)
	}
	bar.end()
	switch {
	case c.JSON:
		return s.printJSON(c.json(out))
	default:
		c.table(s, out)
	}
	return nil
}

// policies gives those that are asked for, in the order of the table.
func (c *replayCmd) policies() []replay.Policy {
	return slices.DeleteFunc(replay.Policies(), func(p replay.Policy) bool {
		return !slices.Contains(c.Policy, strings.Fields(string(p))[0])
	})
}

// valid refuses what no season can be, and gives its first day (of no year).
func (c *replayCmd) valid() (time.Time, error) {
	from, err := time.Parse("01-02", c.From)
	if err != nil {
		return from, fmt.Errorf("--from %q: give month and day, such as 04-03", c.From)
	}
	for _, n := range c.Jobs {
		if n < 1 || n > 1000 {
			return from, fmt.Errorf("--jobs %d: give 1 to 1000", n)
		}
	}
	switch {
	case c.Crews < 1 || c.Crews > 30:
		return from, fmt.Errorf("--crews %d: give 1 to 30", c.Crews)
	case c.Days < 14 || c.Days > 300:
		return from, fmt.Errorf("--days %d: give 14 to 300", c.Days)
	case c.Members < rules.LeastMembers || c.Members > 200:
		return from, fmt.Errorf("--members %d: give %d to 200", c.Members, rules.LeastMembers)
	case !(c.Spread > 0 && c.Spread <= 2):
		return from, fmt.Errorf("--spread %g: give more than 0, at most 2", c.Spread)
	}
	return from, nil
}

// seasons makes the seasons that are asked for.
func (c *replayCmd) seasons(from time.Time) ([]replay.Season, error) {
	var out []replay.Season
	for _, path := range c.Weather {
		st, err := c.place(path)
		if err != nil {
			return nil, err
		}
		years, err := readYears(path, st)
		if err != nil {
			return nil, err
		}
		for _, rec := range years {
			src, err := made.New(rec, made.Options{Seed: c.Seed, ID: st.id, Members: c.Members, Spread: c.Spread, Drawn: true})
			if err != nil {
				return nil, fmt.Errorf("weather record %s: %w", path, err)
			}
			for _, n := range c.Jobs {
				x := replay.Season{
					Name: fmt.Sprintf("%s, %d jobs", st.id, n), Weather: src, Calibrated: c.Spread == 1, Firm: replay.Firm(st.zone.String()), Zone: st.zone,
					From: job.Date{Year: rec.Rows[0].At.Year(), Month: from.Month(), Day: from.Day()}, Days: c.Days,
				}
				plot := replay.Plot{Seed: c.Seed, Jobs: n, Crews: c.Crews, Lat: st.lat, Lon: st.lon, ElevM: st.elevation}
				x.Crews, x.Jobs = replay.Invent(plot, x.Firm, x.From, x.Days)
				out = append(out, x)
			}
		}
	}
	return out, nil
}

// bar draws how far a long run has come, on a terminal only.
type bar struct {
	to        io.Writer // nil: nobody looks
	all, done int
	drawn     int
}

func newBar(w io.Writer, all int) *bar {
	b := &bar{all: max(all, 1)}
	if f, ok := w.(*os.File); ok {
		if st, err := f.Stat(); err == nil && st.Mode()&os.ModeCharDevice != 0 {
			b.to = w
		}
	}
	return b
}

// barWide is how many characters the bar takes.
const barWide = 40

func (b *bar) step(what string) {
	b.done++
	full := b.done * barWide / b.all
	if b.to == nil || full == b.drawn && b.done%10 != 0 {
		return
	}
	b.drawn = full
	fmt.Fprintf(b.to, "\r[%s%s] %3d %%  %-40.40s", strings.Repeat("#", full), strings.Repeat(".", barWide-full), 100*b.done/b.all, what)
}

func (b *bar) end() {
	if b.to != nil {
		fmt.Fprintf(b.to, "\r%*s\r", barWide+52, "")
	}
}
