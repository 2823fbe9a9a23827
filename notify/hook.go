package notify

import (
	"encoding/json"
	"fmt"
	"time"
)

// Hook is what a message says to a program of the firm's own; docs/webhook.md
// describes it. Fields may be added, none renamed.
type Hook struct {
	ID        string   `json:"id"`        // the same for the same message, however often it is sent
	MailID    string   `json:"mail_id"`   // Message-ID of the mail that says the same
	Firm      string   `json:"firm"`      // uid
	Audience  Audience `json:"audience"`  // crew or owner
	Recipient string   `json:"recipient"` // mail address, in lower case
	Kind      Kind     `json:"kind"`      //
	Job       string   `json:"job"`       // "" where it is about none
	Date      string   `json:"date"`      // civil day it is about
	Subject   string   `json:"subject"`   // one line that says it
	Text      string   `json:"text"`      // the whole, as the mail's plain text
	Created   string   `json:"created"`   // RFC 3339, UTC
	Expires   string   `json:"expires"`   // until when it is of use
	Note      string   `json:"note"`      // the caution that every message bears
}

// hookNote stands in every message by webhook: what is passed on in few words
// must not lose it.
const hookNote = "A forecast is no permission: the lead hand decides on site."

// ByHook gives the message that says the same by webhook. ok is false for one to
// a customer, who is written to by mail alone, and for one that bears a secret
// link to sign in with.
func (m Message) ByHook() (hook Message, ok bool, err error) {
	if m.Channel != Mail || m.Audience == ToCustomer || m.Kind == KindSignIn || m.Plain == "" {
		return Message{}, false, nil
	}
	hook = m
	hook.Channel = Webhook
	hook.ID = hook.Name.ID()
	stamp := func(t time.Time) string { return t.UTC().Truncate(time.Second).Format(time.RFC3339) }
	hook.Wire, err = json.Marshal(Hook{
		ID: hook.ID, MailID: m.MessageID, Firm: m.Firm, Audience: m.Audience, Recipient: m.Recipient, Kind: m.Kind, Job: m.Job,
		Date: m.Date.String(), Subject: m.Subject, Text: m.Plain, Created: stamp(m.Created), Expires: stamp(m.Expires), Note: hookNote,
	})
	if err != nil {
		return Message{}, false, fmt.Errorf("write message %s for the webhook: %w", m.ID, err)
	}
	return hook, true, nil
}
