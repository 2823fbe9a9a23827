package main

import (
	"bytes"
	"context"
	"encoding/json"
	"net/http"
	"strings"
	"sync"
	"testing"
	"time"
)

// safeBuffer is written by the server and read by the test.
type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *safeBuffer) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *safeBuffer) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// serve starts the daemon and waits until it listens. stop ends it and gives
// its exit code and error output; it is called at the test's end at the latest.
func (o *office) serve(args ...string) (addr string, stop func() (int, string)) {
	o.t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	errs := &safeBuffer{}
	listening, ended := make(chan string, 1), make(chan int, 1)
	w := world{Out: errs, Err: errs, Env: func(string) string { return "" }, Listening: func(a string) { listening <- a },
		Measuring: func(a string) { o.metrics = a }} // before Listening, which is waited for
	go func() { ended <- run(ctx, append([]string{"--config", o.config, "serve"}, args...), w) }()
	code, over := 0, false
	stop = func() (int, string) {
		cancel()
		if !over {
			select {
			case code = <-ended:
			case <-time.After(20 * time.Second):
				o.t.Error("the daemon does not stop")
				code = -1
			}
			over = true
		}
		return code, errs.String()
	}
	o.t.Cleanup(func() { stop() })
	select {
	case addr = <-listening:
	case code = <-ended:
		over = true
		o.t.Fatalf("serve ends with %d before it listens: %s", code, errs)
	case <-time.After(20 * time.Second):
		o.t.Fatal("the daemon does not listen")
	}
	return addr, stop
}

func TestServeAnswersAndStops(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(2, "2027-05-03"))
	addr, stop := o.serve("--pretend-now", "2027-05-05T16:59:58Z", "--mail-dir", o.mail)
	resp, err := http.Get("http://" + addr + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	var health struct {
		OK       bool
		Problems []string
	}
	if err := json.NewDecoder(resp.Body).Decode(&health); err != nil || resp.StatusCode != http.StatusOK || !health.OK || len(health.Problems) > 0 {
		t.Errorf("healthz: %s, %+v, %v", resp.Status, health, err)
	}
	code, errs := stop()
	if code != exitOK || !strings.Contains(errs, "PRETENDING") {
		t.Errorf("serve ends with %d: %s", code, errs)
	}
	if _, err := http.Get("http://" + addr + "/healthz"); err == nil {
		t.Error("it still answers")
	}
}

func TestServeOnATakenPortFails(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	addr, _ := o.serve("--mail-dir", o.mail)
	p := openOffice(t, "Europe/Dublin", "")
	text := strings.Replace(p.read(p.config), "127.0.0.1:0", addr, 1)
	p.write("laycast.yaml", text)
	p.fails(exitFail, []string{addr}, "serve", "--mail-dir", p.mail)
}
