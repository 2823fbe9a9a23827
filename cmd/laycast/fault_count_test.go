package main

import (
	"flag"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
)

// faults makes the tests of faults long, and has each print its row of docs/faults.md.
var faults = flag.Int("faults", 0, "how many kills TestFaultKills makes; the other faults are tried in proportion (make faults: 500)")

// often gives how many tries to make: few in a usual run, many with -faults.
func often(usual, of500 int) int {
	return max(usual, *faults*of500/500)
}

// callKey names a call.
type callKey struct{ firm, job, date, occasion string }

// outcome is what came of an evening: what stands on record, and what arrived.
type outcome struct {
	messages map[string]notify.Message // by Message-ID
	got      map[string]int            // how often each arrived whole
	calls    map[callKey]call.Call
}

// outcome reads what came of it. The daemons may have been stopped.
func (st *stage) outcome() outcome {
	st.t.Helper()
	out := outcome{messages: map[string]notify.Message{}, got: map[string]int{}, calls: map[callKey]call.Call{}}
	for _, f := range st.firms {
		ms, err := st.db.Messages(st.t.Context(), f)
		if err != nil {
			st.t.Fatal(err)
		}
		for _, m := range ms {
			out.messages[m.MessageID] = m
		}
		b, err := st.db.Book(st.t.Context(), f, job.Date{})
		if err != nil {
			st.t.Fatal(err)
		}
		for _, c := range b.Calls {
			out.calls[callKey{f, c.Job, c.Date.String(), string(c.Occasion)}] = c
		}
	}
	for _, d := range st.daemons {
		d.post.mu.Lock()
		for id, n := range d.post.got {
			out.got[id] += n
		}
		d.post.mu.Unlock()
	}
	return out
}

// reference is the same evening with nothing in its way.
var reference struct {
	sync.Mutex
	out *outcome
}

func theReference(t *testing.T) outcome {
	t.Helper()
	prepare(t)
	r := &reference
	r.Lock()
	defer r.Unlock()
	if r.out == nil {
		st := openStage(t, "", 1)
		st.live(eveningTo())
		out := st.outcome()
		r.out = &out
		c := tally{}
		c.add(t, out, out)
		if c.lost+c.doubled+c.crewTwice+c.doubt > 0 || c.crew < 6 || c.customer < 6 || len(out.calls) < 10 {
			t.Errorf("the evening with nothing in its way: %+v, %d calls", c, len(out.calls))
		}
	}
	return *r.out
}

// tally counts, over some evenings, what became of the messages.
type tally struct {
	fault                            string
	tries                            int // kills, cuts, stops …
	evenings                         int
	crew, owner, customer            int
	lost                             int // never arrived, and nobody was told so
	doubled                          int // arrived again where it must not
	crewTwice                        int // the documented double: to a crew or the owner, as the same mail
	doubt                            int // customers' that may not have arrived, each told to the owner
	doubtNever                       int // of these, never arrived
	callLate, mailLate               time.Duration
	recovery                         string // in words, where the delays above do not say it
	callsOther, callsGone, callsMore int
	other                            bool      // other outcomes and days are to be expected: the weather was another
	anyOutcome                       bool      // other outcomes are to be expected
	until                            time.Time // by when all has to be sent; zero: the evening's end
}

// add judges an evening against the one with nothing in its way.
func (c *tally) add(t testing.TB, got, ref outcome) {
	t.Helper()
	c.evenings++
	owners := map[string]int{} // how often a firm's owner heard of one that may not have arrived
	for _, m := range got.messages {
		if m.Kind == notify.KindTrouble && strings.Contains(m.Subject, "may not have arrived") {
			owners[m.Firm]++
		}
	}
	for id, m := range got.messages {
		c.message(t, m, got.got[id])
		if m.Audience == notify.ToCustomer && m.State == notify.Unknown {
			owners[m.Firm]--
		}
		if r, ok := ref.messages[id]; ok && m.State == notify.Sent && r.State == notify.Sent {
			c.mailLate = max(c.mailLate, m.Settled.Sub(r.Settled))
		}
	}
	for firm, n := range owners {
		if n != 0 {
			c.lost++
			t.Errorf("%s: of %d customers' messages more than the owner heard of may not have arrived", firm, -n)
		}
	}
	for id := range got.got {
		if _, ok := got.messages[id]; !ok {
			c.doubled++
			t.Errorf("a mail arrived that no message stands for: %s", id)
		}
	}
	for id, r := range ref.messages {
		if c.other {
			break
		}
		if _, ok := got.messages[id]; !ok && r.State == notify.Sent && r.Audience != notify.ToOwner {
			c.lost++
			t.Errorf("%s to %s of %s about %s on %s was never written", r.Kind, r.Recipient, r.Firm, r.Job, r.Date)
		}
	}
	c.judgeCalls(t, got, ref)
}

// message counts one message that came so many times.
func (c *tally) message(t testing.TB, m notify.Message, n int) {
	t.Helper()
	name := fmt.Sprintf("%s to %s of %s about %q on %s (%s)", m.Kind, m.Recipient, m.Firm, m.Job, m.Date, m.State)
	// before the evening there was another transport
	if m.Created.Before(eveningFrom) && n == 0 && !m.Settled.IsZero() && !m.Settled.After(eveningFrom) {
		return
	}
	switch m.Audience {
	case notify.ToCrew:
		c.crew++
	case notify.ToCustomer:
		c.customer++
	default:
		c.owner++
	}
	switch {
	case m.Audience == notify.ToCustomer && n > 1 || n > 3: // two kills over one mail make three
		c.doubled++
		t.Errorf("%s came %d times", name, n)
	case n > 1:
		c.crewTwice++
	}
	switch m.State {
	case notify.Withdrawn, notify.Expired:
	case notify.Unknown:
		if m.Audience != notify.ToCustomer {
			c.lost++
			t.Errorf("%s should have gone again", name)
			return
		}
		c.doubt++
		if n == 0 {
			c.doubtNever++
		}
	case notify.Pending:
		if end := c.until; m.NotBefore.Before(eveningTo()) || !end.IsZero() && m.NotBefore.Before(end) {
			c.lost++
			t.Errorf("%s is not sent in the end: %s", name, m.Note)
		}
	default:
		if n == 0 || m.State != notify.Sent {
			c.lost++
			t.Errorf("%s came %d times: %s", name, n, m.Note)
		}
	}
}

func (c *tally) judgeCalls(t testing.TB, got, ref outcome) {
	t.Helper()
	for k, r := range ref.calls {
		g, ok := got.calls[k]
		switch {
		case !ok && c.other:
			continue
		case !ok:
			c.callsGone++
			t.Errorf("the %s call of %s for %s on %s was not made", k.occasion, k.firm, k.job, k.date)
			continue
		case g.Outcome != r.Outcome && !c.other && !c.anyOutcome:
			c.callsOther++
			t.Errorf("the %s call of %s for %s on %s is %s, not %s: %q", k.occasion, k.firm, k.job, k.date, g.Outcome, r.Outcome, g.Reasons)
		}
		c.callLate = max(c.callLate, g.Made.Sub(r.Made))
	}
	for k := range got.calls {
		if _, ok := ref.calls[k]; !ok && !c.other {
			c.callsMore++
			t.Errorf("%s was called for %s on %s, which it is not with nothing in the way", k.firm, k.job, k.date)
		}
	}
}

// say logs the count, and prints its row where rows were asked for.
func (c *tally) say(t testing.TB) {
	t.Helper()
	recovery := c.recovery
	if recovery == "" {
		recovery = fmt.Sprintf("a call at most %s later, a mail %s", c.callLate, c.mailLate)
	}
	row := fmt.Sprintf("| %s | %d in %d evenings | %d | %d | %d | %d | %d, %d never came | %s |", c.fault, c.tries, c.evenings,
		c.crew+c.owner+c.customer, c.lost+c.callsGone, c.doubled+c.callsMore, c.crewTwice, c.doubt, c.doubtNever, recovery)
	t.Log(row)
	if *faults > 0 {
		fmt.Println(row)
	}
}
