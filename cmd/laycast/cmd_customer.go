package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"laycast/db"
	"laycast/db/archive"
	"laycast/web"
)

type customerCmd struct {
	Export customerExportCmd `cmd:"" help:"Print everything that is kept about one customer."`
	Erase  customerEraseCmd  `cmd:"" help:"Take out of the book who a customer is."`
}

// Help shows examples.
func (customerCmd) Help() string {
	return "For a customer who asks what is kept, or wants to be forgotten (docs/security.md). Examples:\n" +
		"  laycast customer export ann@mail.example >ann.json\n  laycast customer erase J-017"
}

type customerExportCmd struct {
	Who string `arg:"" help:"Mail address, id of a job, or name of the customer."`
}

// Help shows examples.
func (customerExportCmd) Help() string {
	return "Prints JSON: the rows of every table that are about the customer, with their columns; mails as their text, times as RFC 3339. " +
		"It holds addresses and photos, and lines that crews and the office wrote: read it before you hand it on.\n\n" +
		"Examples:\n  laycast customer export ann@mail.example >ann.json\n  laycast customer export J-017"
}

// customerJSON is what is kept about one customer.
type customerJSON struct {
	Customer string                      `json:"customer"` // mail address
	Name     string                      `json:"name"`
	Jobs     []string                    `json:"jobs"`   // ids
	Tables   map[string][]map[string]any `json:"tables"` // rows by table: value by column
}

// Run prints what is kept.
func (c *customerExportCmd) Run(ctx context.Context, s *session) error {
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	who, err := h.customer(ctx, c.Who)
	if err != nil {
		return err
	}
	out := customerJSON{Customer: who.Email, Name: who.Name, Tables: map[string][]map[string]any{}}
	for _, b := range who.Jobs {
		out.Jobs = append(out.Jobs, b.ID)
	}
	err = h.db.CustomerRows(ctx, h.firm.UID, who, func(t archive.Table, row archive.Row) error {
		shown := map[string]any{}
		for i, col := range t.Columns {
			name, v := shownColumn(t.Name, col, row[i])
			if name != "" {
				shown[name] = v
			}
		}
		out.Tables[t.Name] = append(out.Tables[t.Name], shown)
		return nil
	})
	if err != nil {
		return err
	}
	return s.printJSON(out)
}

// customer finds a customer, and says where to look when there is none.
func (h *house) customer(ctx context.Context, who string) (db.Customer, error) {
	c, err := h.db.FindCustomer(ctx, h.firm.UID, who)
	if errors.Is(err, db.ErrNotFound) {
		err = fmt.Errorf("no job has %q as its id, or a customer of that address or name; laycast job list shows the jobs", who)
	}
	return c, err
}

// timeColumns are the columns that hold times, in milliseconds.
var timeColumns = map[string]bool{
	"changed": true, "made": true, "noted": true, "at": true, "created": true, "not_before": true, "expires": true,
	"begun": true, "settled": true, "next_try": true, "lease_until": true, "used": true,
}

// shownColumn gives a value as a person can read it; "": nothing of the customer's,
// such as the hash of a link's secret.
func shownColumn(table string, c archive.Column, v any) (string, any) {
	switch {
	case c.Name == "hash" && table != "records", c.Name == "lease", c.Name == "firm":
		return "", nil
	case c.Name == "body":
		if s, ok := v.(string); ok && json.Valid([]byte(s)) {
			return c.Name, json.RawMessage(s)
		}
	case c.Name == "wire":
		b, _ := v.([]byte)
		if text, err := web.PlainText(b); err == nil {
			return "text", text
		}
		return "text", string(b) // a webhook's, or none
	case timeColumns[c.Name]:
		if ms, ok := v.(int64); ok {
			if t := time.UnixMilli(ms).UTC(); !t.IsZero() {
				return c.Name, t
			}
			return c.Name, nil
		}
	}
	return c.Name, v
}

type customerEraseCmd struct {
	Who  string `arg:"" help:"Mail address, id of a job, or name of the customer."`
	Yes  bool   `help:"Do not ask."`
	JSON bool   `help:"Print JSON; needs --yes."`
}

// Help shows examples.
func (customerEraseCmd) Help() string {
	return "Takes out name, mail address, phone, street address, exact place, notes and photos, and the texts of all mails in which they stand; links and calendar entries go. " +
		"What stays names nobody: the jobs with their sizes and dates, what was decided and when, and the closed as-laid records, whose chain still holds. " +
		"A job that is still booked must be cancelled or finished first. It cannot be undone, and backups made before still hold the customer.\n\n" +
		"Examples:\n  laycast customer erase ann@mail.example\n  laycast customer erase J-017 --yes"
}

// erasedJSON is what erasing came to.
type erasedJSON struct {
	Jobs     []string `json:"jobs"`
	Blanked  int      `json:"messages_blanked"`
	Deleted  int      `json:"rows_deleted"`
	Mended   int      `json:"rows_mended"`
	Records  int      `json:"record_rows_kept"`
	Speaking []int64  `json:"record_rows_that_name_them"`
	Swept    bool     `json:"file_written_anew"`
}

// Run erases a customer.
func (c *customerEraseCmd) Run(ctx context.Context, s *session) error {
	if c.JSON && !c.Yes {
		return usageError{errors.New("--json asks nothing, so give --yes too")}
	}
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	who, err := h.customer(ctx, c.Who)
	if err != nil {
		return err
	}
	if !c.Yes {
		if err := s.sure(who); err != nil {
			return err
		}
	}
	now, _, err := h.now(ctx, "")
	if err != nil {
		return err
	}
	got, err := h.db.EraseCustomer(ctx, h.firm.UID, who.Email, "command line", now, web.PlainText)
	if err != nil {
		return err
	}
	if c.JSON {
		return s.printJSON(erasedJSON{Jobs: got.Jobs, Blanked: got.Blanked, Deleted: got.Deleted, Mended: got.Mended, Records: got.Records, Speaking: append([]int64{}, got.Speaking...), Swept: got.Swept})
	}
	s.printf("The customer of job %s is erased: the texts of %d mails taken away, %d links, calendar entries and photos deleted, %d other lines mended.\n",
		strings.Join(got.Jobs, ", "), got.Blanked, got.Deleted, got.Mended)
	s.printf("Kept: the jobs without a name, their calls and dates, and %d rows of closed as-laid records. They name nobody and prove how the roof was laid; a changed row would break their chain.\n", got.Records)
	if len(got.Speaking) > 0 {
		s.printf("But somebody wrote the customer's name or address into the closed records, in row %s. It stays there: read laycast record %s, and decide whether you may keep it.\n", numbers(got.Speaking), got.Jobs[0])
	}
	if !got.Swept {
		s.printf("Free places of the database file may still hold old copies, for the daemon was writing: stop it, and laycast backup and laycast restore into a new file leave them behind.\n")
	}
	s.printf("Look after these yourself: backups made before now, the files you import orders from, %s, and mail that was sent.\n", elsewhere(h.cfg.Database))
	return nil
}

// elsewhere names where a database still has what was deleted.
func elsewhere(dsn string) string {
	if strings.HasPrefix(dsn, "sqlite:") {
		return "copies of the database file"
	}
	return "the database server's own copies (VACUUM jobs, messages, visits and deeds; archived logs)"
}

func numbers(ns []int64) string {
	return strings.Trim(strings.Join(strings.Fields(fmt.Sprint(ns)), ", "), "[]")
}

// sure asks whether to go on.
func (s *session) sure(who db.Customer) error {
	var ids []string
	for _, b := range who.Jobs {
		ids = append(ids, b.ID)
	}
	s.printf("Erase %s <%s>, job %s? It cannot be undone. Type yes: ", who.Name, who.Email, strings.Join(ids, ", "))
	if s.In != nil { // else there is nobody to ask
		// a line that ends without a line feed is an answer too
		if answer, _ := bufio.NewReader(s.In).ReadString('\n'); strings.TrimSpace(answer) == "yes" {
			return nil
		}
	}
	return errors.New("nothing was erased; answer yes, or give --yes")
}
