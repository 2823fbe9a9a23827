package main

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"
)

type linkSignInCmd struct {
	Email string `help:"Who signs in; without it the owner (firm.email)." placeholder:"ADDRESS"`
	JSON  bool   `help:"Print JSON."`
}

// Help says what it is for.
func (linkSignInCmd) Help() string {
	return "For when no mail arrives: the same link that the first page mails. It works once, for 15 minutes.\n\n" +
		"Example: laycast link sign-in"
}

// Run prints a sign-in link.
func (c *linkSignInCmd) Run(ctx context.Context, s *session) error {
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	person := strings.ToLower(cmp.Or(c.Email, h.firm.Email))
	if !strings.EqualFold(person, h.firm.Email) && !slices.ContainsFunc(h.firm.Office, func(a string) bool { return strings.EqualFold(a, person) }) {
		return fmt.Errorf("%q may not sign in; the owner is %s, others are named under users.office in %s", person, h.firm.Email, h.cfg.Path)
	}
	now, _, err := h.now(ctx, "")
	if err != nil {
		return err
	}
	link, err := h.signInLink(ctx, person, now)
	if err != nil {
		return err
	}
	if c.JSON {
		return s.printJSON(map[string]string{"url": link})
	}
	s.printf("%s\n", link)
	return nil
}
