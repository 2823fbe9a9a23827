package main

import (
	"strings"
	"testing"
)

// What the owner can ask of the messages, and have sent again.
func TestMessagesAskedForAndSentAgain(t *testing.T) {
	t.Parallel()
	o := killOffice(t)
	box := newLetterbox(t)
	box.mum = "customer1@mail.example"
	const until = "2027-10-26T17:05:00Z" // the calls for the 27th were just made
	o.must("rehearse", "--from", killFrom, "--to", until, "--smtp", box.url)
	var unknown, done sent
	last := map[string]sent{}
	for _, m := range o.messages() {
		if strings.HasSuffix(m.To, "@mail.example") {
			last[m.To+m.Job] = m
		}
	}
	for _, m := range last {
		switch {
		case m.State == "unknown":
			unknown = m
		case m.State == "sent" && m.Date == "2027-10-27":
			done = m
		}
	}
	if unknown.ID == "" || done.ID == "" {
		t.Fatalf("no message that may have arrived, or none that did: %v", last)
	}
	// why: the message itself, the reason, and the state it is in
	out := o.must("messages", "--why", unknown.To, unknown.Date)
	for _, w := range []string{"unknown", unknown.Subject, unknown.Reason, "As it stands now", unknown.Job} {
		if !strings.Contains(out, w) {
			t.Errorf("why %s was told does not say %q:\n%s", unknown.To, w, out)
		}
	}
	if out := o.must("messages", "--why", "gull", "2027-12-24"); !strings.Contains(out, "No message is about this day") {
		t.Errorf("about a day without word: %s", out)
	}
	o.fails(exitFail, []string{"nobody in the book"}, "messages", "--why", "Nobody", "2027-10-26")
	o.fails(exitUsage, []string{"--why wants"}, "messages", "--why", "gull")
	o.fails(exitUsage, []string{"not a day"}, "messages", "--why", "gull", "tomorrow")
	if n := len(decode[[]sent](t, o.must("messages", "--lost", "--json"))); n == 0 {
		t.Error("nothing is lost, though the line was cut")
	}
	// again: the one in doubt as the same mail, the other as one of its own
	o.must("messages", "resend", unknown.ID)
	o.must("messages", "resend", done.ID)
	o.fails(exitFail, []string{"find message"}, "messages", "resend", "nonsense")
	box.mu.Lock()
	box.mum = ""
	box.mu.Unlock()
	o.must("rehearse", "--from", killFrom, "--to", "2027-10-26T17:15:00Z", "--smtp", box.url)
	again := 0
	for _, m := range o.messages() {
		if !strings.HasPrefix(m.Reason, "the owner had it sent again") {
			continue
		}
		again++
		if m.State != "sent" {
			t.Errorf("%s to %s, sent again, is %s: %s", m.Kind, m.To, m.State, m.Note)
		}
		if m.To == unknown.To && m.Job == unknown.Job && m.MessageID != unknown.MessageID {
			t.Errorf("the mail in doubt goes again as %s, not as %s", m.MessageID, unknown.MessageID)
		}
		if m.To == done.To && m.Job == done.Job && m.MessageID == done.MessageID {
			t.Errorf("the mail that arrived goes again under the same id")
		}
	}
	if again != 2 || box.got[unknown.MessageID] < 1 || box.got[unknown.MessageID] > 2 {
		t.Errorf("%d went again; the one in doubt came %d times", again, box.got[unknown.MessageID])
	}
	for _, m := range o.messages() {
		if m.ID == unknown.ID && m.State != "unknown" {
			t.Errorf("what became of the first is no longer on record: %s", m.State)
		}
	}
}
