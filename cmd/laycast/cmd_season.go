package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"runtime"
	"slices"
	"sync"
	"time"

	"laycast/forecast"
	"laycast/forecast/replay"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler"
	"laycast/scheduler/season"
)

type seasonCmd struct {
	Weather []string  `required:"" sep:"none" help:"Weather record, hourly, in UTC; may be given more than once." placeholder:"FILE.csv"`
	Area    []float64 `help:"Area of the roof in m²; may be given more than once." default:"20"`
	Work    string    `help:"Kind of work: replace, overboard, relaminate, balcony." enum:"replace,overboard,relaminate,balcony" default:"replace"`
	Profile string    `help:"Profile of laying limits." default:"polyester"`
	Crew    int       `help:"Hands in the crew." default:"2"`
	Members int       `help:"Also replay the year: forecasts of so many members and a control, the evening's call and the second look for every day."`
	Seed    uint64    `help:"Seed of the replayed forecasts' errors." default:"1"`
	placeFlags
	Picture  string `help:"Write a picture of the year to this file; one record and one area only." placeholder:"FILE.svg"`
	JSON     bool   `help:"Print JSON: one object, or a list where several records or areas are asked for." xor:"form"`
	Markdown bool   `help:"Print tables of all records for a page of documentation." xor:"form"`
}

// Help shows examples.
func (seasonCmd) Help() string {
	return "Laying days by month, from a record of weather; no configuration is needed. Sealable: days with a time on site from which a roof of that area, or its next bay where a day does not take it all, is sealed by evening, by a crew that knows the weather. " +
		"With --members the whole year is called as the daemon would, on made-up forecasts of the recorded weather, once with members as narrow as raw ensembles are (spread 0.5) and once calibrated (1).\n\n" +
		"Examples:\n  laycast season --weather dublin_2017.csv --area 20\n  laycast season --weather quay.csv --lat 53.3 --lon -6.2 --zone Europe/Dublin --members 18 --json\n  laycast season --weather dublin_2017.csv --picture year.svg\n\n" +
		"The JSON of your own place, kept in a file that laycast.yaml names as season, lets the plan and the week mail say when the book is fuller than the season.\n\n" +
		"What was is no promise of what will be. The resin maker's data sheet, local codes and licensed practice govern."
}

// spreads are the spreads of members that a year is replayed with: about that
// of raw ensembles, and calibrated.
var spreads = []float64{0.5, 1}

// seasonOf is what was found for one record and one area.
type seasonOf struct {
	station station
	area    float64
	years   int // that the months are summed over
	months  [12]season.Month
	called  [][12]season.Called // for each spread; nil without members
}

// Run counts the laying days of every record.
func (c *seasonCmd) Run(ctx context.Context, s *session) error {
	if err := c.valid(); err != nil {
		return usageError{err}
	}
	p, err := rules.ProfileNamed(c.Profile)
	if err != nil {
		return usageError{err}
	}
	found := make([][]seasonOf, len(c.Weather))
	errs := make([]error, len(c.Weather))
	say := &progress{s: s, on: c.Members > 0}
	var wait sync.WaitGroup
	slots := make(chan struct{}, runtime.GOMAXPROCS(0))
	for i, path := range c.Weather {
		wait.Go(func() {
			slots <- struct{}{}
			defer func() { <-slots }()
			found[i], errs[i] = c.record(ctx, path, p, say)
		})
	}
	wait.Wait()
	if err := errors.Join(errs...); err != nil {
		return err
	}
	all := slices.Concat(found...)
	if c.Picture != "" {
		f := all[0]
		svg := season.Picture(fmt.Sprintf("%s: laying days", f.station.id), f.months, f.area, f.years)
		if err := os.WriteFile(c.Picture, []byte(svg), 0o644); err != nil {
			return fmt.Errorf("write the picture: %w", err)
		}
	}
	switch {
	case c.JSON && len(all) == 1:
		return s.printJSON(all[0].json())
	case c.JSON:
		list := make([]seasonJSON, 0, len(all))
		for _, f := range all {
			list = append(list, f.json())
		}
		return s.printJSON(list)
	case c.Markdown:
		c.markdown(s, all)
	default:
		for _, f := range all {
			c.text(s, f)
		}
	}
	return nil
}

// valid refuses what no roof, crew or ensemble can be.
func (c *seasonCmd) valid() error {
	for _, a := range c.Area {
		if !(a >= 1 && a <= 10000) {
			return fmt.Errorf("--area %g: give 1 to 10000 m²", a)
		}
	}
	if c.Picture != "" && len(c.Weather)*len(c.Area) != 1 {
		return errors.New("--picture draws one record and one area; give one --weather and one --area")
	}
	if c.Crew < 2 || c.Crew > 20 {
		return fmt.Errorf("--crew %d: give 2 to 20 hands; nobody laminates alone", c.Crew)
	}
	if c.Members != 0 && (c.Members < rules.LeastMembers || c.Members > 200) {
		return fmt.Errorf("--members %d: give %d to 200, or none", c.Members, rules.LeastMembers)
	}
	return nil
}

// progress tells on stderr how far a long run has come.
type progress struct {
	mu sync.Mutex
	s  *session
	on bool
}

// month says which month of a year is done.
func (p *progress) month(what string, d job.Date) {
	if next := d.AddDays(1); !p.on || next.Month == d.Month {
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	fmt.Fprintf(p.s.Err, "laycast: %s: %s %d done\n", what, d.Month, d.Year)
}

// record counts the laying days of one record, for every area.
func (c *seasonCmd) record(ctx context.Context, path string, p rules.Profile, say *progress) ([]seasonOf, error) {
	st, err := c.place(path)
	if err != nil {
		return nil, err
	}
	years, err := readYears(path, st)
	if err != nil {
		return nil, err
	}
	place := c.seasonPlace(st, p)
	out := make([]seasonOf, len(c.Area))
	for i := range out {
		out[i] = seasonOf{station: st, area: c.Area[i], years: len(years)}
		if c.Members > 0 {
			out[i].called = make([][12]season.Called, len(spreads))
		}
	}
	for _, rec := range years {
		if err := c.year(ctx, st, rec, place, out, say); err != nil {
			return nil, fmt.Errorf("weather record %s: %w", path, err)
		}
	}
	return out, nil
}

// year adds one year of a record to what was found.
func (c *seasonCmd) year(ctx context.Context, st station, rec replay.Record, place season.Place, out []seasonOf, say *progress) error {
	year := rec.Rows[0].At.Year()
	from, to := job.Date{Year: year, Month: time.January, Day: 1}, job.Date{Year: year, Month: time.December, Day: 31}
	truth, err := replay.New(rec, replay.Options{Seed: c.Seed, ID: st.id})
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	known := place.Known(truth, from, to, func(d job.Date) { say.month(st.id+", perfect knowledge", d) })
	for i := range out {
		for m := range known[i] {
			out[i].months[m].Add(known[i][m])
		}
	}
	if c.Members == 0 {
		return nil
	}
	for k, spread := range spreads {
		src, err := replay.New(rec, replay.Options{Seed: c.Seed, ID: st.id, Members: c.Members, Spread: spread})
		if err != nil {
			return err
		}
		f := issuer{ctx: ctx, src: src, cell: forecast.CellOf(st.lat, st.lon, st.elevation)}
		called, err := place.Called(truth, f, from, to, func(d job.Date) { say.month(fmt.Sprintf("%s, spread %g", st.id, spread), d) })
		if err != nil {
			return err
		}
		for i := range out {
			for m := range called[i] {
				out[i].called[k][m].Add(called[i][m])
			}
		}
	}
	return nil
}

// issuer asks a replay for the issue of one cell, as the fetching commands do.
type issuer struct {
	ctx  context.Context
	src  *replay.Source
	cell forecast.Cell
	// alone makes it a source without an ensemble: one run, without the sun's
	// radiation and the chance of rain that an ensemble lends it.
	alone bool
}

// Issue gives the issue that stands at now.
func (f issuer) Issue(now time.Time) (forecast.Issue, error) {
	runs, err := fetchAll(f.ctx, replaySource{f.src}, []forecast.Cell{f.cell}, nil, now)
	if err != nil {
		return forecast.Issue{}, err
	}
	is := scheduler.Issues(runs)[f.cell]
	if f.alone && is.Det != nil {
		det := *is.Det
		det.Hours.Cols[forecast.Solar], det.Hours.Cols[forecast.RainChance] = nil, nil
		is = forecast.Issue{Source: is.Source, Det: &det, DetOnly: true}
	}
	return is, nil
}

// seasonPlace makes the roof and the firm that are asked about.
func (c *seasonCmd) seasonPlace(st station, p rules.Profile) season.Place {
	f := job.DefaultFirm()
	f.UID, f.Name, f.Zone = "season", "Season", st.zone.String()
	deck := map[job.Work]job.Deck{job.Replace: job.NewBoard, job.Overboard: job.Felt, job.Relaminate: job.GRP, job.Balcony: job.Concrete}
	j := job.Job{ID: "season", Title: "season", Profile: c.Profile}
	j.Site = job.Site{Lat: st.lat, Lon: st.lon, ElevationM: st.elevation, Zone: f.Zone}
	j.Roof.Work = job.Work(c.Work)
	j.Roof.Deck = deck[j.Roof.Work]
	return season.Place{Firm: f, Zone: st.zone, Job: j, Areas: c.Area, Crew: c.Crew, Profile: p}
}
