package notify_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"
	"testing"

	"laycast/notify"
)

// TestThread names every mail before it, oldest first, and of very many the
// first and the newest.
func TestThread(t *testing.T) {
	l := visitLetter(t)
	l.Thread = []string{"one@saltbox.example", "bad id", "two@saltbox.example", "two@saltbox.example"}
	m, err := composer(t).DateMoved(l)
	if err != nil {
		t.Fatal(err)
	}
	h := checkWire(t, m).header
	if got := h.Get("References"); got != "<one@saltbox.example> <two@saltbox.example>" {
		t.Errorf("References %q", got)
	}
	if got := h.Get("In-Reply-To"); got != "<two@saltbox.example>" {
		t.Errorf("In-Reply-To %q", got)
	}
	l.Thread = nil
	for i := range 40 {
		l.Thread = append(l.Thread, fmt.Sprintf("mail%d@saltbox.example", i))
	}
	if m, err = composer(t).DateMoved(l); err != nil {
		t.Fatal(err)
	}
	refs := strings.Fields(checkWire(t, m).header.Get("References"))
	if len(refs) != 12 || refs[0] != "<mail0@saltbox.example>" || refs[11] != "<mail39@saltbox.example>" {
		t.Errorf("of 40 mails before it, References are %q", refs)
	}
}

// TestCrewThreadIsAFunctionOfNames: the id of an evening's mail can be told from
// the call alone.
func TestCrewThreadIsAFunctionOfNames(t *testing.T) {
	c := composer(t)
	evening, err := c.CrewCall(letterOf(t, goCall(t)))
	if err != nil {
		t.Fatal(err)
	}
	if got := c.CallID(goCall(t), " Heron@saltbox.example"); got != evening.MessageID {
		t.Errorf("the evening's call is %q, its mail %q", got, evening.MessageID)
	}
	l := secondLook(t, nil, noGoCall(t))
	look, err := c.SecondLook(l)
	if err != nil {
		t.Fatal(err)
	}
	if got := c.CallID(l.Call, "heron@saltbox.example"); got != look.MessageID {
		t.Errorf("the second look is %q, its mail %q", got, look.MessageID)
	}
	if got := c.CallID(goCall(t), "nobody"); got != "" {
		t.Errorf("no address has the mail %q", got)
	}
}

// TestInvitationInAMail stands among the alternatives and among the attachments,
// the same object (INTEROP.md D.1).
func TestInvitationInAMail(t *testing.T) {
	l := visitLetter(t)
	l.Invitation = &notify.Invitation{Method: "REQUEST", ICS: []byte("BEGIN:VCALENDAR\r\nMETHOD:REQUEST\r\nEND:VCALENDAR\r\n")}
	m, err := composer(t).DateTold(l)
	if err != nil {
		t.Fatal(err)
	}
	p := checkWire(t, m)
	want := []string{"multipart/mixed", "multipart/alternative", "text/plain", "text/html", "text/calendar", "application/ics"}
	if !slices.Equal(p.tree, want) {
		t.Errorf("tree %q, want %q", p.tree, want)
	}
	if len(p.calendars) != 2 || !bytes.Equal(p.calendars[0], l.Invitation.ICS) || !bytes.Equal(p.calendars[1], l.Invitation.ICS) {
		t.Errorf("the objects are %q", p.calendars)
	}
	if !bytes.Contains(m.Wire, []byte("Content-Type: text/calendar; charset=utf-8; method=REQUEST; component=VEVENT\r\n")) {
		t.Error("the calendar part does not name its method")
	}
}
