package notify

import (
	"strings"

	"laycast/scheduler/call"
)

// CallID gives the Message-ID of the mail that told the crew at this address of
// an evening's call about the same visit and day, so that a later mail can be
// put into its thread.
func (c *Composer) CallID(k call.Call, email string) string {
	to, err := plainAddress(email)
	if err != nil {
		return ""
	}
	n := Name{
		Firm: c.firm.UID, Kind: KindCall, Job: k.Job, Visit: k.Visit, Date: k.Date,
		Occasion: string(call.Evening), Recipient: strings.ToLower(to), Channel: Mail,
	}
	return n.ID() + "@" + domainOf(c.from.Address)
}
