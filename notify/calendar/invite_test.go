package calendar_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"
	"pgregory.net/rapid"

	"laycast/notify"
	"laycast/notify/calendar"
)

func invitation(t *testing.T, method string, sequence int) calendar.Invitation {
	t.Helper()
	state := calendar.Told
	if method == calendar.Cancel {
		state = calendar.Off
	}
	e := event(t, visit(state, date(time.April, 15)), notify.ToCustomer)
	e.Sequence = sequence
	return calendar.Invitation{
		Method: method, Event: e, Zone: "America/Halifax",
		Organizer: calendar.Person{Name: "Saltbox Laminates", Email: "office@saltbox.example"},
		Attendee:  calendar.Person{Name: `O'Dowd, "Maeve"; x:y`, Email: "maeve@post.example"},
	}
}

func TestInvitation(t *testing.T) {
	for _, c := range []struct {
		method   string
		sequence int
		has      []string
		hasNot   []string
	}{
		{calendar.Request, 0, []string{
			"METHOD:REQUEST", "SEQUENCE:0", "STATUS:CONFIRMED", "DTSTAMP:20270410T150405Z", "PARTSTAT=NEEDS-ACTION", "RSVP=TRUE",
			"DTSTART;TZID=America/Halifax:20270415T073000", "BEGIN:VTIMEZONE", "TRANSP:OPAQUE",
			"ORGANIZER;CN=Saltbox Laminates:mailto:office@saltbox.example", "CN=O’Dowd Maeve x y", ":mailto:maeve@post.example",
		}, []string{"VALARM", "Calendars can lag", "REFRESH-INTERVAL", "CN=-"}},
		{calendar.Cancel, 2, []string{
			"METHOD:CANCEL", "SEQUENCE:2", "STATUS:CANCELLED", "DTSTART;TZID=America/Halifax:20270415T073000", "SUMMARY:CANCELLED:", ":mailto:maeve@post.example",
		}, []string{"RSVP", "PARTSTAT"}},
	} {
		b, err := invitation(t, c.method, c.sequence).Render()
		if err != nil {
			t.Fatal(err)
		}
		checkOctets(t, b)
		flat := strings.ReplaceAll(string(b), "\r\n ", "")
		for _, s := range c.has {
			if !strings.Contains(flat, s) {
				t.Errorf("%s lacks %q:\n%s", c.method, s, flat)
			}
		}
		for _, s := range c.hasNot {
			if strings.Contains(flat, s) {
				t.Errorf("%s holds %q", c.method, s)
			}
		}
		again, err := invitation(t, c.method, c.sequence).Render()
		if err != nil || !bytes.Equal(again, b) {
			t.Errorf("%s rendered again is another object (%v)", c.method, err)
		}
	}
}

// TestInvitationsOfOneVisitShareTheirUID: a move is no second event.
func TestInvitationsOfOneVisitShareTheirUID(t *testing.T) {
	a, b := invitation(t, calendar.Request, 0), invitation(t, calendar.Cancel, 1)
	b.Event.Start = b.Event.Start.AddDate(0, 0, 1)
	if a.Event.UID != b.Event.UID || a.Event.UID == "" {
		t.Errorf("UIDs %q and %q", a.Event.UID, b.Event.UID)
	}
}

func TestInvitationRefuses(t *testing.T) {
	for name, spoil := range map[string]func(*calendar.Invitation){
		"no method":         func(i *calendar.Invitation) { i.Method = "" },
		"publish":           func(i *calendar.Invitation) { i.Method = "PUBLISH" },
		"cancel of a stand": func(i *calendar.Invitation) { i.Method = calendar.Cancel },
		"request called off": func(i *calendar.Invitation) {
			i.Event.Status = calendar.Cancelled
		},
		"a week":      func(i *calendar.Invitation) { i.Event.From, i.Event.To = date(time.April, 12), date(time.April, 16) },
		"no attendee": func(i *calendar.Invitation) { i.Attendee.Email = "" },
		"two lines":   func(i *calendar.Invitation) { i.Attendee.Email = "a@b.example\r\nATTENDEE:x@y.example" },
		"no zone":     func(i *calendar.Invitation) { i.Zone = "Local" },
		"no stamp":    func(i *calendar.Invitation) { i.Event.ChangedAt = time.Time{} },
	} {
		i := invitation(t, calendar.Request, 1)
		spoil(&i)
		if b, err := i.Render(); err == nil {
			t.Errorf("%s: rendered %q", name, b)
		}
	}
	i := invitation(t, calendar.Cancel, 0)
	if _, err := i.Render(); err == nil {
		t.Error("a cancellation with the sequence of the invitation was rendered")
	}
}

// TestInvitationOfAnyName: whatever a customer is called, the object parses and
// the attendee stays the one.
func TestInvitationOfAnyName(t *testing.T) {
	base := invitation(t, calendar.Request, 1)
	rapid.Check(t, func(t *rapid.T) {
		i := base
		i.Attendee.Name = rapid.String().Draw(t, "name")
		i.Organizer.Name = rapid.String().Draw(t, "firm")
		b, err := i.Render()
		if err != nil {
			t.Fatal(err)
		}
		checkOctets(t, b)
		c, err := ics.ParseCalendar(bytes.NewReader(b))
		if err != nil || len(c.Events()) != 1 {
			t.Fatalf("%v: %q", err, b)
		}
		who := c.Events()[0].Attendees()
		if len(who) != 1 || who[0].Value != "mailto:maeve@post.example" {
			t.Errorf("attendees %+v", who)
		}
	})
}
