// Package notify composes what people are told: one message for one recipient,
// rendered once to the bytes that go over the wire. It decides nothing and
// sends nothing.
package notify

import (
	"crypto/sha256"
	"encoding/base32"
	"strconv"
	"strings"
	"time"

	"laycast/job"
)

// Kind is the kind of a message.
type Kind string

// The kinds of message.
const (
	KindCall       Kind = "call"
	KindSecondLook Kind = "second-look"
	KindCoverUp    Kind = "cover-up"
	KindWeekTold   Kind = "week-told"
	KindDateTold   Kind = "date-told"
	KindDateMoved  Kind = "date-moved"
	KindCancelled  Kind = "date-cancelled"
	KindHandOver   Kind = "hand-over"
	KindWeek       Kind = "week"
	KindTrouble    Kind = "trouble"
	KindSignIn     Kind = "sign-in"
)

// Channel is a way to reach somebody.
type Channel string

// The channels.
const (
	Mail    Channel = "mail"
	Webhook Channel = "webhook" // to crews and the owner, beside the mail
)

// State is where a message stands.
type State string

// The states of a message.
const (
	Pending   State = "pending"
	Begun     State = "begun"     // handed to the transport, no answer yet
	Sent      State = "sent"      // the transport took it
	Refused   State = "refused"   // the transport will never take it
	Withdrawn State = "withdrawn" // a newer message about the same day took its place
	Expired   State = "expired"   // too late to be of use
	Unknown   State = "unknown"   // it may or may not have arrived; the owner was told
)

// Audience is whom a message is for; it decides what happens after a doubtful
// delivery: a crew's or owner's message goes again with the same Message-ID, a
// customer's becomes unknown.
type Audience string

// The audiences.
const (
	ToCrew     Audience = "crew"
	ToOwner    Audience = "owner"
	ToCustomer Audience = "customer"
)

// Name is what makes a message itself. The same name is the same message,
// however often it is composed.
type Name struct {
	Firm      string // uid
	Kind      Kind
	Job       string // "" where it is about none
	Visit     int
	Date      job.Date // the visit day, or the day it is about
	Occasion  string
	Recipient string // mail address
	Channel   Channel
}

// Key gives the name as one string, each part escaped so that no two names
// share a key.
func (n Name) Key() string {
	parts := []string{n.Firm, string(n.Kind), n.Job, strconv.Itoa(n.Visit), n.Date.String(), n.Occasion, n.Recipient, string(n.Channel)}
	for i, p := range parts {
		parts[i] = strings.NewReplacer(`\`, `\\`, "|", `\p`).Replace(p)
	}
	return strings.Join(parts, "|")
}

// ID gives the 26 letters and digits that stand for the key: base32 of its
// SHA-256, cut.
func (n Name) ID() string {
	sum := sha256.Sum256([]byte(n.Key()))
	return strings.ToLower(base32.StdEncoding.EncodeToString(sum[:])[:26])
}

// Message is one message to one recipient by one channel.
type Message struct {
	ID string // Name.ID
	Name
	Audience  Audience
	MessageID string // "ID@domain", without angle brackets
	Subject   string
	Wire      []byte // the whole mail, CRLF, as it goes over the wire
	Reason    string // why this person is told
	Plain     string // the mail's text, where it was just composed; not kept

	Created   time.Time
	NotBefore time.Time
	Expires   time.Time

	State   State
	Tries   int
	Begun   time.Time
	Settled time.Time
	NextTry time.Time
	Note    string // last failure in words
	Lease   string // of whoever delivers it now
}

// Untold is a recorded reason why somebody was not told something.
type Untold struct {
	Firm   string
	Person string
	Job    string
	Date   job.Date
	At     time.Time
	Reason string
}
