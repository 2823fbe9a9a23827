package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/rules/load"
	"laycast/scheduler/ledger"
)

type loadCmd struct {
	Job    string `arg:"" optional:"" help:"Id of the job."`
	Bay    bool   `help:"Only what the visit's next bay takes."`
	On     string `help:"With --bay: the day of the visit, else the planned one." placeholder:"DATE"`
	SVG    string `name:"svg" help:"Write the plan of the mat's strips to this file." placeholder:"FILE"`
	Ratios bool   `help:"Print every ratio of the materials with its source instead."`
	YAML   bool   `name:"yaml" help:"Print the built-in file of materials, to be copied and changed."`
	JSON   bool   `help:"Print JSON."`
}

// Help shows examples.
func (loadCmd) Help() string {
	return "Your own ratios, packs and prices: laycast load --yaml > materials.yaml, change it, and set materials: materials.yaml in laycast.yaml.\n\n" +
		"Examples:\n  laycast load J-001\n  laycast load J-001 --bay --json\n  laycast load J-001 --svg strips.svg\n  laycast load --ratios\n\n" +
		"Reckoned, not measured. The resin maker's data sheet, local codes and licensed practice govern."
}

// Run prints the load list of one job.
func (c *loadCmd) Run(ctx context.Context, s *session) error {
	if c.YAML {
		s.printf("%s", load.YAML())
		return nil
	}
	if c.Ratios {
		return c.ratios(s)
	}
	if c.Job == "" {
		return usageError{errors.New("name a job, as in laycast load J-001; laycast job list shows all")}
	}
	h, b, err := s.book(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	j, err := findJob(b, c.Job)
	if err != nil {
		return err
	}
	l, err := c.list(ctx, h, b, j)
	if err != nil {
		return err
	}
	if c.SVG != "" {
		if len(l.Strips.Strips) == 0 {
			return fmt.Errorf("%s takes no mat any more, so there is no plan of strips to write", j.ID)
		}
		if err := os.WriteFile(c.SVG, []byte(l.Strips.SVG()), 0o644); err != nil {
			return fmt.Errorf("write the plan of strips: %w", err)
		}
	}
	if c.JSON {
		return s.printJSON(loadToJSON(j.ID, l, h.firm.Costs.Currency))
	}
	printLoad(s, j, l, h.firm.Costs.Currency)
	return nil
}

// list reckons what the job, or its visit's next bay, takes.
func (c *loadCmd) list(ctx context.Context, h *house, b ledger.Book, j job.Booking) (load.List, error) {
	m, err := h.materials()
	if err != nil {
		return load.List{}, err
	}
	profiles, err := h.profiles()
	if err != nil {
		return load.List{}, err
	}
	p, err := profiles.Named(j.Profile)
	if err != nil {
		return load.List{}, err
	}
	zone, err := job.LoadZone(h.firm.Zone)
	if err != nil {
		return load.List{}, err
	}
	k := rules.Case{Job: j, Crew: handsFor(b, j), Profile: p, Hours: h.firm.Work, Zone: zone}
	if !c.Bay {
		return m.Whole(j.Roof, p, k.Crew, k.Bays()), nil
	}
	now, _, err := h.now(ctx, "")
	if err != nil {
		return load.List{}, err
	}
	day, err := visitDay(h.firm, b, j, c.On, now, zone)
	if err != nil {
		return load.List{}, err
	}
	bay, ok := k.NextBay(day)
	if !ok {
		return load.List{}, fmt.Errorf("on %s nothing of %s is left that a crew of %d could do in a day", day, j.ID, k.Crew)
	}
	return m.Bay(j, bay, p, k.Crew), nil
}

// visitDay gives the day asked for, else the next one that the plan has for the
// job, else tomorrow.
func visitDay(f job.Firm, b ledger.Book, j job.Booking, on string, now time.Time, zone *time.Location) (job.Date, error) {
	if on != "" {
		d, err := job.ParseDate(on)
		if err != nil {
			return d, usageError{err}
		}
		return d, nil
	}
	today := job.DateOf(now.In(zone))
	for _, v := range b.Visits {
		if v.Job != j.ID {
			continue
		}
		for _, d := range v.Days {
			if v.On(d) && !d.Before(today) {
				return d, nil
			}
		}
	}
	return today.AddDays(1), nil
}

// materials gives the firm's own materials, else the built-in ones.
func (h *house) materials() (load.Materials, error) { return readMaterials(h.cfg.MaterialsFile) }

func readMaterials(path string) (load.Materials, error) {
	if path == "" {
		return load.BuiltIn(), nil
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return load.Materials{}, fmt.Errorf("read the materials: %w", err)
	}
	return load.Decode(path, data)
}

// ratios prints every value of the materials with its source.
func (c *loadCmd) ratios(s *session) error {
	m, err := s.materials()
	if err != nil {
		return err
	}
	if c.JSON {
		out := []valueJSON{}
		for _, v := range m.Values() {
			out = append(out, valueJSON(v))
		}
		return s.printJSON(out)
	}
	s.printf("%s: the maker's data sheet governs.\n\n", m.Name)
	for _, v := range m.Values() {
		s.printf("  %-24s %10s %-20s %s\n", v.Key, v.Value, v.Unit, v.Source)
	}
	return nil
}

// materials gives the materials of the configuration, the built-in ones where
// there is no configuration.
func (s *session) materials() (load.Materials, error) {
	cfg, err := s.configIfAny()
	if err != nil {
		return load.Materials{}, err
	}
	return readMaterials(cfg.MaterialsFile)
}

// configIfAny reads the configuration; where there is none it is empty, for
// commands that can do without.
func (s *session) configIfAny() (Config, error) {
	if _, err := os.Stat(s.configPath); errors.Is(err, os.ErrNotExist) {
		return Config{}, nil
	}
	return LoadConfig(s.configPath, s.Env)
}

func printLoad(s *session, j job.Booking, l load.List, currency string) {
	what := "whole roof"
	switch {
	case l.Task == rules.Coat:
		what = "topcoat"
	case l.AreaM2 < j.Roof.AreaM2-0.005: // areas are kept to the centimetre squared
		what = "next bay"
	}
	s.printf("%s  %s, %s, %.4g m², for %d hands\n\n", j.ID, j.Title, what, l.AreaM2, l.Hands)
	for _, i := range l.Items {
		s.printf("  %-20s %8.6g %-16s %s\n", i.Item, i.Qty, i.Unit, i.Note)
	}
	if l.Priced > 0 {
		s.printf("\nPrice of the %d items that have one, of %d: %s %s.\n", l.Priced, len(l.Items), l.Price, currency)
	}
	if words := l.Strips.Words(); len(words) > 0 {
		s.printf("\n")
		for _, w := range words {
			s.printf("%s\n", w)
		}
	}
	s.printf("\n")
	for _, n := range l.Notes {
		s.printf("%s\n", n)
	}
}

// The JSON of `load`; DESIGN section 13 fixes items.
type loadJSON struct {
	Job      string      `json:"job"`
	Task     rules.Task  `json:"task"`
	AreaM2   float64     `json:"area_m2"`
	Days     int         `json:"days"`
	Hands    int         `json:"hands"`
	Items    []itemJSON  `json:"items"`
	Price    *job.Money  `json:"price"` // of the priced items, null where none is
	Priced   int         `json:"priced"`
	Currency string      `json:"currency"`
	Strips   []stripJSON `json:"strips"`
	Words    []string    `json:"strip_plan"`
	Notes    []string    `json:"notes"`
}

type itemJSON struct {
	Item  string     `json:"item"`
	Qty   float64    `json:"qty"`
	Unit  string     `json:"unit"`
	Note  string     `json:"note"`
	Need  float64    `json:"need"`
	Pack  float64    `json:"pack"`
	Price *job.Money `json:"price"`
}

// stripJSON is a strip of mat in metres from the corner across from an L's
// notch.
type stripJSON struct {
	X      float64 `json:"x_m"`
	Y      float64 `json:"y_m"`
	Width  float64 `json:"width_m"`  // along x
	Length float64 `json:"length_m"` // along y
}

func loadToJSON(id string, l load.List, currency string) loadJSON {
	out := loadJSON{
		Job: id, Task: l.Task, AreaM2: l.AreaM2, Days: l.Days, Hands: l.Hands, Items: []itemJSON{}, Priced: l.Priced,
		Currency: currency, Strips: []stripJSON{}, Words: append([]string{}, l.Strips.Words()...), Notes: l.Notes,
	}
	known := func(m job.Money) *job.Money {
		if m == 0 {
			return nil
		}
		return &m
	}
	out.Price = known(l.Price)
	for _, i := range l.Items {
		out.Items = append(out.Items, itemJSON{i.Item, i.Qty, i.Unit, i.Note, rounded(i.Need), i.Pack, known(i.Price)})
	}
	for _, t := range l.Strips.Strips {
		out.Strips = append(out.Strips, stripJSON{rounded(t.X), rounded(t.Y), rounded(t.W), rounded(t.L)})
	}
	return out
}

// rounded gives a figure to the millimetre, gram or thousandth.
func rounded(x float64) float64 { return math.Round(x*1000) / 1000 }
