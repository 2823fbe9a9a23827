package calendar

import (
	"bytes"
	"fmt"
	"strings"
	"time"

	ics "github.com/arran4/golang-ical"

	"laycast/notify"
)

// The methods of an invitation, spelled as RFC 5546 spells them.
const (
	Request = "REQUEST" // an invitation, or a change of one
	Cancel  = "CANCEL"
)

// Person is one end of an invitation.
type Person struct{ Name, Email string }

// Invitation is a visit put into one customer's own calendar by mail. Its event
// has hours, a Sequence above that of the one before it about the same visit,
// and as ChangedAt the time of its writing.
type Invitation struct {
	Method    string
	Event     Event
	Zone      string // IANA name
	Organizer Person // the firm: answers go there
	Attendee  Person // the mail's one recipient
}

// Render gives the object's bytes (RFC 5545, 5546). It refuses one that some
// client would not take.
func (i Invitation) Render() ([]byte, error) {
	loc, err := time.LoadLocation(i.Zone)
	if err != nil || i.Zone == "" || i.Zone == "Local" {
		return nil, fmt.Errorf("the invitation %s has no zone: %q is not one such as America/Halifax", i.Event.UID, i.Zone)
	}
	if err := i.check(); err != nil {
		return nil, err
	}
	cal := ics.NewCalendar()
	cal.SetProductId("-//laycast//visits//EN")
	cal.SetCalscale("GREGORIAN")
	cal.SetMethod(ics.Method(i.Method))
	clock := clockFor(loc, []Event{i.Event})
	cal.AddVTimezone(clock.component())
	v := i.Event.component(clock)
	v.SetDescription(strings.Join(cleanLines(i.Event.Description), "\n")) // a mail does not lag behind as a feed does
	v.SetOrganizer(i.Organizer.Email, ics.WithCN(parameter(i.Organizer.Name)))
	who := []ics.PropertyParameter{ics.CalendarUserTypeIndividual, ics.ParticipationRoleReqParticipant, ics.WithCN(parameter(i.Attendee.Name))}
	if i.Method == Request {
		who = append(who, ics.ParticipationStatusNeedsAction, &ics.KeyValues{Key: "RSVP", Value: []string{"TRUE"}})
	}
	v.AddAttendee(i.Attendee.Email, who...)
	cal.AddVEvent(v)
	var b bytes.Buffer
	if err := cal.SerializeTo(&b, ics.WithNewLine("\r\n")); err != nil {
		return nil, fmt.Errorf("write the invitation %s: %w", i.Event.UID, err)
	}
	return b.Bytes(), nil
}

func (i Invitation) check() error {
	if err := i.Event.check(); err != nil {
		return err
	}
	switch off := i.Event.Status == Cancelled; {
	case i.Method != Request && i.Method != Cancel, off != (i.Method == Cancel):
		return fmt.Errorf("the invitation %s has the method %q and the status %s, which do not go together", i.Event.UID, i.Method, i.Event.Status)
	case !i.Event.From.IsZero():
		return fmt.Errorf("the invitation %s is for whole days; nobody is invited to a week", i.Event.UID)
	case i.Method == Cancel && i.Event.Sequence == 0:
		return fmt.Errorf("the invitation %s is cancelled with the sequence of the first one", i.Event.UID)
	case !isAddress(i.Organizer.Email) || !isAddress(i.Attendee.Email):
		return fmt.Errorf("the invitation %s goes from %q to %q, which are not two addresses", i.Event.UID, i.Organizer.Email, i.Attendee.Email)
	}
	return nil
}

func isAddress(s string) bool {
	at := strings.LastIndexByte(s, '@')
	return at > 0 && at < len(s)-1 && s == notify.Clean(s) && !strings.ContainsAny(s, ` ":;,<>\`)
}

// parameter makes a name fit for a parameter without quotes. The library puts
// backslashes before what it thinks special, which RFC 5545 3.2 does not know.
func parameter(name string) string {
	name = strings.Map(func(r rune) rune {
		switch r {
		case '"', ';', ':', ',', '\\', '^':
			return ' '
		case '\'':
			return '’'
		}
		return r
	}, name)
	if name = notify.Clean(name); name == "" {
		return "-"
	}
	return name
}
