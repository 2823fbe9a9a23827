package main

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"log"
	"math/rand/v2"
	"net"
	"net/mail"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
)

var kills = flag.Int("kills", 8, "how often TestKillsOverSMTP kills laycast in its fortnight")

// A fortnight over the end of summer time.
const (
	killsFrom = "2027-10-18T12:00:00Z"
	killsTo   = "2027-11-01T12:00:00Z"
)

// mailHost is a real mail server that counts what arrives whole, by Message-ID,
// and tells a trap of each step of each conversation.
type mailHost struct {
	url  string
	mu   sync.Mutex
	got  map[string]int
	trap func(step string)
	down bool // nobody is let in
}

func newMailHost(t testing.TB) *mailHost {
	t.Helper()
	h := &mailHost{got: map[string]int{}}
	s := smtp.NewServer(smtp.BackendFunc(func(*smtp.Conn) (smtp.Session, error) {
		h.step("greeting")
		h.mu.Lock()
		defer h.mu.Unlock()
		if h.down {
			return nil, &smtp.SMTPError{Code: 421, EnhancedCode: smtp.EnhancedCode{4, 3, 2}, Message: "closed for the evening"}
		}
		return &conversation{h}, nil
	}))
	s.Domain, s.AllowInsecureAuth = "mail.test.example", true
	s.ErrorLog = log.New(io.Discard, "", 0)
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	h.url = "smtp://" + ln.Addr().String()
	done := make(chan error, 1)
	go func() { done <- s.Serve(ln) }()
	t.Cleanup(func() { _ = ln.Close(); _ = s.Close(); <-done })
	return h
}

// step springs the trap, if one is set. What it kills is dead when it returns,
// before the client hears the answer.
func (h *mailHost) step(name string) {
	h.mu.Lock()
	trap := h.trap
	h.mu.Unlock()
	if trap != nil {
		trap(name)
	}
}

type conversation struct{ h *mailHost }

func (c *conversation) Reset()        {}
func (c *conversation) Logout() error { c.h.step("after"); return nil }

func (c *conversation) Mail(string, *smtp.MailOptions) error { c.h.step("MAIL"); return nil }
func (c *conversation) Rcpt(string, *smtp.RcptOptions) error { c.h.step("RCPT"); return nil }

func (c *conversation) Data(r io.Reader) error {
	c.h.step("DATA")
	wire, err := io.ReadAll(r)
	if err != nil {
		return err // cut: it has not arrived
	}
	m, err := mail.ReadMessage(bytes.NewReader(wire))
	id := "unreadable"
	if err == nil {
		id = strings.Trim(m.Header.Get("Message-Id"), "<>")
	}
	c.h.mu.Lock()
	c.h.got[id]++
	c.h.mu.Unlock()
	c.h.step("taken") // the answer is not said yet
	return nil
}

// steps are how many steps one mail takes: no two kills fall on one mail, which
// would come three times.
const steps = 6

// TestKillsOverSMTP lives a fortnight while the program is killed at random
// steps of its mail and at random requests to the source. Every call to a crew
// arrives, at most twice and then as the same mail; a customer's mail never
// twice; what may be lost is on record, and the owner hears of each.
func TestKillsOverSMTP(t *testing.T) {
	slowWhenRaced(t)
	if testing.Short() {
		t.Skip("the kills take minutes: run without -short")
	}
	t.Parallel()
	self, err := os.Executable()
	if err != nil {
		t.Fatalf("find the test binary, which has to be run again: %v", err)
	}
	rng := rand.New(rand.NewPCG(7, uint64(*kills)))
	for done := 0; done < *kills; { // a fortnight over before it had all its kills is followed by another firm's
		n := killedFortnight(t, self, *kills-done, rng)
		if n == 0 {
			t.Fatal("a fortnight was over before anything was killed")
		}
		done += n
	}
}

// killedFortnight lives one firm's fortnight with up to so many kills, judges
// it, and gives their number.
func killedFortnight(t *testing.T, self string, most int, rng *rand.Rand) int {
	t.Helper()
	o := openOffice(t, "Europe/Dublin", "")
	book := bookOf(10+most/2, "2027-10-18")
	crews := book["crews"].([]any)
	for i := range most / 25 { // so much mail that each kill may fall on another
		crews = append(crews, map[string]any{"id": fmt.Sprintf("crew%d", i), "name": fmt.Sprintf("Crew %d", i), "size": 2,
			"email": fmt.Sprintf("crew%d@quay.example", i), "depot": map[string]any{"lat": 53.34, "lon": -6.25}})
	}
	book["crews"] = crews
	o.takeIn(book)
	host := newMailHost(t)
	args := []string{"--config", o.config, "rehearse", "--from", killsFrom, "--to", killsTo, "--smtp", host.url}
	where, done := map[string]int{}, 0
	for tries := 0; done < most && tries < 3*most; tries++ {
		at, ended := o.killOnce(self, args, host, rng)
		if ended {
			break
		}
		if at != "" {
			where[at]++
			done++
		}
	}
	o.must(args[2:]...)
	o.judgeKills(host, done, where)
	return done
}

// killOnce runs the program and kills it at one random step. It gives the step,
// "" where it was killed by nothing of ours, and whether it came to its end.
func (o *office) killOnce(self string, args []string, host *mailHost, rng *rand.Rand) (at string, ended bool) {
	o.t.Helper()
	cmd := exec.Command(self, args...)
	cmd.Env = append(os.Environ(), childEnv+"=1")
	var errs bytes.Buffer
	cmd.Stderr = &errs
	var once sync.Once
	started := make(chan struct{})
	left, pause := steps+1+rng.IntN(steps), time.Duration(rng.IntN(4))*time.Millisecond
	kill := func(step string) {
		once.Do(func() {
			<-started
			at = step
			if step == "after" || step == "source" {
				time.Sleep(pause) // between the answer and its record, or amid what follows
			}
			_ = cmd.Process.Kill()
			if step != "source" {
				// let it be dead before the server goes on
				for alive(cmd.Process.Pid) {
					time.Sleep(time.Millisecond)
				}
			}
		})
	}
	var mu sync.Mutex
	count := func(step string) {
		mu.Lock()
		left--
		hit := left == 0
		mu.Unlock()
		if hit {
			kill(step)
		}
	}
	host.mu.Lock()
	host.trap = count
	host.mu.Unlock()
	if rng.IntN(4) == 0 { // at the source instead, which is asked but some times a day
		host.mu.Lock()
		host.trap = nil
		host.mu.Unlock()
		n := o.source.asked() + 1 + rng.IntN(2)
		o.source.mu.Lock()
		o.source.onHit = func(k int) {
			if k == n {
				go kill("source") // the source holds its lock
			}
		}
		o.source.mu.Unlock()
	}
	if err := cmd.Start(); err != nil {
		o.t.Fatal(err)
	}
	close(started)
	err := cmd.Wait()
	once.Do(func() {}) // from here on nothing is killed; waits for a kill under way
	host.mu.Lock()
	host.trap = nil
	host.mu.Unlock()
	o.source.mu.Lock()
	o.source.onHit = nil
	o.source.mu.Unlock()
	if err != nil && cmd.ProcessState.ExitCode() != -1 {
		o.t.Errorf("it was not killed but ended with %v: %s", err, errs.String())
	}
	return at, err == nil
}

// alive reports whether a process runs: a zombie does not.
func alive(pid int) bool {
	b, err := os.ReadFile("/proc/" + strconv.Itoa(pid) + "/stat")
	if err != nil {
		return false
	}
	_, rest, _ := strings.Cut(string(b), ") ")
	return !strings.HasPrefix(rest, "Z")
}

// judgeKills counts what arrived against what stands on record.
func (o *office) judgeKills(host *mailHost, done int, where map[string]int) {
	t := o.t
	t.Helper()
	type count struct{ all, once, twice, never, unknown, other int }
	var crew, owner, customer count
	known := map[string]bool{}
	for _, m := range o.messages() {
		known[m.MessageID] = true
		n := host.got[m.MessageID]
		c := &owner
		switch {
		case strings.HasSuffix(m.To, "@mail.example"):
			c = &customer
		case m.To != "office@quay.example":
			c = &crew
		}
		c.all++
		switch n {
		case 0:
			c.never++
		case 1:
			c.once++
		case 2:
			c.twice++
		}
		switch m.State {
		case "sent":
			if n == 0 {
				t.Errorf("%s to %s is sent, but never came", m.Kind, m.To)
			}
		case "unknown":
			c.unknown++
		case "withdrawn", "expired":
			c.other++
		default:
			t.Errorf("%s to %s is %s in the end: %s", m.Kind, m.To, m.State, m.Note)
		}
		switch {
		case c == &customer && n > 1:
			t.Errorf("%s to customer %s came %d times", m.Kind, m.To, n)
		case n > 2:
			t.Errorf("%s to %s came %d times", m.Kind, m.To, n)
		case c == &crew && n == 0 && m.State != "withdrawn":
			t.Errorf("%s to crew %s never came and is %s: %s", m.Kind, m.To, m.State, m.Note)
		case c != &customer && m.State == "unknown":
			t.Errorf("%s to %s is unknown; it should have gone again", m.Kind, m.To)
		}
	}
	for id, n := range host.got {
		if !known[id] {
			t.Errorf("a mail came %d times that no message stands for: %s", n, id)
		}
	}
	if n := o.toldOf("may not have arrived"); n != customer.unknown {
		t.Errorf("%d customers may not have been told, and the owner hears of %d", customer.unknown, n)
	}
	t.Logf("%d kills, by step %v", done, where)
	t.Logf("crew: %+v", crew)
	t.Logf("owner: %+v", owner)
	t.Logf("customer: %+v", customer)
	if crew.all < 10 || customer.all < 10 {
		t.Errorf("%d messages to crews and %d to customers show too little", crew.all, customer.all)
	}
}
