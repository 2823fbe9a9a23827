package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
	"laycast/scheduler/plan"
)

type planCmd struct {
	Apply    bool   `help:"Make this the plan in force."`
	Why      string `help:"Say why this job stands where it does, and what each other day would cost." placeholder:"JOB"`
	Now      string `help:"As if it were this time (RFC 3339); nothing is stored."`
	Instance string `help:"Solve a planner benchmark file instead." type:"existingfile" placeholder:"FILE"`
	JSON     bool   `help:"Print JSON."`
}

// Help shows examples.
func (planCmd) Help() string {
	return "Examples:\n  laycast plan\n  laycast plan --apply\n  laycast plan --why J-001\n  laycast plan --instance FILE.json --json"
}

// Run prints the week as it would be planned now.
func (c *planCmd) Run(ctx context.Context, s *session) error {
	if c.Instance != "" {
		return c.solve(s)
	}
	if c.Apply && c.Now != "" {
		return usageError{errors.New("--now stores nothing, so it does not go with --apply")}
	}
	if c.Apply && c.Why != "" {
		return usageError{errors.New("--why stores nothing, so it does not go with --apply")}
	}
	h, b, err := s.book(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	now, pretended, err := h.now(ctx, c.Now)
	if err != nil {
		return err
	}
	var open []job.Booking
	for _, j := range b.Jobs {
		if j.State == job.Booked {
			open = append(open, j)
		}
	}
	issues, err := s.issues(ctx, h, open, now, pretended, c.Now != "")
	if err != nil {
		return err
	}
	profiles, err := h.fileProfiles()
	if err != nil {
		return err
	}
	outlook, err := h.season()
	if err != nil {
		return err
	}
	sched := scheduler.New(scheduler.Config{Store: h.db, From: h.cfg.Mail.From, PublicURL: h.cfg.PublicURL, Profiles: profiles, Season: outlook, Log: zerolog.Nop()})
	if err := sched.Learned(ctx, issues); err != nil {
		return err
	}
	if c.Why != "" {
		why, err := sched.Why(b, issues, now, c.Why)
		if err != nil {
			return err
		}
		if c.JSON {
			return s.printJSON(why)
		}
		s.printWhyJob(why, h.firm.Costs.Currency)
		return nil
	}
	week, visits, err := sched.Week(b, issues, now)
	if err != nil {
		return err
	}
	if c.Apply {
		err := h.db.Commit(ctx, ledger.Decision{Firm: h.firm.UID, Revision: b.Revision, Now: now, Week: &week, Visits: visits})
		if err != nil {
			return fmt.Errorf("make the plan the one in force: %w", err)
		}
	}
	zone, err := job.LoadZone(h.firm.Zone)
	if err != nil {
		return err
	}
	short, full, err := sched.Fuller(b, job.DateOf(now.In(zone)))
	if err != nil {
		return err
	}
	if c.JSON {
		out := weekJSON(week)
		if full {
			out.Season = &seasonOut{short.By, short.Jobs, *num(short.Need, 1), *num(short.Have, 1), short.Words()}
		}
		return s.printJSON(out)
	}
	s.printWeek(week, b)
	if full {
		s.printf("%s\n", short.Words())
	}
	return nil
}

// solve solves one benchmark file.
func (c *planCmd) solve(s *session) error {
	data, err := os.ReadFile(c.Instance)
	if err != nil {
		return fmt.Errorf("read %s: %w", c.Instance, err)
	}
	in, err := plan.ReadInstance(data)
	if err != nil {
		return fmt.Errorf("read %s: %w", c.Instance, err)
	}
	begun := time.Now()
	sol := plan.Solve(in)
	res, err := plan.NewResult(sol, time.Since(begun).Milliseconds())
	if err != nil {
		return err
	}
	if c.JSON {
		return json.NewEncoder(s.Out).Encode(res)
	}
	s.printf("placed %d, left %d, objective %d, %s\n", len(sol.Placings), len(sol.Left), sol.Objective, boundWords(sol.Gap(), sol.Proven))
	return nil
}

// weekOut is the JSON of `plan`; DESIGN section 13 fixes its fields.
type weekOut struct {
	Made      any               `json:"made"`
	Objective job.Money         `json:"objective"`
	Bound     job.Money         `json:"bound"`
	Gap       float64           `json:"gap"`
	Proven    bool              `json:"proven"`
	Visits    []visitOut        `json:"visits"`
	Left      []plan.WeekLeft   `json:"left"`
	Changes   []plan.WeekChange `json:"changes"`
	CrewDays  []plan.CrewDay    `json:"crew_days"` // what the plan loses if the crew cannot come
	Season    *seasonOut        `json:"season"`    // null where the season has room for the book, or no record is at hand
}

// seasonOut says up to which deadline the book is most short of days.
type seasonOut struct {
	By    job.Date `json:"by"`
	Jobs  int      `json:"jobs"`
	Need  float64  `json:"need_crew_days"`
	Have  float64  `json:"have_crew_days"`
	Words string   `json:"words"`
}

type visitOut struct {
	Job    string     `json:"job"`
	N      int        `json:"n"`
	Crew   string     `json:"crew"`
	Days   []job.Date `json:"days"`
	Start  string     `json:"start"`
	Chance *float64   `json:"chance"`
	Basis  string     `json:"basis"` // members, dressed; climate: beyond the forecast, the month's share of days; none
	Told   any        `json:"told"`
	Pinned bool       `json:"pinned"`

	Adds *plan.WeekPrice `json:"adds"` // over the best plan that leaves the job out
}

func weekJSON(w plan.Week) weekOut {
	out := weekOut{Made: stamp(w.Made), Objective: w.Objective, Bound: w.Bound, Gap: w.Gap, Proven: w.Proven, Visits: []visitOut{}, Left: w.Left, Changes: w.Changes,
		CrewDays: append([]plan.CrewDay{}, w.CrewDays...)}
	for _, v := range w.Visits {
		o := visitOut{Job: v.Job, N: v.N, Crew: v.Crew, Days: v.Days, Start: v.Start.String(), Chance: num(v.Chance, 4), Basis: v.Basis, Pinned: v.Pinned, Adds: v.Adds}
		if !v.Told.IsZero() {
			o.Told = v.Told.String()
		}
		out.Visits = append(out.Visits, o)
	}
	return out
}

// printWeek prints a week for people.
func (s *session) printWeek(w plan.Week, b ledger.Book) {
	name := map[string]string{}
	for _, c := range b.Crews {
		name[c.ID] = c.Name
	}
	title := map[string]string{}
	for _, j := range b.Jobs {
		title[j.ID] = fmt.Sprintf("%s, %.4g m²", j.Title, j.Roof.AreaM2)
	}
	last := job.Date{}
	for _, v := range w.Visits {
		if d := v.Days[0]; d != last {
			s.printf("%s\n", d.Words())
			last = d
		}
		span := ""
		if n := len(v.Days); n > 1 {
			span = fmt.Sprintf(", %d days", n)
		}
		if v.Pinned {
			span += ", pinned by you"
		}
		s.printf("  %-8s %s  %s (%s)%s, %s\n", name[v.Crew], v.Start, title[v.Job], v.Job, span, chanceOf(v))
	}
	if len(w.Visits) == 0 {
		s.printf("Nothing can be planned.\n")
	}
	for _, l := range w.Left {
		s.printf("  not planned: %s (%s): %s\n", title[l.Job], l.Job, l.Reason)
	}
	for _, c := range w.Changes {
		if c.From.IsZero() {
			continue
		}
		to := "no place"
		if !c.To.IsZero() {
			to = c.To.Words()
		}
		s.printf("  moved: %s from %s to %s: %s\n", title[c.Job], c.From.Words(), to, c.Reason)
	}
	s.printCrewDays(w.CrewDays, b)
	s.printf("This plan is %s.\n", boundWords(w.Gap, w.Proven))
}

// chanceOf says how likely a visit's first day is.
func chanceOf(v plan.WeekVisit) string {
	if rules.Basis(v.Basis) == rules.FromClimate {
		return fmt.Sprintf("no forecast yet, usual weather of %s %.0f %%", v.Days[0].Month, v.Chance*100)
	}
	return fmt.Sprintf("%.0f %%", v.Chance*100)
}

// printCrewDays prints what lost days of the crews would cost, a line a crew.
func (s *session) printCrewDays(days []plan.CrewDay, b ledger.Book) {
	for _, c := range b.Crews {
		line := ""
		for _, d := range days {
			if d.Crew != c.ID {
				continue
			}
			about := ""
			if !d.Cost.Exact {
				about = "about "
			}
			line += fmt.Sprintf(", %s %s%s", d.Day.Words(), about, d.Cost.Amount)
		}
		if line != "" {
			s.printf("  without %s the plan loses (%s)%s\n", c.Name, b.Firm.Costs.Currency, ": "+line[2:])
		}
	}
}

// printWhyJob prints for people what the plan says of one job.
func (s *session) printWhyJob(y plan.JobWhy, currency string) {
	s.printf("%s\n", y.Stands)
	if y.Adds != nil {
		how := "planned again without it"
		if !y.Adds.Exact {
			how += "; the search for that plan was cut short, so it may be less"
		}
		if y.Adds.Amount < 0 {
			s.printf("Left for later it would be worth %s %s more (%s).\n", -y.Adds.Amount, currency, how)
		} else {
			s.printf("It adds %s %s to the plan, over leaving it for later (%s).\n", y.Adds.Amount, currency, how)
		}
	}
	if y.Needs != "" {
		s.printf("%s\n", y.Needs)
	}
	tried := false
	for i := 0; i < len(y.Days); {
		d, end := y.Days[i], i+1
		for !d.Can && end < len(y.Days) && y.Days[end].Words == d.Words {
			end++
		}
		when := d.Day.Words()
		if end > i+1 {
			when += " to " + y.Days[end-1].Day.Words()
		}
		s.printf("  %-22s %s\n", when, d.Words)
		tried = tried || d.Can && !d.Here
		i = end
	}
	if tried {
		s.printf("Each day that could take it was planned again with the job on it; costs are against the plan.\n")
	}
}

// boundWords says how good a plan is proven to be.
func boundWords(gap float64, proven bool) string {
	if proven || gap == 0 {
		return "proven best"
	}
	return fmt.Sprintf("within %.2g %% of the best possible", gap*100)
}
