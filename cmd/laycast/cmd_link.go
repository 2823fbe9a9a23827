package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"

	"laycast/db"
	"laycast/job/access"
	"laycast/scheduler/ledger"
	"laycast/web"
)

type linkCmd struct {
	New    linkNewCmd    `cmd:"" help:"Print a link, and make it where there is none."`
	List   linkListCmd   `cmd:"" help:"All links that open something."`
	Revoke linkRevokeCmd `cmd:"" help:"Make a link open nothing from now on."`
	SignIn linkSignInCmd `cmd:"" name:"sign-in" help:"Print a link that signs in to the pages once."`
}

// linkOut is a link as it is printed.
type linkOut struct {
	URL    string `json:"url"`
	Webcal string `json:"webcal"` // "" for a page
}

type linkNewCmd struct {
	Customer string `help:"For the customer with this mail address." xor:"who" required:"" placeholder:"EMAIL"`
	Crew     string `help:"For this crew." xor:"who" required:"" placeholder:"ID"`
	Owner    bool   `help:"For the firm itself." xor:"who" required:""`
	Feed     bool   `help:"The calendar to subscribe to, not the page."`
	JSON     bool   `help:"Print JSON."`
}

// Help shows examples.
func (linkNewCmd) Help() string {
	return "Whoever has the link needs no password. Asked again, the same link is printed.\n\n" +
		"Examples:\n  laycast link new --crew heron\n  laycast link new --customer ann@mail.example --feed"
}

// Run prints a link.
func (c *linkNewCmd) Run(ctx context.Context, s *session) error {
	h, b, err := s.book(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	audience, id, err := c.who(b)
	if err != nil {
		return err
	}
	key, err := h.links()
	if err != nil {
		return err
	}
	// a page shows where to subscribe, so it comes with a calendar
	l, err := h.link(ctx, s, key, audience, id, access.Feed)
	if err == nil && !c.Feed {
		l, err = h.link(ctx, s, key, audience, id, access.Page)
	}
	if err != nil {
		return err
	}
	out := h.linkOut(key, l)
	if c.JSON {
		return s.printJSON(out)
	}
	s.printf("%s\n", out.URL)
	if out.Webcal != "" {
		s.printf("%s\n", out.Webcal)
	}
	return nil
}

// who says whom the link is for, and refuses people whom the firm does not know.
func (c *linkNewCmd) who(b ledger.Book) (access.Audience, string, error) {
	switch {
	case c.Owner:
		return access.Owner, "", nil
	case c.Crew != "":
		var ids []string
		for _, k := range b.Crews {
			if k.ID == c.Crew {
				return access.Crew, k.ID, nil
			}
			ids = append(ids, k.ID)
		}
		if len(ids) == 0 {
			return "", "", fmt.Errorf("there is no crew %q; take crews in with: laycast import FILE.json", c.Crew)
		}
		return "", "", fmt.Errorf("there is no crew %q; known are %s", c.Crew, strings.Join(ids, ", "))
	}
	for _, j := range b.Jobs {
		if c.Customer != "" && strings.EqualFold(j.Customer.Email, c.Customer) {
			return access.Customer, strings.ToLower(j.Customer.Email), nil
		}
	}
	return "", "", fmt.Errorf("no job has a customer with the address %q; laycast job list shows the jobs", c.Customer)
}

// link gives a link of the firm, making it where there is none. One made with
// another link key cannot be shown again, so a new generation takes its place.
func (h *house) link(ctx context.Context, s *session, key []byte, a access.Audience, id string, p access.Purpose) (access.Link, error) {
	now, _, err := h.now(ctx, "")
	if err != nil {
		return access.Link{}, err
	}
	l := access.New(key, h.firm.UID, a, id, p, 1, now)
	if err := h.db.PutLink(ctx, l); err != nil {
		return l, err
	}
	all, err := h.db.Links(ctx, h.firm.UID)
	if err != nil {
		return l, err
	}
	for _, x := range all {
		if x.Audience != l.Audience || x.ID != l.ID || x.Purpose != p {
			continue
		}
		if madeWith(key, x) {
			return x, nil
		}
		fmt.Fprintf(s.Err, "laycast: the %s link from before was made with another link key and cannot be shown; this new one takes its place.\n", p)
		next := access.New(key, h.firm.UID, a, id, p, x.Generation+1, now)
		return next, h.db.RevokeLink(ctx, h.firm.UID, x.Hash, next)
	}
	return l, errors.New("the link was not kept")
}

// madeWith reports whether a link's secret can be made again with this key.
func madeWith(key []byte, l access.Link) bool {
	return l.Hash == access.HashOf(access.Token(key, l))
}

func (h *house) linkOut(key []byte, l access.Link) linkOut {
	o := linkOut{URL: h.cfg.PublicURL + access.Path(key, l)}
	if l.Purpose == access.Feed {
		o.Webcal = web.Webcal(o.URL)
	}
	return o
}

type linkListCmd struct {
	JSON bool `help:"Print JSON."`
}

// linkRow is a link as it is listed.
type linkRow struct {
	Audience   access.Audience `json:"audience"`
	ID         string          `json:"id"`
	Purpose    access.Purpose  `json:"purpose"`
	Generation int             `json:"generation"`
	Created    any             `json:"created"`
	linkOut
}

// Run lists the links with their secrets: who can run this can read the key.
func (c *linkListCmd) Run(ctx context.Context, s *session) error {
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	key, err := h.links()
	if err != nil {
		return err
	}
	all, err := h.db.Links(ctx, h.firm.UID)
	if err != nil {
		return err
	}
	rows := []linkRow{}
	for _, l := range all {
		r := linkRow{Audience: l.Audience, ID: l.ID, Purpose: l.Purpose, Generation: l.Generation, Created: stamp(l.Created)}
		if madeWith(key, l) {
			r.linkOut = h.linkOut(key, l)
		}
		rows = append(rows, r)
	}
	if c.JSON {
		return s.printJSON(rows)
	}
	if len(rows) == 0 {
		s.printf("There are no links yet. Make one with: laycast link new --crew ID\n")
		return nil
	}
	t := tabwriter.NewWriter(s.Out, 0, 4, 2, ' ', 0)
	fmt.Fprintln(t, "FOR\tWHO\tOPENS\tLINK")
	for _, r := range rows {
		url := r.URL
		if url == "" {
			url = "(made with another link key: works, but cannot be shown)"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\n", r.Audience, r.ID, r.Purpose, url)
	}
	return t.Flush()
}

type linkRevokeCmd struct {
	URL  string `arg:"" name:"url" help:"The link, whole."`
	JSON bool   `help:"Print the link that takes its place as JSON."`
}

// Help says what revoking does and does not do.
func (linkRevokeCmd) Help() string {
	return "The old link opens nothing from that moment on. A calendar that was subscribed by it keeps its last copy. A new link takes its place.\n\n" +
		"Example: laycast link revoke https://lay.firm.example/f/....ics"
}

// Run revokes a link.
func (c *linkRevokeCmd) Run(ctx context.Context, s *session) error {
	token := access.FromPath(c.URL)
	if token == "" {
		return usageError{errors.New("that is no secret link; give the whole address as laycast link list shows it")}
	}
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	l, err := h.db.LinkByHash(ctx, access.HashOf(token))
	if errors.Is(err, db.ErrNotFound) || err == nil && l.Firm != h.firm.UID {
		return errors.New("this link opens nothing: it never existed, or it was revoked before")
	}
	if err != nil {
		return err
	}
	key, err := h.links()
	if err != nil {
		return err
	}
	now, _, err := h.now(ctx, "")
	if err != nil {
		return err
	}
	next := access.New(key, l.Firm, l.Audience, l.ID, l.Purpose, l.Generation+1, now)
	if err := h.db.RevokeLink(ctx, l.Firm, l.Hash, next); err != nil {
		return err
	}
	out := h.linkOut(key, next)
	if c.JSON {
		return s.printJSON(out)
	}
	s.printf("The link opens nothing from now on. In its place:\n%s\n", out.URL)
	if l.Purpose == access.Page {
		s.printf("The calendar whose address the page showed still opens; revoke that too if it must not.\n")
	}
	return nil
}
