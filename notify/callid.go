package notify

import (
	"strings"

	"laycast/job"
	"laycast/scheduler/call"
)

// CallID gives the Message-ID of the mail that told the crew at this address of
// a call, so that a later mail about the same day can be put into its thread;
// "" where the address is none.
func (c *Composer) CallID(k call.Call, email string) string {
	n := Name{Kind: KindSecondLook, Job: k.Job, Visit: k.Visit, Date: k.Date, Occasion: string(k.Occasion)}
	if k.Occasion == call.Evening {
		n.Kind = KindCall
	}
	return c.messageID(n, email)
}

// messageID gives the Message-ID of the mail of that name to an address.
func (c *Composer) messageID(n Name, email string) string {
	to, err := plainAddress(email)
	if err != nil {
		return ""
	}
	n.Firm, n.Recipient, n.Channel = c.firm.UID, strings.ToLower(to), Mail
	return n.ID() + "@" + domainOf(c.from.Address)
}

// Organizer gives the address from which a firm invites: its own, where that is
// of the domain that its mails come from, else the mails' own (RFC 6047 2.3;
// answers to an invitation go there).
func (c *Composer) Organizer() (name, email string) {
	a := c.from
	if strings.EqualFold(domainOf(c.reply.Address), domainOf(a.Address)) {
		a = c.reply
	}
	if a.Name == "" {
		a.Name = c.reply.Name
	}
	return a.Name, a.Address
}

// Attendee gives a customer's address as a mail to it bears it; "" where it is
// none or the firm's own, which cannot invite itself.
func (c *Composer) Attendee(who job.Customer) string {
	to, err := plainAddress(who.Email)
	if _, from := c.Organizer(); err != nil || strings.EqualFold(to, from) {
		return ""
	}
	return to
}
