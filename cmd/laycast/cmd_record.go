package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/job/aslaid"
	"laycast/notify/sheet"
	"laycast/scheduler"
)

type recordCmd struct {
	at
	Job    string `arg:"" optional:"" help:"Id of the job; with --verify alone, all of them."`
	On     string `help:"Only this day's." placeholder:"DATE"`
	PDF    string `name:"pdf" help:"Write the record as PDF; where there are several days, the last." placeholder:"FILE"`
	Verify bool   `help:"Go through the firm's whole chain of records and say whether any row was changed."`
	Send   bool   `help:"Write the customer the hand-over mail of the last closed day."`
	JSON   bool   `help:"Print JSON."`
}

// Help shows examples.
func (recordCmd) Help() string {
	return "Under what conditions a roof was laid: times of work as reported, the weather's past rows (a model's), readings as measured, batches, photos, calls. " +
		"A day's record is closed 36 hours after its last cure and is not changed after that: every row bears the hash of the one before it.\n\n" +
		"Examples:\n  laycast record J-001\n  laycast record J-001 --pdf J-001.pdf\n  laycast record J-001 --send\n  laycast record --verify"
}

// recordJSON is what is printed.
type recordJSON struct {
	Closed   bool            `json:"closed"`
	Verified *bool           `json:"verified,omitempty"`
	Broken   string          `json:"broken,omitempty"`
	Records  []aslaid.Record `json:"records"`
}

// Run prints, verifies or sends a job's records.
func (c *recordCmd) Run(ctx context.Context, s *session) error {
	if c.Job == "" && (!c.Verify || c.PDF != "" || c.Send) {
		return usageError{errors.New("name a job, as in laycast record J-001, or give --verify alone")}
	}
	if c.Send && (c.Verify || c.PDF != "" || c.On != "") {
		return usageError{errors.New("--send hands over the last closed day and does nothing else: leave out --verify, --pdf and --on")}
	}
	if c.Send {
		return s.change(ctx, c.Job, c.Now, c.JSON, "is handed over: the mail is on its way.", func(sched *scheduler.Scheduler, firm string) error {
			return sched.HandOver(ctx, firm, c.Job)
		})
	}
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	out := recordJSON{}
	var broken error
	if c.Verify {
		if broken, err = c.verify(ctx, h, &out); err != nil {
			return err
		}
	}
	if c.Job != "" {
		if out.Records, err = c.records(ctx, h); err != nil {
			return err
		}
		out.Closed = len(out.Records) > 0 && out.Records[len(out.Records)-1].Hash != ""
	}
	if err := c.show(ctx, s, h, out); err != nil {
		return err
	}
	return broken
}

// verify goes through the whole chain.
func (c *recordCmd) verify(ctx context.Context, h *house, out *recordJSON) (broken, err error) {
	rows, err := h.db.Records(ctx, h.firm.UID, "")
	if err != nil {
		return nil, err
	}
	broken = aslaid.Verify(rows)
	ok := broken == nil
	if out.Verified = &ok; !ok {
		out.Broken = broken.Error()
	}
	return broken, nil
}

// records gives a job's records, closed ones first, then those that are still open.
func (c *recordCmd) records(ctx context.Context, h *house) ([]aslaid.Record, error) {
	rows, err := h.db.Records(ctx, h.firm.UID, c.Job)
	if err != nil {
		return nil, err
	}
	all, err := aslaid.Assemble(rows)
	if err != nil {
		return nil, err
	}
	now, pretended, err := h.now(ctx, c.Now)
	if err != nil {
		return nil, err
	}
	sched, err := h.scheduler(scheduler.NewVirtualClock(now), pretended, post{}, zerolog.Nop())
	if err != nil {
		return nil, err
	}
	drafts, err := sched.Drafts(ctx, h.firm.UID, c.Job)
	if err != nil {
		return nil, err
	}
	all = append(all, drafts...)
	if c.On == "" {
		return all, nil
	}
	d, err := job.ParseDate(c.On)
	if err != nil {
		return nil, usageError{err}
	}
	for _, r := range all {
		if r.Date == d {
			return []aslaid.Record{r}, nil
		}
	}
	return nil, fmt.Errorf("job %s has no record of %s", c.Job, d.Words())
}

func (c *recordCmd) show(ctx context.Context, s *session, h *house, out recordJSON) error {
	if c.PDF != "" {
		if len(out.Records) == 0 {
			return fmt.Errorf("job %s has no record yet: it has none before a crew was sent", c.Job)
		}
		if err := c.pdf(ctx, h, out.Records[len(out.Records)-1]); err != nil {
			return err
		}
	}
	if c.JSON {
		return s.printJSON(out)
	}
	if out.Verified != nil && *out.Verified {
		s.printf("The chain of records holds: no row was changed since it was closed.\n")
	}
	if c.PDF != "" {
		s.printf("The record of %s is in %s.\n", out.Records[len(out.Records)-1].Date.Words(), c.PDF)
		return nil
	}
	for _, r := range out.Records {
		head, err := h.headOf(ctx, r)
		if err != nil {
			return err
		}
		s.printf("%s\n", sheet.Of(r, head).Text())
	}
	if c.Job != "" && len(out.Records) == 0 {
		s.printf("Job %s has no record yet: it has none before a crew was sent.\n", c.Job)
	}
	return nil
}

func (c *recordCmd) pdf(ctx context.Context, h *house, r aslaid.Record) error {
	head, err := h.headOf(ctx, r)
	if err != nil {
		return err
	}
	f, err := os.Create(c.PDF)
	if err != nil {
		return fmt.Errorf("write the record: %w", err)
	}
	if err := sheet.Of(r, head).PDF(f, r.Made()); err != nil {
		_ = f.Close()
		return err
	}
	return f.Close()
}

// headOf names job, customer and site of a record as the book has them now.
func (h *house) headOf(ctx context.Context, r aslaid.Record) (sheet.Head, error) {
	book, err := h.db.Book(ctx, h.firm.UID, job.Date{Year: 9999, Month: 1, Day: 1})
	if err != nil {
		return sheet.Head{}, err
	}
	b, err := findJob(book, r.Job)
	if err != nil {
		return sheet.Head{}, err
	}
	zone, err := job.LoadZone(b.Site.Zone)
	if err != nil {
		if zone, err = time.LoadLocation(h.firm.Zone); err != nil {
			return sheet.Head{}, fmt.Errorf("load the zone of %s: %w", h.firm.UID, err)
		}
	}
	return sheet.Head{Title: b.Title, Customer: b.Customer.Name, Address: b.Site.Address, Zone: zone}, nil
}
