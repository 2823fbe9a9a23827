package main

import (
	"bufio"
	"context"
	"net"
	"net/mail"
	"strings"
	"sync"
	"testing"
)

// letterbox is a mail server that keeps what it is given: by Message-ID, how
// often the whole of a mail came.
type letterbox struct {
	url string
	mu  sync.Mutex
	got map[string]int
	n   int
	cut func(n int) bool // whether to break off after mail number n, its answer unsaid
	bad string           // a recipient that is refused for good
	mum string           // a recipient whose mail is taken, and the line cut before that is said
}

func newLetterbox(t testing.TB) *letterbox {
	t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	b := &letterbox{url: "smtp://" + ln.Addr().String(), got: map[string]int{}}
	var open sync.WaitGroup
	open.Go(func() {
		for {
			c, err := ln.Accept()
			if err != nil {
				return
			}
			open.Go(func() { b.talk(c) })
		}
	})
	t.Cleanup(func() { _ = ln.Close(); open.Wait() })
	return b
}

// talk holds one conversation (RFC 5321, the least of it).
func (b *letterbox) talk(c net.Conn) {
	defer c.Close()
	r := bufio.NewReader(c)
	say := func(s string) { _, _ = c.Write([]byte(s + "\r\n")) }
	say("220 letterbox")
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			return
		}
		switch verb := strings.ToUpper(strings.TrimSpace(line)); {
		case strings.HasPrefix(verb, "EHLO"):
			say("250-letterbox\r\n250 8BITMIME")
		case verb == "DATA":
			say("354 go on")
			var text strings.Builder
			for {
				line, err := r.ReadString('\n')
				if err != nil {
					return
				}
				if line == ".\r\n" {
					break
				}
				text.WriteString(strings.TrimPrefix(line, "."))
			}
			if !b.keep(text.String()) {
				return
			}
			say("250 kept")
		case verb == "QUIT":
			say("221 bye")
			return
		case b.bad != "" && strings.Contains(strings.ToLower(verb), b.bad):
			say("550 5.1.1 no such box")
		default:
			say("250 ok")
		}
	}
}

// keep counts a mail; false means that the line is to be cut now.
func (b *letterbox) keep(text string) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	m, err := mail.ReadMessage(strings.NewReader(text))
	if err != nil {
		b.got["unreadable: "+err.Error()]++
		return true
	}
	b.got[strings.Trim(m.Header.Get("Message-Id"), "<>")]++
	b.n++
	if b.mum != "" && strings.Contains(m.Header.Get("To"), b.mum) {
		return false
	}
	return b.cut == nil || !b.cut(b.n)
}

// Mail over SMTP while laycast is stopped again and again, and the server cuts
// the line after every third mail without a word: every message to a crew or
// the owner arrives, a customer's never twice, and a customer's that may be
// lost is told to the owner.
func TestMailThroughStopsAndCuts(t *testing.T) {
	t.Parallel()
	o := killOffice(t)
	box := newLetterbox(t)
	box.cut = func(n int) bool { return n%3 == 0 }
	args := []string{"rehearse", "--from", killFrom, "--to", killTo, "--smtp", box.url}
	stops := 0
	for n := int64(50); ; n += n/2 + 40 {
		f := newFuse(n)
		code, _, errs := o.run(f, args...)
		f.blow()
		if code == exitOK {
			break
		}
		if f.left.Load() > 0 {
			t.Fatalf("exit %d before it was stopped: %s", code, errs)
		}
		if stops++; stops > 200 {
			t.Fatal("it never ends")
		}
	}
	if code, _, errs := o.run(context.Background(), args...); code != exitOK {
		t.Fatalf("exit %d: %s", code, errs)
	}
	crew, unknown := 0, 0
	for _, m := range o.messages() {
		n := box.got[strings.Trim(m.MessageID, "<>")]
		customer := strings.HasSuffix(m.To, "@mail.example")
		switch {
		case m.State == "sent" && n == 0:
			t.Errorf("%s to %s is sent, but never came", m.Kind, m.To)
		case customer && n > 1:
			t.Errorf("%s to %s came %d times", m.Kind, m.To, n)
		case m.State == "unknown" && !customer:
			t.Errorf("%s to %s is unknown; it should have gone again", m.Kind, m.To)
		case m.State == "unknown":
			unknown++
		case !customer && n > 0:
			crew++
		}
		if (m.Kind == "call" || m.Kind == "second-look") && !customer && m.State != "sent" {
			t.Errorf("%s to %s is %s: %s", m.Kind, m.To, m.State, m.Note)
		}
	}
	if crew < 3 || stops < 5 {
		t.Errorf("%d messages to crews and owner in %d stops show too little", crew, stops)
	}
	known := map[string]bool{}
	for _, m := range o.messages() {
		known[strings.Trim(m.MessageID, "<>")] = true
	}
	for id := range box.got {
		if !known[id] {
			t.Errorf("a mail came that no message stands for: %s", id)
		}
	}
	if n := o.toldOf("may not have arrived"); n != unknown {
		t.Errorf("%d customers may not have been told, and the owner hears of %d", unknown, n)
	}
	t.Logf("%d stops, %d messages to crew and owner, %d customers' unknown", stops, crew, unknown)
}

// toldOf counts what the owner was told of trouble by a part of its subject.
func (o *office) toldOf(part string) int {
	o.t.Helper()
	n := 0
	for _, m := range o.messages() {
		if m.Kind == "trouble" && m.To == "office@quay.example" && strings.Contains(m.Subject, part) {
			n++
		}
	}
	return n
}

// One address that is refused for good stops nobody else's mail, and the owner
// hears of each message that it cost.
func TestOneBadAddressStopsNobody(t *testing.T) {
	t.Parallel()
	o := killOffice(t)
	box := newLetterbox(t)
	box.bad = "gull@quay.example"
	o.must("rehearse", "--from", killFrom, "--to", killTo, "--smtp", box.url)
	refused, sent := 0, 0
	for _, m := range o.messages() {
		switch {
		case m.To == box.bad:
			refused++
			if m.State != "refused" || !strings.Contains(m.Note, "no such box") {
				t.Errorf("%s to %s is %s: %s", m.Kind, m.To, m.State, m.Note)
			}
		case m.Kind == "call" && m.State != "sent":
			t.Errorf("%s to %s is %s: %s", m.Kind, m.To, m.State, m.Note)
		case m.State == "sent":
			sent++
		}
	}
	if refused == 0 || sent == 0 {
		t.Fatalf("%d refused and %d sent show too little", refused, sent)
	}
	if n := o.toldOf("could not be delivered"); n != refused {
		t.Errorf("%d messages were refused, and the owner hears of %d", refused, n)
	}
}
