package notify_test

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"laycast/notify"
)

func TestAgain(t *testing.T) {
	c := composer(t)
	l := visitLetter(t)
	l.Thread = []string{"first@saltbox.example"}
	m, err := c.DateMoved(l)
	if err != nil {
		t.Fatal(err)
	}
	now := m.Created.Add(26 * time.Hour)
	again := func(state notify.State, to string, n int) notify.Message {
		t.Helper()
		m.State = state
		a, err := c.Again(notify.Resend{Message: m, To: to, ToName: "Maeve O’Dowd", N: n, Now: now})
		if err != nil {
			t.Fatal(err)
		}
		if a.ID == m.ID || a.State != notify.Pending || !a.Created.Equal(now) || !strings.HasPrefix(a.Reason, "the owner had it sent again") {
			t.Errorf("%s: %+v", state, a)
		}
		return a
	}
	// it may have arrived: the very same mail
	same := again(notify.Unknown, "", 1)
	if same.MessageID != m.MessageID || !bytes.Equal(same.Wire, m.Wire) {
		t.Errorf("a mail in doubt goes again as another one")
	}
	if two := again(notify.Unknown, "", 2); two.ID == same.ID {
		t.Error("sent again twice it is one row")
	}
	// it arrived, or never will: another mail, naming the first
	for _, state := range []notify.State{notify.Sent, notify.Refused} {
		a := again(state, "", 1)
		h := checkWire(t, a).header
		if a.MessageID == m.MessageID || h.Get("In-Reply-To") != "<"+m.MessageID+">" || h.Get("References") != "<"+m.MessageID+">" {
			t.Errorf("%s: Message-ID %q, In-Reply-To %q", state, a.MessageID, h.Get("In-Reply-To"))
		}
		_, body, _ := bytes.Cut(a.Wire, []byte("\r\n\r\n"))
		_, want, _ := bytes.Cut(m.Wire, []byte("\r\n\r\n"))
		if !bytes.Equal(body, want) {
			t.Errorf("%s: its text changed", state)
		}
	}
	// a corrected address is another mail, whatever became of the first
	a := again(notify.Unknown, "maeve.odowd@post.example", 1)
	if p := checkWire(t, a); a.Recipient != "maeve.odowd@post.example" || a.MessageID == m.MessageID || p.plain == "" {
		t.Errorf("to another address: %+v", a.Name)
	}
	if _, err := c.Again(notify.Resend{Message: m, To: "nowhere", N: 1, Now: now}); err == nil {
		t.Error("sent again to no address")
	}
	l.Invitation = &notify.Invitation{Method: "REQUEST", ICS: []byte("BEGIN:VCALENDAR\r\n")}
	if m, err = c.DateMoved(l); err != nil {
		t.Fatal(err)
	}
	if _, err := c.Again(notify.Resend{Message: m, To: "other@post.example", N: 1, Now: now}); err == nil || !strings.Contains(err.Error(), "made out to") {
		t.Errorf("an invitation for another address: %v", err)
	}
}
