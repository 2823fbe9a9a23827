package main

import (
	"context"
	"fmt"
	"strings"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
)

type callsCmd struct {
	JSON bool   `help:"Print JSON."`
	Now  string `help:"Only what was decided by this time (RFC 3339)."`
}

// callOut is a call as it is printed; DESIGN section 13 fixes its fields.
type callOut struct {
	Job      string        `json:"job"`
	Visit    int           `json:"visit"`
	Crew     string        `json:"crew"`
	Date     job.Date      `json:"date"`
	Occasion call.Occasion `json:"occasion"`
	Revision int64         `json:"revision"`
	Outcome  call.Outcome  `json:"outcome"`
	Chance   *float64      `json:"chance"`
	Full     *float64      `json:"full"`
	RainOpen *float64      `json:"p_rain_open"`
	Basis    rules.Basis   `json:"basis"`
	Members  int           `json:"members"`
	Made     any           `json:"made"`
	Late     bool          `json:"late"`
	Start    any           `json:"start"`
	SealedBy any           `json:"sealed_by"`
	NoReturn any           `json:"no_return"`
	Reasons  []string      `json:"reasons"`
}

// Run prints the calls, oldest first.
func (c *callsCmd) Run(ctx context.Context, s *session) error {
	until, err := parseUntil(c.Now)
	if err != nil {
		return err
	}
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	calls, err := h.db.Calls(ctx, h.firm.UID)
	if err != nil {
		return err
	}
	out := []callOut{}
	for _, k := range calls {
		if !until.IsZero() && k.Made.After(until) {
			continue
		}
		out = append(out, printable(k))
	}
	if c.JSON {
		return s.printJSON(out)
	}
	if len(out) == 0 {
		s.printf("No calls have been made yet.\n")
	}
	for _, k := range out {
		chance := "chance unknown"
		if k.Chance != nil {
			chance = fmt.Sprintf("%.0f %%", *k.Chance*100)
		}
		s.printf("%s  %-6s %s, crew %s (%s, %s): %s\n", k.Date, strings.ToUpper(string(k.Outcome)), k.Job, k.Crew, k.Occasion, chance, strings.Join(k.Reasons, "; "))
	}
	return nil
}

// parseUntil reads a --now, the zero time where there is none.
func parseUntil(s string) (time.Time, error) {
	if s == "" {
		return time.Time{}, nil
	}
	return parseTime(s)
}

func printable(k call.Call) callOut {
	o := callOut{
		Job: k.Job, Visit: k.Visit, Crew: k.Crew, Date: k.Date, Occasion: k.Occasion, Revision: k.Revision, Outcome: k.Outcome,
		Basis: k.Basis, Members: k.Members, Made: stamp(k.Made), Late: k.Late, Reasons: k.Reasons,
		Start: stamp(k.Start), SealedBy: stamp(k.SealedBy), NoReturn: stamp(k.NoReturn),
	}
	if k.Known {
		o.Chance, o.Full, o.RainOpen = num(k.Chance, 4), num(k.Full, 4), num(k.RainOpen, 4)
	}
	return o
}
