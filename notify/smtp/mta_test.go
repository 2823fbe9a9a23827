package smtp_test

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"mime"
	"net"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/notify/smtp"
	"laycast/rules"
	"laycast/scheduler/call"
)

// These tests hand mail to exim, a mail server firms do run, and read it again
// in the mailbox it wrote. It is private to the test: a folder and a loopback
// port of its own, and no way out of the machine.

// mailbox waits until exim is done with n messages, and gives the mails in
// heron's mailbox, their lines ended by CRLF as on the wire. The mailbox is a
// file in the "mbox" form of RFC 4155: each mail begins with a line "From ",
// and ends with an empty line; a line of the mail that looks so has a > before it.
func (s *mta) mailbox(t *testing.T, n int) []string {
	t.Helper()
	if !within(time.Minute, func() bool { return strings.Count(s.log(), " Completed\n") >= n }) {
		t.Fatalf("exim has not delivered %d messages within a minute:\n%s", n, s.log())
	}
	raw, err := os.ReadFile(filepath.Join(s.dir, "box", "heron"))
	if err != nil {
		t.Fatal(err)
	}
	var mails []string
	for _, m := range strings.Split("\n"+string(raw), "\nFrom ")[1:] {
		_, m, _ = strings.Cut(m, "\n")
		m = strings.ReplaceAll(m, "\n>From ", "\nFrom ")
		mails = append(mails, strings.ReplaceAll(m, "\n", "\r\n"))
	}
	return mails
}

// crewCall is an invented evening call as the daemon writes it, with a picture
// that takes many packets.
func crewCall(t *testing.T) notify.Message {
	t.Helper()
	firm := job.DefaultFirm()
	firm.UID, firm.Name, firm.Zone, firm.Email = "saltbox", "Saltbox Laminates", "America/Halifax", "office@saltbox.example"
	c, err := notify.NewComposer(notify.ComposerConfig{Firm: firm, From: "Saltbox Laminates <office@saltbox.example>"})
	if err != nil {
		t.Fatal(err)
	}
	made := time.Date(2027, 4, 14, 21, 0, 0, 0, time.UTC)
	m, err := c.CrewCall(notify.CallLetter{
		Call: call.Call{
			Firm: "saltbox", Job: "J-104", Visit: 1, Crew: "heron", Date: job.Date{Year: 2027, Month: time.April, Day: 15},
			Occasion: call.Evening, Revision: 3, Outcome: call.Go, Made: made, Known: true, Chance: 0.78, Full: 0.31,
			Basis: rules.FromDressed, Members: 200, Reasons: []string{"the chance of 78 % is at least 70 %"},
			Start: made.Add(13 * time.Hour), SealedBy: made.Add(20 * time.Hour), SealedByLate: made.Add(21 * time.Hour),
			NoReturn: made.Add(17 * time.Hour), Source: "open-meteo", Fetched: made.Add(-time.Hour),
		},
		Job: job.Booking{Job: job.Job{
			ID: "J-104", Title: "garage roof", Customer: job.Customer{Name: "Maeve O’Dowd", Email: "maeve@post.example"},
			Site:  job.Site{Address: "12 Gannet Row, Herring Cove", Zone: "America/Halifax"},
			Notes: job.Notes{Access: "gate on the lane, code 4417" + strings.Repeat(" ...", 40)},
			Roof:  job.Roof{AreaM2: 24, Work: job.Replace, Deck: job.NewBoard},
		}, Revision: 3, State: job.Booked, NextVisit: 1},
		Crew:    job.Crew{ID: "heron", Name: "Heron", Size: 2, Email: "heron@saltbox.example"},
		Now:     made,
		Picture: &notify.Picture{Name: "hours.png", Title: "hours", PNG: bytes.Repeat([]byte("not a real picture. "), 20_000), Width: 600},
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// everyLine is a mail of all the lines that SMTP must carry: dots, blanks, what
// looks like a mailbox's line, and lines of 998 octets, the longest allowed
// (RFC 5321 4.5.3.1.6), to which stuffing adds one.
func everyLine() notify.Message {
	m := message()
	m.MessageID, m.Subject = "lines@saltbox.example", "Every line"
	m.Wire = []byte("From: <office@saltbox.example>\r\nTo: <heron@saltbox.example>\r\nSubject: Every line\r\nMessage-ID: <lines@saltbox.example>\r\n\r\n" +
		".\r\n..\r\n.QUIT\r\n\r\n.\r\n\r\n  trailing  \r\n\ttab\t\r\nFrom the lane\r\n-- \r\n" +
		strings.Repeat("x", 998) + "\r\n" + strings.Repeat(".", 998) + "\r\nlast line.\r\n\r\n\r\n")
	return m
}

func TestARealMailServerDeliversEveryByte(t *testing.T) {
	s := startMTA(t)
	sent := []notify.Message{crewCall(t), everyLine()}
	if !bytes.Contains(sent[0].Wire, []byte("\r\n.")) {
		t.Error("no line of the crew's call begins with a dot, so it does not try the stuffing of dots")
	}
	for i, m := range sent {
		if f := failure(t, open(s.addr), m); f != nil {
			t.Fatalf("%s: %v\n%s", m.Subject, f, s.log())
		}
		got := s.mailbox(t, i+1)
		if len(got) != i+1 {
			t.Fatalf("%s: the mailbox holds %d mails, want %d\n%s", m.Subject, len(got), i+1, s.log())
		}
		checkDelivered(t, got[i], m)
	}
}

// checkDelivered compares a mail in the mailbox with what was sent.
func checkDelivered(t *testing.T, got string, m notify.Message) {
	t.Helper()
	got = strings.TrimSuffix(got, "\r\n") // the empty line between mails
	if !strings.HasSuffix(got, "\r\n"+string(m.Wire)) {
		t.Errorf("%s: the mail is not, after the server's own lines, what was sent; it begins %.1500q", m.Subject, got)
	}
	p, err := mail.ReadMessage(strings.NewReader(got))
	if err != nil {
		t.Fatalf("%s: %v", m.Subject, err)
	}
	body, err := io.ReadAll(p.Body)
	if err != nil {
		t.Fatal(err)
	}
	if _, want, _ := bytes.Cut(m.Wire, []byte("\r\n\r\n")); !bytes.Equal(body, want) {
		t.Errorf("%s: the body has %d octets and differs from the %d sent", m.Subject, len(body), len(want))
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(p.Header.Get("Subject"))
	if err != nil || subject != m.Subject {
		t.Errorf("subject %q, %v, want %q", subject, err, m.Subject)
	}
	if ids := p.Header["Message-Id"]; len(ids) != 1 || ids[0] != "<"+m.MessageID+">" {
		t.Errorf("%s: Message-ID %q, want %s", m.Subject, ids, m.MessageID)
	}
	for key, want := range map[string]string{"To": m.Recipient, "Envelope-To": m.Recipient, "Return-Path": "office@saltbox.example"} {
		if list, err := p.Header.AddressList(key); err != nil || len(list) != 1 || list[0].Address != want {
			t.Errorf("%s: %s is %q, want %s alone", m.Subject, key, p.Header[key], want)
		}
	}
}

func TestARealMailServerRefusesAndDefers(t *testing.T) {
	s := startMTA(t)
	for _, c := range []struct {
		to    string
		class smtp.Class
		code  int
	}{
		{"plover@saltbox.example", smtp.Permanent, 550},  // no such box
		{"heron@elsewhere.example", smtp.Permanent, 550}, // another firm's: it is no open relay
		{"later@saltbox.example", smtp.Retry, 451},       // not now
	} {
		m := crewCall(t)
		m.Recipient = c.to
		if f := failure(t, open(s.addr), m); f == nil || f.Class != c.class || f.Code != c.code {
			t.Errorf("%s: got %+v, want %s %d", c.to, f, c.class, c.code)
		}
	}
	// Exim logs a message it takes, with "<=", before it says so. One taken now
	// shows that the log is read aright, and that nothing else comes before it.
	if f := failure(t, open(s.addr), message()); f != nil {
		t.Fatal(f)
	}
	if got := s.mailbox(t, 1); len(got) != 1 || !strings.Contains(got[0], "<abc@saltbox.example>") {
		t.Errorf("the mailbox holds %q, want the one mail that was taken", got)
	}
	if n := strings.Count(s.log(), " <= "); n != 1 {
		t.Errorf("exim took %d messages, want 1:\n%s", n, s.log())
	}
	boxes, err := filepath.Glob(filepath.Join(s.dir, "box", "*"))
	if err != nil || len(boxes) != 1 {
		t.Errorf("mailboxes %q, %v, want heron's alone", boxes, err)
	}
	if waiting, err := filepath.Glob(filepath.Join(s.dir, "spool", "input", "*")); err != nil || len(waiting) != 0 {
		t.Errorf("exim still keeps %q, %v", waiting, err)
	}
}

// A process that is killed runs no clean-up: the server must end anyway.
func TestAKilledProcessLeavesNoMailServer(t *testing.T) {
	if os.Getenv("LAYCAST_TEST_VICTIM") != "" {
		s := startMTA(t)
		fmt.Println("AT", s.addr, s.name, s.dir)
		select {} // until killed
	}
	startMTA(t).stop() // skips where there is no exim
	victim := exec.Command(os.Args[0], "-test.run=^TestAKilledProcessLeavesNoMailServer$")
	victim.Env = append(os.Environ(), "LAYCAST_TEST_VICTIM=1")
	out, err := victim.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := victim.Start(); err != nil {
		t.Fatal(err)
	}
	line, readErr := bufio.NewReader(out).ReadString('\n')
	if err := victim.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	_ = victim.Wait() // killed, as was meant
	var addr, name, dir string
	if _, err := fmt.Sscanf(line, "AT %s %s %s", &addr, &name, &dir); err != nil {
		t.Fatalf("the victim said %q, %v", line, readErr)
	}
	gone := func() bool {
		_, err := os.Stat(filepath.Join(dir, "exim.conf"))
		return errors.Is(err, os.ErrNotExist)
	}
	if !within(20*time.Second, gone) {
		t.Errorf("%s still holds the server's files 20 s after its process was killed", dir)
	}
	// by name, for somebody else may have been given the port since
	if !within(20*time.Second, func() bool { return !strings.Contains(greeting(addr), name) }) {
		t.Errorf("the server still answers at %s after its process was killed", addr)
	}
	_ = os.RemoveAll(dir)
}

func TestATakenMailPortIsRecognised(t *testing.T) {
	bin := findExim(t)
	l, err := net.Listen("tcp", "127.0.0.1:0") // it listens and never greets
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	s, err := runMTA(bin, l.Addr().(*net.TCPAddr).Port)
	if err == nil {
		s.stop()
	}
	if !errors.Is(err, errPortTaken) {
		t.Errorf("got %v", err)
	}
}
