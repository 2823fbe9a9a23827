package main

import (
	"context"
	"errors"
	"math"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/rules/mix"
	"laycast/scheduler"
)

type mixCmd struct {
	Job     string   `arg:"" optional:"" help:"Id of the job."`
	Temp    *float64 `help:"For this temperature of the deck in °C instead of a job's forecast." placeholder:"C"`
	On      string   `help:"The day of the visit; else the planned one, else tomorrow." placeholder:"DATE"`
	Now     string   `help:"As if it were this time (RFC 3339); nothing is stored."`
	Crew    int      `help:"With --temp: hands in the crew." default:"2"`
	Profile string   `help:"With --temp: profile of laying limits, for its gel time." default:"polyester"`
	JSON    bool     `help:"Print JSON."`
}

// Help shows examples.
func (mixCmd) Help() string {
	return "The doses are your own table's (dose in the file of materials: laycast load --yaml); the time is your own gel time's (cure.gel in the profile), carried to the deck's temperature. Outside the table no dose is given.\n\n" +
		"Examples:\n  laycast mix J-001\n  laycast mix --temp 14\n  laycast mix --temp 14 --json\n\n" +
		"The resin maker's data sheet governs. Measure the deck before each batch and go by that."
}

// Run prints a mix card.
func (c *mixCmd) Run(ctx context.Context, s *session) error {
	switch {
	case (c.Temp == nil) == (c.Job == ""):
		return usageError{errors.New("name a job, as in laycast mix J-001, or give the deck's temperature, as in laycast mix --temp 14")}
	case c.Temp != nil:
		return c.one(s)
	}
	return c.day(ctx, s)
}

// one prints the line for one temperature. It needs no configuration.
func (c *mixCmd) one(s *session) error {
	m, err := s.materials()
	if err != nil {
		return err
	}
	profiles, err := s.profilesOf()
	if err != nil {
		return err
	}
	p, err := profiles.Named(c.Profile)
	if err != nil {
		return usageError{err}
	}
	l := m.Recipe().At(p, c.Crew, *c.Temp)
	if c.JSON {
		out := mixToJSON(l)
		out.Cautions = mix.Cautions()
		return s.printJSON(out)
	}
	s.printf("%s\n", l.Words())
	printWarnings(s, l, "  ")
	printCautions(s)
	return nil
}

// day prints the card for the hours of a visit.
func (c *mixCmd) day(ctx context.Context, s *session) error {
	h, b, err := s.book(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	j, err := findJob(b, c.Job)
	if err != nil {
		return err
	}
	m, err := h.materials()
	if err != nil {
		return err
	}
	profiles, err := h.profiles()
	if err != nil {
		return err
	}
	p, err := profiles.Named(j.Profile)
	if err != nil {
		return err
	}
	zone, err := job.LoadZone(h.firm.Zone)
	if err != nil {
		return err
	}
	now, pretended, err := h.now(ctx, c.Now)
	if err != nil {
		return err
	}
	day, err := visitDay(h.firm, b, j, c.On, now, zone)
	if err != nil {
		return err
	}
	issues, err := s.issues(ctx, h, []job.Booking{j}, now, pretended, c.Now != "")
	if err != nil {
		return err
	}
	f, err := verdict(ctx, h, b, j, issues[scheduler.CellOf(j.Site)], now, day)
	if err != nil {
		return err
	}
	found := f.days[0]
	var work []rules.Hour
	for _, x := range found.hours {
		if !x.At.Before(job.Instant(day, h.firm.Work.From, zone).Truncate(time.Hour)) && x.At.Before(job.Instant(day, h.firm.Work.To, zone)) {
			work = append(work, x)
		}
	}
	lines := m.Recipe().Card(p, handsFor(b, j), work, found.Stages)
	if c.JSON {
		return s.printJSON(cardToJSON(j.ID, day, lines))
	}
	s.printf("%s  %s, %s\nFrom the middle of the forecast; * is when the plan mixes. Measure the deck and go by that.\n\n", j.ID, j.Title, day.Words())
	if len(lines) == 0 {
		s.printf("There is no forecast for that day yet.\n")
	}
	for _, l := range lines {
		mark := " "
		if l.Stage != "" {
			mark = "*"
		}
		s.printf("%s%s %s\n", f.hm(l.At), mark, l.Words())
		printWarnings(s, l, "       ")
	}
	printCautions(s)
	return nil
}

func printWarnings(s *session, l mix.Line, indent string) {
	for _, w := range l.Warnings {
		s.printf("%s! %s\n", indent, w)
	}
}

func printCautions(s *session) {
	s.printf("\n")
	for _, w := range mix.Cautions() {
		s.printf("%s\n", w)
	}
}

// profilesOf gives the profiles of the configuration, none where there is no
// configuration.
func (s *session) profilesOf() (rules.Profiles, error) {
	cfg, err := s.configIfAny()
	if err != nil || cfg.ProfilesDir == "" {
		return nil, err
	}
	return loadProfiles(cfg.ProfilesDir)
}

// The JSON of `mix`; DESIGN section 13 fixes temp_c, dose_pct and gel_min.
type mixJSON struct {
	At       any          `json:"at,omitempty"`
	Stage    rules.Stage  `json:"stage,omitempty"`
	TempC    *float64     `json:"temp_c"`   // null where the deck's temperature is not known
	DosePct  *float64     `json:"dose_pct"` // null: none is given, warnings say why
	MlPerKg  *float64     `json:"ml_per_kg"`
	GelMin   *float64     `json:"gel_min"`
	WorkMin  *float64     `json:"work_min"`
	Resin    *portionJSON `json:"resin"`
	Topcoat  *portionJSON `json:"topcoat"`
	Warnings []string     `json:"warnings"`
	Cautions []string     `json:"cautions,omitempty"`
}

type portionJSON struct {
	AreaM2 float64 `json:"area_m2"`
	Kg     float64 `json:"kg"`
	Ml     float64 `json:"catalyst_ml"`
}

type cardJSON struct {
	Job      string    `json:"job"`
	Date     job.Date  `json:"date"`
	Hours    []mixJSON `json:"hours"`
	Cautions []string  `json:"cautions"`
}

func cardToJSON(id string, d job.Date, lines []mix.Line) cardJSON {
	out := cardJSON{Job: id, Date: d, Hours: []mixJSON{}, Cautions: mix.Cautions()}
	for _, l := range lines {
		x := mixToJSON(l)
		x.At = stamp(l.At)
		out.Hours = append(out.Hours, x)
	}
	return out
}

func mixToJSON(l mix.Line) mixJSON {
	out := mixJSON{Stage: l.Stage, Warnings: append([]string{}, l.Warnings...)}
	if !math.IsNaN(l.DeckC) && !math.IsInf(l.DeckC, 0) {
		c := rounded(l.DeckC)
		out.TempC = &c
	}
	if l.DosePct == 0 {
		return out
	}
	out.DosePct, out.MlPerKg, out.GelMin, out.WorkMin = &l.DosePct, &l.MlPerKg, &l.GelMin, &l.WorkMin
	if l.Resin.Kg > 0 {
		out.Resin = &portionJSON{l.Resin.AreaM2, l.Resin.Kg, l.Resin.Ml}
	}
	if l.Topcoat.Kg > 0 {
		out.Topcoat = &portionJSON{l.Topcoat.AreaM2, l.Topcoat.Kg, l.Topcoat.Ml}
	}
	return out
}
