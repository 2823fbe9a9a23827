package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"sync"
	"time"

	"laycast/forecast"
	"laycast/forecast/replay"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/verify"
)

type skillCmd struct {
	Weather []string  `sep:"none" help:"Weather record, hourly, in UTC; may be given more than once. Without one it is about the firm's own chances." placeholder:"FILE.csv"`
	Seed    uint64    `help:"Seed of the replayed forecasts' errors." default:"1"`
	Members int       `help:"Members of the replayed forecasts, besides a control." default:"18"`
	Spread  float64   `help:"Spread of the members: 1 as wide as the errors, 0.5 as narrow as raw ensembles are." default:"0.5"`
	Alone   bool      `help:"As a source without an ensemble: one run, dressed; raw is then that run, yes or no."`
	Scale   []float64 `help:"Multiple of the errors; may be given more than once." default:"1"`
	placeFlags
	LearnPast int    `name:"learn-past" help:"Learn how the source errs from what it forecast on so many past days (1 to 40), for every place with a booked job." placeholder:"DAYS"`
	CoverUp   bool   `help:"With --weather: how often the watch over an open roof warned of rain that came, and of rain that did not."`
	JSON      bool   `help:"Print JSON." xor:"form"`
	Markdown  bool   `help:"Print tables for a page of documentation." xor:"form"`
	PNG       string `name:"png" help:"Also write the reliability diagram as PNG." placeholder:"FILE"`
	SVG       string `name:"svg" help:"Also write the reliability diagram as SVG." placeholder:"FILE"`
}

// Help shows examples.
func (skillCmd) Help() string {
	return "How honest the chances are: whether what is given 80 % comes true eight times in ten. Every call is scored, and a roof of 20 m² that is asked for every evening wherever the firm has jobs.\n\nWith --learn-past, the source is asked what it forecast on past days, and what that teaches is kept; done again, nothing counts twice.\n\nWith --weather, no configuration is needed: a recorded year is lived through as the daemon would, on made-up forecasts of it; the first half of the year is learned from, the second is scored. The roof is 20 m², stripped and laid anew by a pair, asked for every day.\n\n" +
		"Examples:\n  laycast skill\n  laycast skill --png chances.png\n  laycast skill --learn-past 40\n  laycast skill --weather dublin_2017.csv\n  laycast skill --weather dublin_2017.csv --scale 0.7 --scale 1.3 --json\n  laycast skill --weather quay.csv --lat 53.3 --lon -6.2 --zone Europe/Dublin --svg quay.svg\n  laycast skill --cover-up --weather dublin_2017.csv\n\n" +
		"A forecast is no permission: the resin maker's data sheet, local codes and licensed practice govern."
}

// referenceM2 is the roof that chances are verified on: what a pair lays in a
// day by common practice, no source.
const referenceM2 = 20

// trial is one scale of errors at every station.
type trial struct {
	scale    float64
	stations []stationSkill
	all      []verify.Row // by lead, every station together; the last is leads 1 to 5
	rain     verify.Row   // of rain while open, leads 1 to 5
}

// stationSkill is how the chances did at one station in the second half-year.
type stationSkill struct {
	station string
	leads   []verify.Row // by lead; the last is leads 1 to 5 together
}

// Run scores the firm's own chances, or verifies every record at every scale.
func (c *skillCmd) Run(ctx context.Context, s *session) error {
	if err := c.valid(); err != nil {
		return usageError{err}
	}
	switch {
	case c.LearnPast != 0:
		return c.past(ctx, s)
	case len(c.Weather) == 0:
		return c.own(ctx, s)
	case c.CoverUp:
		return c.coverUps(ctx, s)
	}
	var trials []trial
	for i, scale := range c.Scale {
		t, err := c.trial(ctx, s, scale)
		if err != nil {
			return err
		}
		if i == 0 {
			if err := c.pictures(t); err != nil {
				return err
			}
		}
		switch { // a trial takes minutes: what is done is shown
		case c.JSON:
			trials = append(trials, t)
		case c.Markdown:
			c.markdown(s, t)
		default:
			c.text(s, t)
		}
	}
	if c.JSON {
		return s.printJSON(skillJSONOf(trials))
	}
	return nil
}

func (c *skillCmd) valid() error {
	if c.LearnPast < 0 || c.LearnPast > pastMost {
		return fmt.Errorf("--learn-past %d: give 1 to %d days", c.LearnPast, pastMost)
	}
	if c.LearnPast > 0 && (len(c.Weather) > 0 || c.PNG != "" || c.SVG != "" || c.Markdown) {
		return errors.New("--learn-past learns and scores nothing: leave out --weather, --png, --svg and --markdown")
	}
	if c.Alone && len(c.Weather) == 0 {
		return errors.New("--alone is about replayed forecasts: give a record with --weather")
	}
	if c.CoverUp && len(c.Weather) == 0 {
		return errors.New("--cover-up needs --weather")
	}
	if c.Members < rules.LeastMembers || c.Members > 200 {
		return fmt.Errorf("--members %d: give %d to 200", c.Members, rules.LeastMembers)
	}
	for _, x := range c.Scale {
		if !(x > 0 && x <= 2) {
			return fmt.Errorf("--scale %g: give more than 0, at most 2", x)
		}
	}
	if !(c.Spread > 0 && c.Spread <= 2) {
		return fmt.Errorf("--spread %g: give more than 0, at most 2", c.Spread)
	}
	return nil
}

// livedYear is what one year of one station gave.
type livedYear struct {
	gs    []verify.Given
	since job.Date // days after it are scored
}

// trial lives through every record, a few at a time.
func (c *skillCmd) trial(ctx context.Context, s *session, scale float64) (trial, error) {
	out := trial{scale: scale, stations: make([]stationSkill, len(c.Weather))}
	years := make([][]livedYear, len(c.Weather))
	errs := make([]error, len(c.Weather))
	say := &progress{s: s, on: true}
	var wait sync.WaitGroup
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, path := range c.Weather {
		wait.Go(func() {
			slots <- struct{}{}
			defer func() { <-slots }()
			out.stations[i].station, years[i], errs[i] = c.record(ctx, path, scale, say)
		})
	}
	wait.Wait()
	if err := errors.Join(errs...); err != nil {
		return out, err
	}
	var all []livedYear
	for i, ys := range years {
		out.stations[i].leads = c.rows(ys)
		all = append(all, ys...)
	}
	out.all = c.rows(all)
	out.rain = c.row(all, ahead, true)
	return out, nil
}

// ahead keeps the chances given on the evenings before.
func ahead(g verify.Given) bool { return g.Lead > 0 }

// rows gives the rows of each lead, and that of leads 1 to 5 together.
func (c *skillCmd) rows(ys []livedYear) (rows []verify.Row) {
	for lead := range verify.Leads {
		rows = append(rows, c.row(ys, func(g verify.Given) bool { return g.Lead == lead }, false))
	}
	return append(rows, c.row(ys, ahead, false))
}

func (c *skillCmd) row(ys []livedYear, keep func(verify.Given) bool, rain bool) verify.Row {
	var parts []verify.Part
	for _, y := range ys {
		parts = append(parts, verify.PartOf(y.gs, y.since, keep, rain))
	}
	return verify.RowOf(parts, c.Seed)
}

// record lives through the years of one record.
func (c *skillCmd) record(ctx context.Context, path string, scale float64, say *progress) (id string, out []livedYear, err error) {
	err = c.years(ctx, path, scale, func(st station, src *replay.Source, year int) error {
		id = st.id
		y := livedYear{since: job.Date{Year: year, Month: time.June, Day: 30}}
		f := issuer{ctx, src, forecast.CellOf(st.lat, st.lon, st.elevation), c.Alone}
		var err error
		y.gs, err = verify.Year(referenceRoof(st), src, f, skill.NewLearner(st.lon), job.Date{Year: year, Month: time.January, Day: 1},
			job.Date{Year: year, Month: time.December, Day: 31}, y.since, func(d job.Date) { say.month(fmt.Sprintf("%s, errors x %g", st.id, scale), d) })
		if err != nil {
			return err
		}
		y.gs = verify.Recalibrate(y.gs, verify.Learn(y.gs, y.since))
		out = append(out, y)
		return nil
	})
	return id, out, err
}

// years hands on the replayed forecasts of every year of a record.
func (c *skillCmd) years(ctx context.Context, path string, scale float64, do func(st station, src *replay.Source, year int) error) error {
	st, err := c.place(path)
	if err != nil {
		return err
	}
	years, err := readYears(path, st)
	if err != nil {
		return err
	}
	for _, rec := range years {
		if err := ctx.Err(); err != nil {
			return err
		}
		src, err := replay.New(rec, replay.Options{Seed: c.Seed, ID: st.id, Members: c.Members, Spread: c.Spread, Scale: scale})
		if err == nil {
			err = do(st, src, rec.Rows[0].At.Year())
		}
		if err != nil {
			return fmt.Errorf("weather record %s: %w", path, err)
		}
	}
	return nil
}

// referenceRoof is the roof that is asked for.
func referenceRoof(st station) verify.Roof {
	p := (&seasonCmd{Profile: "polyester", Work: string(job.Replace), Crew: 2, Area: []float64{referenceM2}}).seasonPlace(st, rules.Polyester())
	return verify.Roof{Case: p.Case(referenceM2), Bounds: p.Firm.Bounds}
}

// pictures writes the diagram of leads 1 to 5.
func (c *skillCmd) pictures(t trial) error {
	row := t.all[verify.Leads]
	d := skill.Diagram{
		Title: "Chance that the roof is sealed, 1 to 5 days ahead", Base: row.Freq,
		Note: fmt.Sprintf("%d chances at %d stations, half a year each; %s", row.N, len(t.stations), c.members()),
		Series: []skill.Series{
			{Name: verify.Recalibrated.String(), Bins: skill.Reliability(row.Ways[verify.Recalibrated].Forecasts, verify.Bins)},
			{Name: verify.Raw.String(), Bins: skill.Reliability(row.Ways[verify.Raw].Forecasts, verify.Bins)},
		},
	}
	return errors.Join(drawTo(c.PNG, d.PNG), drawTo(c.SVG, d.SVG))
}

// drawTo writes a picture to a file, nothing where none is named.
func drawTo(path string, draw func(io.Writer) error) error {
	if path == "" {
		return nil
	}
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("make the picture: %w", err)
	}
	if err := draw(f); err != nil {
		_ = f.Close()
		return err
	}
	return f.Close()
}
