package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"laycast/forecast"
	"laycast/job"
	"laycast/notify"
	"laycast/rules"
	"laycast/scheduler"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

type checkCmd struct {
	Job    string `arg:"" help:"Id of the job."`
	On     string `help:"Only this day, with its hour table." placeholder:"DATE"`
	Now    string `help:"As if it were this time (RFC 3339); nothing is stored."`
	Hours  bool   `help:"Print the hour table of every day."`
	Ribbon string `help:"With --on: draw the day's hour ribbon into this file, SVG or PNG by its name." placeholder:"FILE"`
	JSON   bool   `help:"Print JSON."`
}

// Help shows examples.
func (checkCmd) Help() string {
	return "Examples:\n  laycast check J-001\n  laycast check J-001 --on 2027-04-15\n  laycast check J-001 --on 2027-04-15 --ribbon hours.svg\n\n" +
		"A forecast is no permission: the lead hand decides on site. The resin maker's data sheet, local codes and licensed practice govern."
}

// Run prints the verdict for one job.
func (c *checkCmd) Run(ctx context.Context, s *session) error {
	h, b, err := s.book(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	j, err := findJob(b, c.Job)
	if err != nil {
		return err
	}
	now, pretended, err := h.now(ctx, c.Now)
	if err != nil {
		return err
	}
	issues, err := s.issues(ctx, h, []job.Booking{j}, now, pretended, c.Now != "")
	if err != nil {
		return err
	}
	var only job.Date
	if c.Ribbon != "" && c.On == "" {
		return usageError{errors.New("--ribbon draws one day: say which with --on, as in --on 2027-04-15")}
	}
	if c.On != "" {
		if only, err = job.ParseDate(c.On); err != nil {
			return usageError{err}
		}
	}
	v, err := verdict(ctx, h, b, j, issues[scheduler.CellOf(j.Site)], now, only)
	if err != nil {
		return err
	}
	if c.Ribbon != "" {
		if err := v.draw(c.Ribbon); err != nil {
			return err
		}
	}
	if c.JSON {
		return s.printJSON(v.json())
	}
	v.text(s, c.Hours || c.On != "")
	return nil
}

// finding is the verdict for one job, ready to be printed.
type finding struct {
	firm  job.Firm
	job   job.Booking
	issue forecast.Issue
	now   time.Time
	zone  *time.Location
	days  []foundDay
}

type foundDay struct {
	rules.Day
	outcome call.Outcome
	reasons []string
	hours   []rules.Hour
	view    notify.DayView
}

// mostDays bounds how many days a check looks ahead.
const mostDays = 10

func verdict(ctx context.Context, h *house, b ledger.Book, j job.Booking, is forecast.Issue, now time.Time, only job.Date) (*finding, error) {
	zone, err := time.LoadLocation(h.firm.Zone)
	if err != nil {
		return nil, fmt.Errorf("load zone %s: %w", h.firm.Zone, err)
	}
	f := &finding{firm: h.firm, job: j, issue: is, now: now, zone: zone}
	profiles, err := h.fileProfiles()
	if err != nil {
		return nil, err
	}
	outlook, err := h.season()
	if err != nil {
		return nil, err
	}
	judge := scheduler.New(scheduler.Config{Store: h.db, Profiles: profiles, Season: outlook, Log: zerolog.Nop()})
	if err := judge.Learned(ctx, map[forecast.Cell]forecast.Issue{scheduler.CellOf(j.Site): is}); err != nil {
		return nil, err
	}
	today := job.DateOf(now.In(zone))
	for i := range mostDays {
		d := today.AddDays(i)
		if !only.IsZero() && d != only {
			continue
		}
		day, err := judge.Judge(h.firm, j, handsFor(b, j), d, is, now)
		if err != nil {
			return nil, err
		}
		k := call.DecideEvening(call.Input{Firm: h.firm, Job: j, Date: d, Now: now, Due: now, Day: day, Issue: is})
		hours, err := judge.HourTable(h.firm, j, is, job.Instant(d, 0, zone), job.Instant(d.AddDays(1), 0, zone))
		if err != nil {
			return nil, err
		}
		view, err := judge.HourView(h.firm, j, handsFor(b, j), day, is)
		if err != nil {
			return nil, err
		}
		view.Now = now
		f.days = append(f.days, foundDay{day, k.Outcome, k.Reasons, hours, view})
	}
	if len(f.days) == 0 {
		return nil, usageError{fmt.Errorf("%s does not lie in the %d days from %s", only, mostDays, today)}
	}
	return f, nil
}

// handsFor gives the hands of the crew that would come: the one planned, else
// the first that can do it.
func handsFor(b ledger.Book, j job.Booking) int {
	hands := 0
	for _, c := range b.Crews {
		if c.Has(j.Skill) && hands == 0 {
			hands = c.Size
		}
		for _, v := range b.Visits {
			if v.Job == j.ID && v.Crew == c.ID {
				return c.Size
			}
		}
	}
	if hands == 0 {
		return 2
	}
	return hands
}

// text prints one sentence a day, and the hours where asked.
func (f *finding) text(s *session, hours bool) {
	s.printf("%s  %s, %.4g m², %s\n", f.job.ID, f.job.Title, f.job.Roof.AreaM2, f.job.Roof.Work)
	s.printf("%s", f.strip())
	for _, d := range f.days {
		s.printf("\n%s. %s\n", d.Date.Words(), f.ifCalled(d))
		s.printf("    %s\n", d.Sentence(f.zone))
		for _, x := range d.Failing {
			s.printf("    %d of %d stopped by %s, %s to %s\n", x.Members, d.Members, x.Limit, f.hm(x.From), f.hm(x.To))
		}
		if d.CureBeyond {
			s.printf("    the cure runs over 10 K from where the gel time was measured: its time is an estimate, go by the feel of it\n")
		}
		if !hours {
			continue
		}
		for _, g := range d.Stages {
			t := g.Tightest
			s.printf("    %-13s %s to %s  tightest: %s %.4g of %.4g %s at %s\n", g.Stage, f.hm(g.From), f.hm(g.To), t.Limit, t.Value, t.Bound, t.Unit, f.hm(t.At))
		}
		s.printf("    hour   air   dew  deck  margin   rh  rain  wind  gust  water  board   cure\n")
		for _, x := range d.hours {
			light := " "
			if x.Daylight {
				light = "*"
			}
			s.printf("    %s%s %s %s %s  %s  %s %s %s %s %s  %s  %s\n", f.hm(x.At), light, cell(x.Air, 1), cell(x.Dew, 1), cell(x.Surface, 1), cell(x.DewMargin, 1),
				cell(x.RH, 0), cell(x.Rain, 1), cell(x.Wind, 1), cell(x.Gust, 1), cell(x.Water, 2), cell(x.Board, 1), cell(x.CureRate, 2))
		}
	}
	if is := f.issue; is.Det != nil {
		s.printf("\nForecast from %s, fetched %s. * is daylight. Times are %s.\n", is.Det.Source, f.hm(is.Det.LastSeen), f.firm.Zone)
	}
	s.printf("A forecast is no permission: the lead hand decides on site; the resin maker's data sheet, local codes and licensed practice govern.\n")
}

// ifCalled says what the evening's rules would make of the day now, and the
// shares that the sentence leaves out.
func (f *finding) ifCalled(d foundDay) string {
	st, ok := d.BestStart()
	if !ok {
		return fmt.Sprintf("If called now: %s (%s).", d.outcome, strings.Join(d.reasons, "; "))
	}
	late := ""
	if !d.SealedByLate.IsZero() {
		late = fmt.Sprintf("; nine in ten sealed by %s, opened by %s or not at all", f.hm(d.SealedByLate), f.hm(d.NoReturn))
	}
	return fmt.Sprintf("If called now: %s. Topcoated the same day %.0f %%, rain while open %.0f %%%s.", d.outcome, st.Full*100, st.RainOpen*100, late)
}

func (f *finding) hm(t time.Time) string { return t.In(f.zone).Format("15:04") }

// cell prints a number in five columns, or a dash where it is not known.
func cell(x float64, decimals int) string {
	if math.IsNaN(x) {
		return "    -"
	}
	return fmt.Sprintf("%5.*f", decimals, x)
}
