package main

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"

	"laycast/db"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

type importCmd struct {
	File string `arg:"" help:"JSON or CSV file (by its ending) of crews and jobs." type:"existingfile"`
	JSON bool   `help:"Print the outcome as JSON."`
}

// Help shows examples.
func (importCmd) Help() string {
	return "Taking in the same file twice changes nothing. A file with a bad row is taken in not at all.\n\n" +
		"A .csv has one row for each job and its first row names the columns, which are the fields of the JSON with dots: " +
		"id,title,customer.name,customer.email,site.lat,site.lon,roof.area_m2,... A column \"row\" that says crew makes a row a crew. " +
		"Lists in one cell: blackout and absences 2027-04-15 2027-04-16, skills torch;lead work, roof.edges drip:6;wall:4.5, roof.shape 5x4 or for an L 5x4-2x1.5, needs skip|5|true;scaffold|14.\n\n" +
		"Examples:\n  laycast import jobs.json\n  laycast import jobs.csv"
}

// Run takes a file in, or none of it.
func (c *importCmd) Run(ctx context.Context, s *session) error {
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	f, err := os.Open(c.File)
	if err != nil {
		return fmt.Errorf("open %s: %w", c.File, err)
	}
	defer f.Close()
	decodeFile := job.DecodeImport
	if strings.EqualFold(filepath.Ext(c.File), ".csv") {
		decodeFile = job.DecodeImportCSV
	}
	in, problems := decodeFile(f, h.firm)
	if len(problems) > 0 {
		return fmt.Errorf("%s is not taken in, for %d of its values:\n%w", c.File, len(problems), problems)
	}
	rep, err := h.take(ctx, in)
	if err != nil {
		return err
	}
	if c.JSON {
		return s.printJSON(rep)
	}
	s.printf("crews: %d new, %d changed, %d as before\njobs:  %d new, %d changed, %d as before\n",
		rep.CrewsNew, rep.CrewsChanged, rep.CrewsSame, rep.JobsNew, rep.JobsChanged, rep.JobsSame)
	return nil
}

// take puts an import into the book, at the firm's own time.
func (h *house) take(ctx context.Context, in job.Import) (db.ImportReport, error) {
	now, _, err := h.now(ctx, "")
	if err != nil {
		return db.ImportReport{}, err
	}
	rep, err := h.db.Import(ctx, h.firm.UID, in, now)
	if err != nil || rep.CrewsNew+rep.CrewsChanged+rep.JobsNew+rep.JobsChanged == 0 {
		return rep, err
	}
	return rep, h.planSoon(ctx, now)
}

// planSoon makes a new plan due now, so that what was taken in finds its place
// without waiting for the next forecast. A firm that never ran plans when it
// begins.
func (h *house) planSoon(ctx context.Context, now time.Time) error {
	b, err := h.db.Book(ctx, h.firm.UID, job.Date{Year: 9999, Month: 1, Day: 1})
	if err != nil || b.Life == ledger.New {
		return err
	}
	return h.db.Commit(ctx, ledger.Decision{
		Firm: h.firm.UID, Now: now, Arm: []task.Task{{Firm: h.firm.UID, Name: task.Replan, Due: now, Slot: now}},
	})
}

type jobCmd struct {
	List    jobListCmd    `cmd:"" help:"All jobs."`
	Show    jobShowCmd    `cmd:"" help:"One job."`
	Add     jobAddCmd     `cmd:"" help:"Take one job in."`
	Hold    jobHoldCmd    `cmd:"" help:"Keep a job out of the plan, and say why."`
	Release jobReleaseCmd `cmd:"" help:"Put a held job back into the plan."`
	Report  jobReportCmd  `cmd:"" help:"Note what a crew says of its day."`
	Done    jobDoneCmd    `cmd:"" help:"Record that a job is finished."`
	Cancel  jobCancelCmd  `cmd:"" help:"End a job that will not be laid."`
	Pin     jobPinCmd     `cmd:"" help:"Have a job begin on a day you choose."`
	Unpin   jobUnpinCmd   `cmd:"" help:"Let the plan choose the day again."`
	Forbid  jobForbidCmd  `cmd:"" help:"Keep a job off a day."`
	Allow   jobAllowCmd   `cmd:"" help:"Take back that a day was forbidden."`
	Ask     jobAskCmd     `cmd:"" help:"Tell a new date of a job only when you say yes."`
}

type jobListCmd struct {
	JSON bool `help:"Print JSON."`
}

// jobRow is a job as it is listed.
type jobRow struct {
	ID       string    `json:"id"`
	Title    string    `json:"title"`
	Customer string    `json:"customer"`
	AreaM2   float64   `json:"area_m2"`
	Work     job.Work  `json:"work"`
	State    job.State `json:"state"`
	Earliest job.Date  `json:"earliest"`
	Deadline job.Date  `json:"deadline"`
	Planned  []string  `json:"planned"` // days of the visit to come
	Crew     string    `json:"crew"`
	Hold     string    `json:"hold_reason"`
}

// Run lists the jobs.
func (c *jobListCmd) Run(ctx context.Context, s *session) error {
	h, b, err := s.book(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	rows := []jobRow{}
	for _, j := range b.Jobs {
		r := jobRow{
			ID: j.ID, Title: j.Title, Customer: j.Customer.Name, AreaM2: j.Roof.AreaM2, Work: j.Roof.Work, State: j.State,
			Earliest: j.Earliest, Deadline: j.Deadline, Hold: cmp.Or(j.Held, j.HoldReason), Planned: []string{},
		}
		for _, v := range b.Visits {
			if v.Job != j.ID {
				continue
			}
			for i := v.Done; i < len(v.Days); i++ {
				r.Planned, r.Crew = append(r.Planned, v.Days[i].String()), v.Crew
			}
		}
		rows = append(rows, r)
	}
	if c.JSON {
		return s.printJSON(rows)
	}
	if len(rows) == 0 {
		s.printf("There are no jobs yet. Take some in with: laycast import FILE.json\n")
		return nil
	}
	t := tabwriter.NewWriter(s.Out, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "JOB\tTITLE\tAREA\tSTATE\tPLANNED\tCREW")
	for _, r := range rows {
		state := string(r.State)
		if r.Hold != "" && r.State == job.Booked {
			state = "on hold: " + r.Hold
		}
		fmt.Fprintf(t, "%s\t%s\t%.4g m²\t%s\t%s\t%s\n", r.ID, r.Title, r.AreaM2, state, strings.Join(r.Planned, " "), r.Crew)
	}
	return t.Flush()
}

type jobShowCmd struct {
	Job  string `arg:"" help:"Id of the job."`
	JSON bool   `help:"Print JSON."`
}

// jobPage is a job as it is shown.
type jobPage struct {
	job.Booking
	Bays   int         `json:"bays"` // that a pair cuts the roof into
	Visits []job.Visit `json:"visits"`
}

// Run shows one job.
func (c *jobShowCmd) Run(ctx context.Context, s *session) error {
	h, b, err := s.book(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	j, err := findJob(b, c.Job)
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
	page := jobPage{Booking: j, Visits: []job.Visit{}}
	page.Bays = rules.Case{Job: j, Crew: 2, Profile: p, Hours: h.firm.Work}.Bays()
	for _, v := range b.Visits {
		if v.Job == j.ID {
			page.Visits = append(page.Visits, v)
		}
	}
	if c.JSON {
		return s.printJSON(page)
	}
	s.printf("%s  %s\n", j.ID, j.Title)
	s.printf("customer  %s <%s>\n", j.Customer.Name, j.Customer.Email)
	s.printf("site      %s (%.4f, %.4f, %.0f m)\n", j.Site.Address, j.Site.Lat, j.Site.Lon, j.Site.ElevationM)
	s.printf("roof      %.4g m², %s, deck %s, %.4g m of edge, %d outlets; %d bays for a pair\n", j.Roof.AreaM2, j.Roof.Work, j.Roof.Deck, j.Roof.EdgeLength(), j.Roof.Outlets, page.Bays)
	s.printf("dates     from %s, promised %s, not after %s\n", j.Earliest, j.Promised, j.Deadline)
	s.printf("money     value %s %s, abort %s, late %s a day\n", j.Value, h.firm.Costs.Currency, j.AbortCost, j.LateCostPerDay)
	s.printf("state     %s, %.4g m² sealed, %.4g m² topcoated\n", j.State, j.LaidM2, j.CoatedM2)
	if hold := cmp.Or(j.Held, j.HoldReason); hold != "" && j.State == job.Booked {
		s.printf("on hold   %s\n", hold)
	}
	for _, line := range wishes(j) {
		s.printf("you       %s\n", line)
	}
	for _, v := range page.Visits {
		s.printf("visit %d   %s, crew %s, days %v\n", v.N, v.State, v.Crew, v.Days)
	}
	return nil
}

// book opens the house and reads its book, with every call.
func (s *session) book(ctx context.Context) (*house, ledger.Book, error) {
	h, err := s.open(ctx)
	if err != nil {
		return nil, ledger.Book{}, err
	}
	b, err := h.db.Book(ctx, h.firm.UID, job.Date{})
	if err != nil {
		h.close()
		return nil, b, err
	}
	return h, b, nil
}

func findJob(b ledger.Book, id string) (job.Booking, error) {
	for _, j := range b.Jobs {
		if j.ID == id {
			return j, nil
		}
	}
	return job.Booking{}, fmt.Errorf("there is no job %q; laycast job list shows all", id)
}
