package main

import (
	"context"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
)

type messagesCmd struct {
	List   messagesListCmd   `cmd:"" default:"withargs" help:"Who was told what, and why; why somebody was not."`
	Resend messagesResendCmd `cmd:"" help:"Send one message again."`
}

// Help shows examples.
func (messagesCmd) Help() string { return messagesListCmd{}.Help() }

type messagesListCmd struct {
	Date string `arg:"" optional:"" help:"With --why: the day (2027-05-06) that it is about."`
	Show string `help:"Print one message as it was sent." placeholder:"ID" xor:"what"`
	Why  string `help:"Why this person was told of a day, or was not: a mail address, a crew's id, or a customer's name." placeholder:"PERSON" xor:"what"`
	Lost bool   `help:"Only those that did not arrive, or may not have." xor:"what"`
	JSON bool   `help:"Print JSON."`
	Now  string `help:"Only what was written by this time (RFC 3339)."`
}

// Help shows examples.
func (messagesListCmd) Help() string {
	return "Examples:\n  laycast messages\n  laycast messages list --lost\n  laycast messages --show ID\n  laycast messages --why heron 2027-05-06\n  laycast messages resend ID"
}

type messageOut struct {
	ID        string   `json:"id"`
	To        string   `json:"to"`
	Channel   string   `json:"channel"`
	Kind      string   `json:"kind"`
	Job       string   `json:"job"`
	Visit     int      `json:"visit"`
	Date      job.Date `json:"date"`
	State     string   `json:"state"`
	MessageID string   `json:"message_id"`
	Subject   string   `json:"subject"`
	Created   any      `json:"created"`
	Sent      any      `json:"sent"`
	Reason    string   `json:"reason"`
	Note      string   `json:"note"`
}

func printableMessage(m notify.Message) messageOut {
	o := messageOut{
		ID: m.ID, To: m.Recipient, Channel: string(m.Channel), Kind: string(m.Kind), Job: m.Job, Visit: m.Visit, Date: m.Date, State: string(m.State),
		MessageID: m.MessageID, Subject: m.Subject, Created: stamp(m.Created), Reason: m.Reason, Note: m.Note,
	}
	if m.State == notify.Sent {
		o.Sent = stamp(m.Settled)
	}
	return o
}

// Run prints the messages, oldest first, or one of them whole, or why somebody
// was told.
func (c *messagesListCmd) Run(ctx context.Context, s *session) error {
	until, err := parseUntil(c.Now)
	if err != nil {
		return err
	}
	if (c.Why == "") != (c.Date == "") {
		return usageError{fmt.Errorf("--why wants a person and a day, as in: laycast messages --why heron 2027-05-06")}
	}
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	switch {
	case c.Show != "":
		m, err := h.db.Message(ctx, h.firm.UID, c.Show)
		if err != nil {
			return fmt.Errorf("find message %q: %w; laycast messages lists them", c.Show, err)
		}
		_, err = s.Out.Write(m.Wire)
		return err
	case c.Why != "":
		return c.why(ctx, s, h, until)
	}
	ms, err := h.db.Messages(ctx, h.firm.UID)
	if err != nil {
		return err
	}
	out := []messageOut{}
	for _, m := range ms {
		lost := m.State == notify.Refused || m.State == notify.Unknown
		if !until.IsZero() && m.Created.After(until) || c.Lost && !lost {
			continue
		}
		out = append(out, printableMessage(m))
	}
	if c.JSON {
		return s.printJSON(out)
	}
	t := tabwriter.NewWriter(s.Out, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "ID\tCREATED\tTO\tKIND\tSTATE\tSUBJECT")
	for _, m := range out {
		fmt.Fprintf(t, "%s\t%v\t%s\t%s\t%s\t%s\n", m.ID, m.Created, m.To, m.Kind, m.State, m.Subject)
	}
	return t.Flush()
}

// whyOut is all that bears on whether somebody was told about a day.
type whyOut struct {
	Person string       `json:"person"` // mail addresses, joined
	Date   job.Date     `json:"date"`
	Told   []messageOut `json:"told"`
	Untold []untoldWhy  `json:"untold"`
	Stands []string     `json:"stands"` // how it stands now, a line each visit
}

type untoldWhy struct {
	At     any    `json:"at"`
	Job    string `json:"job"`
	Reason string `json:"reason"`
}

func (c *messagesListCmd) why(ctx context.Context, s *session, h *house, until time.Time) error {
	day, err := job.ParseDate(c.Date)
	if err != nil {
		return usageError{fmt.Errorf("%q is not a day; write it as 2027-05-06", c.Date)}
	}
	zone, err := job.LoadZone(h.firm.Zone)
	if err != nil {
		return err
	}
	b, err := h.db.Book(ctx, h.firm.UID, day)
	if err != nil {
		return err
	}
	who, err := person(b, c.Why)
	if err != nil {
		return err
	}
	is := func(email string) bool {
		for _, w := range who {
			if strings.EqualFold(w, email) {
				return true
			}
		}
		return false
	}
	out := whyOut{Person: strings.Join(who, ", "), Date: day, Told: []messageOut{}, Untold: []untoldWhy{}, Stands: []string{}}
	l, err := h.letters(ctx)
	if err != nil {
		return err
	}
	for _, m := range l.messages {
		about := m.Date == day || job.DateOf(m.Created.In(zone)) == day
		if is(m.Recipient) && about && (until.IsZero() || !m.Created.After(until)) {
			out.Told = append(out.Told, printableMessage(m))
		}
	}
	for _, u := range l.untold {
		about := u.Date == day || job.DateOf(u.At.In(zone)) == day
		if is(u.Person) && about && (until.IsZero() || !u.At.After(until)) {
			out.Untold = append(out.Untold, untoldWhy{stamp(u.At), u.Job, u.Reason})
		}
	}
	now, _, err := h.now(ctx, c.Now)
	if err != nil {
		return err
	}
	sched, err := h.scheduler(scheduler.NewVirtualClock(now), b.Life == ledger.Virtual, post{}, zerolog.Nop())
	if err != nil {
		return err
	}
	for _, w := range who {
		lines, err := sched.WhyNotTold(ctx, h.firm.UID, w, day)
		if err != nil {
			return err
		}
		out.Stands = append(out.Stands, lines...)
	}
	if c.JSON {
		return s.printJSON(out)
	}
	s.printWhy(out)
	return nil
}

// person gives the mail addresses that a word stands for.
func person(b ledger.Book, word string) ([]string, error) {
	word = strings.TrimSpace(word)
	seen := map[string]bool{}
	var out []string
	add := func(email string) {
		if k := strings.ToLower(email); k != "" && !seen[k] {
			seen[k] = true
			out = append(out, k)
		}
	}
	for _, c := range b.Crews {
		if strings.EqualFold(c.ID, word) || strings.EqualFold(c.Name, word) {
			add(c.Email)
		}
	}
	for _, j := range b.Jobs {
		if strings.EqualFold(j.Customer.Name, word) {
			add(j.Customer.Email)
		}
	}
	if strings.Contains(word, "@") {
		add(word)
	}
	if strings.EqualFold(word, "owner") {
		add(b.Firm.Email)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("nobody in the book is called %q; give a mail address, a crew's id, a customer's name, or owner", word)
	}
	return out, nil
}

func (s *session) printWhy(o whyOut) {
	s.printf("%s, %s\n", o.Person, o.Date.Words())
	if len(o.Told) == 0 {
		s.printf("\nNo message is about this day or of it.\n")
	}
	for _, m := range o.Told {
		s.printf("\n%s  %s: %s\n  written %v, because %s\n", m.Kind, m.State, m.Subject, m.Created, m.Reason)
		switch {
		case m.Sent != nil:
			s.printf("  sent %v\n", m.Sent)
		case m.Note != "":
			s.printf("  %s\n", m.Note)
		}
		s.printf("  %s\n", m.ID)
	}
	if len(o.Untold) > 0 {
		s.printf("\nNot told\n")
	}
	for _, u := range o.Untold {
		s.printf("  %v %s: %s\n", u.At, u.Job, u.Reason)
	}
	if len(o.Stands) > 0 {
		s.printf("\nAs it stands now\n")
	}
	for _, l := range o.Stands {
		s.printf("  %s\n", l)
	}
}

type messagesResendCmd struct {
	at
	ID   string `arg:"" help:"Id of the message."`
	JSON bool   `help:"Print the outcome as JSON."`
}

// Help shows an example.
func (messagesResendCmd) Help() string {
	return "One that may have arrived goes again as the same mail, so that a mail program which has it shows it once. " +
		"One that was sent or refused goes as a mail of its own that names the first, to the address that the book holds now. " +
		"Both stay in the list. What is no longer the last word, or of use, does not go again.\n\n" +
		"Example: laycast messages resend ID"
}

// Run queues a message again.
func (c *messagesResendCmd) Run(ctx context.Context, s *session) error {
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	m, err := h.db.Message(ctx, h.firm.UID, c.ID)
	if err != nil {
		return fmt.Errorf("find message %q: %w; laycast messages lists them", c.ID, err)
	}
	return s.write(ctx, h, c.Now, c.JSON, func(b ledger.Book, now time.Time) (string, string, error) {
		sched, err := h.scheduler(scheduler.NewVirtualClock(now), b.Life == ledger.Virtual, post{}, zerolog.Nop())
		if err != nil {
			return "", "", err
		}
		if _, err := sched.Resend(ctx, h.firm.UID, m); err != nil {
			return "", "", err
		}
		return m.Job, fmt.Sprintf("Message %s goes again.", m.ID), nil
	})
}
