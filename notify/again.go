package notify

import (
	"bytes"
	"errors"
	"fmt"
	"net/mail"
	"strconv"
	"strings"
	"time"
)

// Resend is a message that is to go again because the owner says so.
type Resend struct {
	Message        // as it was kept, its wire among it
	To      string // whom to write to now; "" as before
	ToName  string
	N       int // how often it goes again, from 1
	Now     time.Time
}

// again marks the occasion of a message that the owner had sent again.
const again = "/again-"

// IsAgain reports whether a message is one that the owner had sent again.
func (n Name) IsAgain() bool { return strings.Contains(n.Occasion, again) }

// AgainOf reports whether a message is m, sent again.
func (n Name) AgainOf(m Name) bool {
	return n.Kind == m.Kind && n.Job == m.Job && n.Visit == m.Visit && n.Date == m.Date && strings.HasPrefix(n.Occasion, m.Occasion+again)
}

// Again makes the message that goes when the owner sends one again. It is a row
// of its own, so that what became of the first stays on record. Where the first
// may have arrived (it is unknown) and goes to the same address, it bears the
// same Message-ID and the same bytes, so that a mail program that has it
// already shows it once. One that was sent or refused goes under a Message-ID
// of its own, which names the first: the reader asked for it, or never had it.
func (c *Composer) Again(r Resend) (Message, error) {
	m := r.Message
	to, err := plainAddress(m.Recipient)
	if r.To != "" {
		to, err = plainAddress(r.To)
	}
	if err != nil {
		return Message{}, fmt.Errorf("send message %s again: %w", m.ID, err)
	}
	if m.Channel != Mail || len(m.Wire) == 0 {
		return Message{}, fmt.Errorf("send message %s again: it is no mail", m.ID)
	}
	moved := !strings.EqualFold(to, m.Recipient)
	if moved && bytes.Contains(m.Wire, []byte("\r\nContent-Type: text/calendar")) {
		return Message{}, fmt.Errorf("send message %s again: the invitation in it is made out to %s; write to %s yourself", m.ID, m.Recipient, to)
	}
	out := Message{
		Name: m.Name, Audience: m.Audience, MessageID: m.MessageID, Subject: m.Subject, Wire: m.Wire,
		Reason:  "the owner had it sent again; " + m.Reason,
		Created: r.Now, NotBefore: r.Now, Expires: m.Expires, State: Pending,
	}
	out.Recipient = strings.ToLower(to)
	out.Occasion = m.Occasion + again + strconv.Itoa(r.N)
	out.ID = out.Name.ID()
	if m.State == Unknown && !moved {
		return out, nil
	}
	out.MessageID = out.ID + "@" + domainOf(c.from.Address)
	out.Wire, err = c.readdress(m, out, mail.Address{Name: shorten(clean(r.ToName), 60), Address: to}, moved)
	if err != nil {
		return Message{}, fmt.Errorf("send message %s again: %w", m.ID, err)
	}
	return out, nil
}

// readdress writes a mail's head anew and leaves its body as it is.
func (c *Composer) readdress(old, m Message, to mail.Address, moved bool) ([]byte, error) {
	head, body, ok := bytes.Cut(old.Wire, []byte("\r\n\r\n"))
	if !ok {
		return nil, errors.New("its text has no head")
	}
	var b bytes.Buffer
	for _, field := range fields(string(head)) {
		switch key, _, _ := strings.Cut(field, ":"); strings.ToLower(key) {
		case "to":
			if moved {
				b.WriteString(fold("To", address(to)))
				continue
			}
		case "date":
			b.WriteString(fold("Date", m.Created.In(c.zone).Format("Mon, 02 Jan 2006 15:04:05 -0700")))
			continue
		case "message-id":
			b.WriteString(fold("Message-ID", "<"+m.MessageID+">"))
			b.WriteString(fold("In-Reply-To", "<"+old.MessageID+">"))
			b.WriteString(fold("References", "<"+old.MessageID+">"))
			continue
		case "in-reply-to", "references":
			continue
		}
		b.WriteString(field)
	}
	b.WriteString("\r\n")
	b.Write(body)
	return b.Bytes(), nil
}

// fields gives the fields of a head, each with its folds and its last CRLF.
func fields(head string) []string {
	var out []string
	for _, line := range strings.SplitAfter(head+"\r\n", "\r\n") {
		switch {
		case line == "":
		case len(out) > 0 && (line[0] == ' ' || line[0] == '\t'):
			out[len(out)-1] += line
		default:
			out = append(out, line)
		}
	}
	return out
}
