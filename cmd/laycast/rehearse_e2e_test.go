package main

import (
	"context"
	"net/mail"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"laycast/db/pgtest"
	"laycast/notify/file"
)

// A fortnight over the end of summer time in Dublin (31 October 2027).
const (
	fortnightFrom = "2027-10-24T12:00:00Z"
	fortnightTo   = "2027-11-07T12:00:00Z"
)

func TestFortnightOverAClockChange(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(7, "2027-10-25"))
	o.rehearse(fortnightFrom, fortnightTo)
	for _, c := range decode[[]object](t, o.must("calls", "--json")) {
		has(t, "a call", c, callKeys)
	}
	for _, m := range decode[[]object](t, o.must("messages", "--json")) {
		has(t, "a message", m, msgKeys)
	}
	o.timesAreLocal()
	o.everyCallIsMailed()
	o.mailsAreTheMessages()
	all := o.everything()

	t.Run("again adds nothing", func(t *testing.T) {
		asked := o.source.asked()
		o.rehearse(fortnightFrom, fortnightTo)
		sameText(t, "after the second rehearsal", o.everything(), all)
		if n := o.source.asked() - asked; n > 0 {
			t.Errorf("the source was asked %d times more", n)
		}
	})
	t.Run("the same on PostgreSQL", func(t *testing.T) {
		p := openOffice(t, "Europe/Dublin", "database: \""+pgtest.Start(t)+"\"\n")
		p.keyOf(o)
		p.takeIn(bookOf(7, "2027-10-25"))
		p.rehearse(fortnightFrom, fortnightTo)
		sameText(t, "on PostgreSQL", p.everything(), all)
	})
}

// timesAreLocal verifies that calls are made at 18:00 and 05:30 by the clock on
// the wall, for tomorrow and for today, on both sides of the change.
func (o *office) timesAreLocal() {
	o.t.Helper()
	offsets := map[string]map[int]bool{"evening": {}, "second-look": {}}
	for _, c := range o.calls() {
		at := c.Made.In(o.zone)
		_, offset := at.Zone()
		want, day := "18:00", at.AddDate(0, 0, 1)
		if c.Occasion == "second-look" {
			want, day = "05:30", at
		}
		if hm := at.Format("15:04"); hm != want || day.Format("2006-01-02") != c.Date || c.Late {
			o.t.Errorf("%s of %s for %s made at %s (late: %v)", c.Occasion, c.Job, c.Date, at, c.Late)
		}
		if c.Chance == nil || len(c.Reasons) == 0 {
			o.t.Errorf("%s of %s for %s: chance %v, reasons %q", c.Occasion, c.Job, c.Date, c.Chance, c.Reasons)
		}
		offsets[c.Occasion][offset] = true
	}
	for occasion, seen := range offsets {
		if len(seen) != 2 {
			o.t.Errorf("%s calls on %d sides of the clock change, want both", occasion, len(seen))
		}
	}
}

// everyCallIsMailed verifies that each evening call went to its crew, once and
// at once, and that the second look wrote where the outcome changed.
func (o *office) everyCallIsMailed() {
	o.t.Helper()
	type key struct{ kind, job, date string }
	got := map[key][]sent{}
	for _, m := range o.messages() {
		if m.Kind != "call" && m.Kind != "second-look" {
			continue
		}
		if m.State != "sent" || m.Sent == nil {
			o.t.Errorf("%s to %s is %s: %s", m.Kind, m.To, m.State, m.Note)
			continue
		}
		if !strings.HasPrefix(m.To, "gull@") && !strings.HasPrefix(m.To, "tern@") {
			continue // a customer may hear of a call too
		}
		got[key{m.Kind, m.Job, m.Date}] = append(got[key{m.Kind, m.Job, m.Date}], m)
	}
	evening := map[key]string{}
	calls := 0
	for _, c := range o.calls() {
		k := key{"call", c.Job, c.Date}
		if c.Occasion == "evening" {
			evening[k] = c.Outcome
			calls++
		} else if k.kind = "second-look"; evening[key{"call", c.Job, c.Date}] == c.Outcome {
			if len(got[k]) > 0 {
				o.t.Errorf("the second look of %s on %s changed nothing and wrote all the same", c.Job, c.Date)
			}
			continue
		}
		ms := got[k]
		if len(ms) != 1 || ms[0].To != c.Crew+"@quay.example" || !ms[0].Created.Equal(c.Made) || !ms[0].Sent.Equal(c.Made) {
			o.t.Errorf("%s of %s for %s, crew %s: mails %+v", c.Occasion, c.Job, c.Date, c.Crew, ms)
			continue
		}
		if !strings.Contains(strings.ToLower(ms[0].Subject), c.Outcome) {
			o.t.Errorf("a %s is told as %q", c.Outcome, ms[0].Subject)
		}
	}
	if calls < 6 {
		o.t.Errorf("%d evening calls in a fortnight show too little", calls)
	}
}

// mailsAreTheMessages verifies that there is one file for each message sent,
// under the name that follows from its id, with that id in it, and no other.
func (o *office) mailsAreTheMessages() {
	o.t.Helper()
	var want []string
	for _, m := range o.messages() {
		if m.State != "sent" {
			continue
		}
		name := file.Name(m.MessageID)
		want = append(want, name)
		text, err := os.ReadFile(filepath.Join(o.mail, name))
		if err != nil {
			o.t.Errorf("message %s: %v", m.ID, err)
			continue
		}
		if shown := o.must("messages", "--show", m.ID); shown != string(text) {
			o.t.Errorf("message %s is not what is in its file", m.ID)
		}
		r, err := mail.ReadMessage(strings.NewReader(string(text)))
		if err != nil {
			o.t.Errorf("message %s: %v", m.ID, err)
			continue
		}
		if id := strings.Trim(r.Header.Get("Message-Id"), "<>"); id != strings.Trim(m.MessageID, "<>") {
			o.t.Errorf("message %s bears the id %q, not %q", m.ID, id, m.MessageID)
		}
		if a, err := mail.ParseAddress(r.Header.Get("To")); err != nil || a.Address != m.To {
			o.t.Errorf("message %s to %v, %v, not %s", m.ID, a, err, m.To)
		}
		if d, err := r.Header.Date(); err != nil || !d.Equal(m.Created) {
			o.t.Errorf("message %s is of %s, %v, not %s", m.ID, d, err, m.Created)
		}
	}
	slices.Sort(want)
	if got := o.mails(); !slices.Equal(got, want) {
		o.t.Errorf("files %q, want %q", got, want)
	}
}

// A daemon that comes back after the call was due.
func TestLateDaemon(t *testing.T) {
	t.Parallel()
	// Tuesday 26 October 2027: summer time, an hour ahead of UTC
	for _, tt := range []struct {
		name, back string
		late       bool // made, and marked late; else missed
	}{{"at 21:00", "2027-10-26T20:00:00Z", true}, {"at 23:30", "2027-10-26T22:30:00Z", false}} {
		t.Run(tt.name, func(t *testing.T) {
			o := openOffice(t, "Europe/Dublin", "")
			o.takeIn(bookOf(4, "2027-10-25"))
			o.rehearse("2027-10-26T06:00:00Z", "2027-10-26T16:00:00Z")
			o.rehearse(tt.back, "2027-10-26T22:45:00Z")
			var made []told
			for _, c := range o.calls() {
				if c.Occasion == "evening" && c.Date == "2027-10-27" {
					made = append(made, c)
				}
			}
			var missed []sent
			for _, m := range o.messages() {
				if m.Kind == "trouble" && strings.Contains(m.Subject, "missed") {
					missed = append(missed, m)
				}
			}
			if !tt.late {
				if len(made) != 0 || len(missed) != 1 || missed[0].To != "office@quay.example" || missed[0].State != "sent" {
					t.Errorf("calls %+v; told as missed %+v", made, missed)
				}
				return
			}
			if len(made) == 0 || len(missed) != 0 {
				t.Fatalf("calls %+v; told as missed %+v", made, missed)
			}
			back, _ := time.Parse(time.RFC3339, tt.back)
			for _, c := range made {
				if !c.Late || c.Made.Before(back) || c.Made.After(back.Add(5*time.Minute)) || c.Chance == nil {
					t.Errorf("%+v", c)
				}
			}
			o.areMailed(made)
		})
	}
}

// areMailed verifies that each of some evening calls was mailed.
func (o *office) areMailed(calls []told) {
	o.t.Helper()
	for _, c := range calls {
		n := 0
		for _, m := range o.messages() {
			if m.Kind == "call" && m.Job == c.Job && m.Date == c.Date && m.State == "sent" && m.To == c.Crew+"@quay.example" {
				n++
			}
		}
		if n != 1 {
			o.t.Errorf("the call for %s on %s was mailed %d times", c.Job, c.Date, n)
		}
	}
}

// After ten days without the daemon no job may be forgotten: visits of the days
// that went by get a new place, or the owner is asked how they went.
func TestTenDaysDownForgetsNoJob(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(6, "2027-10-25"))
	o.rehearse("2027-10-24T12:00:00Z", "2027-10-26T17:30:00Z") // the call of Tuesday is out
	o.rehearse("2027-11-05T10:00:00Z", "2027-11-06T22:00:00Z")
	type row struct {
		ID      string
		State   string
		Planned []string
	}
	p := decode[object](t, o.must("plan", "--json"))
	accounted, waits := map[any]bool{}, map[any]bool{}
	for _, list := range []string{"visits", "left"} {
		for _, v := range objects(p[list]) {
			accounted[v["job"]] = true
			if why, _ := v["reason"].(string); strings.Contains(why, "waiting for word") {
				waits[v["job"]] = true
			}
		}
	}
	for _, r := range decode[[]row](t, o.must("job", "list", "--json")) {
		for _, d := range r.Planned {
			if d < "2027-11-06" && !waits[r.ID] {
				t.Errorf("%s still stands on %s, which is past", r.ID, d)
			}
		}
		if r.State == "booked" && !accounted[r.ID] {
			t.Errorf("%s is booked, but neither planned nor left out with a reason", r.ID)
		}
	}
	var asked []string
	for _, m := range o.messages() {
		if m.Kind == "trouble" {
			asked = append(asked, m.Subject)
		}
	}
	goes := 0
	for _, c := range o.calls() {
		if c.Date != "2027-10-27" || c.Outcome != "go" {
			continue
		}
		goes++
		if title := "how did Roof " + strings.TrimPrefix(c.Job, "Q-0"); !slices.ContainsFunc(asked, func(s string) bool { return strings.HasPrefix(s, title) }) {
			t.Errorf("%s was called go for the day on which laycast stopped, and nobody is asked how it went: %q", c.Job, asked)
		}
	}
	if goes == 0 {
		t.Error("nothing was called go for the day on which laycast stopped: this test shows nothing")
	}
}

func TestLivesDoNotMix(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(1, "2027-10-25"))
	o.rehearse("2027-10-24T12:00:00Z", "2027-10-24T13:00:00Z")
	errs := o.fails(exitFail, []string{"virtual clock", "another database"}, "serve", "--mail-dir", o.mail)
	if strings.Contains(errs, "panic") {
		t.Error(errs)
	}

	live := openOffice(t, "Europe/Dublin", "")
	addr, stop := live.serve("--mail-dir", live.mail)
	if addr == "" {
		t.Fatal("no address")
	}
	if code, errs := stop(); code != exitOK {
		t.Fatalf("serve ends with %d: %s", code, errs)
	}
	live.fails(exitFail, []string{"real clock", "database of its own"}, "rehearse",
		"--from", "2027-10-24T12:00:00Z", "--to", "2027-10-24T13:00:00Z", "--mail-dir", live.mail)
}

// A daemon that cannot start has decided nothing: the firm is still new.
func TestFailedStartLeavesTheFirmNew(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(1, "2027-10-25"))
	folder := o.write("no-folder", "")
	o.fails(exitFail, []string{"mail.smtp"}, "serve")
	o.fails(exitFail, []string{"no-folder"}, "serve", "--mail-dir", folder)
	o.fails(exitFail, []string{"no-folder"}, "rehearse", "--from", "2027-10-24T12:00:00Z", "--to", "2027-10-24T13:00:00Z", "--mail-dir", folder)
	o.rehearse("2027-10-24T12:00:00Z", "2027-10-24T13:00:00Z")
}

func TestTwoRehearsalsAtOnce(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(1, "2027-10-25"))
	h := o.house()
	defer h.close()
	release, err := h.db.Hold(context.Background(), h.firm.UID)
	if err != nil {
		t.Fatal(err)
	}
	defer release()
	o.fails(exitFail, []string{"Quay Roofs", "another laycast process"}, "rehearse",
		"--from", "2027-10-24T12:00:00Z", "--to", "2027-10-24T13:00:00Z", "--mail-dir", o.mail)
}
