package main

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"laycast/job"
)

// changed is what a writing command did, as a reader of the JSON sees it.
type changed struct {
	Job, Did string
	At       time.Time
	Queued   []struct{ ID, To, Kind string }
	Untold   []struct{ Person, Reason string }
}

// lived is an office that has lived a morning of May, with the mark at their end.
func lived(t *testing.T) *office {
	t.Helper()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(6, "2027-05-03"))
	o.rehearse("2027-05-03T00:00:00Z", livedTo)
	return o
}

const livedTo = "2027-05-03T09:30:00Z"

// toldJob gives a job whose customer was told a day that is still to come.
func (o *office) toldJob() string {
	o.t.Helper()
	h := o.house()
	defer h.close()
	b, err := h.db.Book(context.Background(), h.firm.UID, job.Date{})
	if err != nil {
		o.t.Fatal(err)
	}
	for _, v := range b.Visits {
		if v.Told.After(job.DateOf(b.Mark)) {
			return v.Job
		}
	}
	o.t.Fatalf("no customer was told a day: %+v", b.Visits)
	return ""
}

func (o *office) state(id string) (state, hold string, planned []string) {
	o.t.Helper()
	for _, j := range decode[[]jobRow](o.t, o.must("job", "list", "--json")) {
		if j.ID == id {
			return string(j.State), j.Hold, j.Planned
		}
	}
	o.t.Fatalf("job %s is not listed", id)
	return "", "", nil
}

// customerOf gives the mail address of a job's customer in bookOf.
func customerOf(id string) string {
	return "customer" + strings.TrimPrefix(id, "Q-0") + "@mail.example"
}

// whyLeft gives the reason why a job has no place in the plan in force.
func (o *office) whyLeft(id string) string {
	o.t.Helper()
	h := o.house()
	defer h.close()
	b, err := h.db.Book(context.Background(), h.firm.UID, job.Date{})
	if err != nil || b.Week == nil {
		o.t.Fatalf("no plan: %v", err)
	}
	for _, l := range b.Week.Left {
		if l.Job == id {
			return l.Reason
		}
	}
	return ""
}

func TestHoldTakesAToldDayBackAndReleasePlansAgain(t *testing.T) {
	t.Parallel()
	o := lived(t)
	id := o.toldJob()
	before := len(o.messages())
	out := decode[changed](t, o.must("job", "hold", id, "--reason", "deposit\nnot paid", "--json"))
	if out.Job != id || !strings.Contains(out.Did, "on hold: deposit not paid") || out.At.Format(time.RFC3339) != livedTo {
		t.Errorf("hold did %+v", out)
	}
	// others may be told too, of the day that is free now
	takenBack := 0
	for _, q := range out.Queued {
		if q.Kind == "date-cancelled" && q.To == customerOf(id) {
			takenBack++
		}
	}
	if takenBack != 1 {
		t.Errorf("hold queued %+v, want one date-cancelled to the customer", out.Queued)
	}
	if why := o.whyLeft(id); why != "on hold: deposit not paid" {
		t.Errorf("held, it is left out of the plan for %q", why)
	}
	if state, hold, planned := o.state(id); state != "booked" || hold != "deposit not paid" || len(planned) != 0 {
		t.Errorf("after hold: %s, %q, planned %v", state, hold, planned)
	}
	if text := o.must("job", "show", id); !strings.Contains(text, "on hold   deposit not paid") {
		t.Errorf("show prints\n%s", text)
	}
	if n := len(o.messages()); n != before+len(out.Queued) {
		t.Errorf("%d messages, %d before, %d queued", n, before, len(out.Queued))
	}
	line := o.must("job", "release", id)
	if !strings.Contains(line, id) || !strings.Contains(line, "in the plan again") || strings.Count(line, "\n") != 1 {
		t.Errorf("release prints %q", line)
	}
	if _, hold, planned := o.state(id); hold != "" || len(planned) == 0 && strings.Contains(o.whyLeft(id), "hold") {
		t.Errorf("after release: %q, planned %v, left out for %q", hold, planned, o.whyLeft(id))
	}
}

func TestCancelAndDoneEndAJobOnce(t *testing.T) {
	t.Parallel()
	o := lived(t)
	id := o.toldJob()
	line := o.must("job", "cancel", id)
	if !strings.Contains(line, "is cancelled. To be told: customer") || !strings.Contains(line, "(date-cancelled)") || strings.Count(line, "\n") != 1 {
		t.Errorf("cancel prints %q", line)
	}
	if state, _, planned := o.state(id); state != "cancelled" || len(planned) != 0 {
		t.Errorf("after cancel: %s, planned %v", state, planned)
	}
	o.fails(exitFail, []string{id, "cancelled already"}, "job", "cancel", id)
	other := "Q-06"
	if other == id {
		other = "Q-05"
	}
	if line := o.must("job", "done", other); !strings.Contains(line, "is done.") {
		t.Errorf("done prints %q", line)
	}
	if state, _, _ := o.state(other); state != "done" {
		t.Errorf("after done: %s", state)
	}
	o.fails(exitFail, []string{other, "done already"}, "job", "hold", other, "--reason", "x")
	o.fails(exitFail, []string{"Q-99", "job list"}, "job", "release", "Q-99")
}

func TestWritingCommandsKeepTheFirmsTime(t *testing.T) {
	t.Parallel()
	o := lived(t)
	id := o.toldJob()
	o.fails(exitUsage, []string{"virtual clock stands at " + livedTo, "2027-05-03T09:29:59Z"}, "job", "hold", id, "--reason", "x", "--now", "2027-05-03T09:29:59Z")
	if _, hold, _ := o.state(id); hold != "" {
		t.Errorf("it is on hold: %q", hold)
	}
	later := "2027-05-03T09:40:00Z"
	out := decode[changed](t, o.must("job", "hold", id, "--reason", "x", "--now", later, "--json"))
	if out.At.Format(time.RFC3339) != later {
		t.Errorf("done at %s", out.At)
	}
	// the firm's clock has come to that time
	o.fails(exitUsage, []string{later}, "job", "release", id, "--now", livedTo)
	if out := decode[changed](t, o.must("job", "release", id, "--json")); out.At.Format(time.RFC3339) != later {
		t.Errorf("released at %s, want the mark", out.At)
	}
	seventh := o.file("j.json", bookOf(7, "2027-05-03")["jobs"].([]any)[6])
	o.must("job", "add", seventh, "--now", "2027-05-03T09:50:00Z")
	o.fails(exitUsage, []string{"2027-05-03T09:50:00Z"}, "job", "release", id, "--now", later)

	h := o.house()
	release, err := h.db.Hold(context.Background(), h.firm.UID)
	if err != nil {
		t.Fatal(err)
	}
	o.fails(exitFail, []string{"another laycast process"}, "job", "done", id)
	release()
	h.close()
	o.must("job", "done", id)
}

func TestALiveFirmIsChangedNow(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(2, "2027-05-03"))
	// before its first run a firm has no clock of its own
	if out := decode[changed](t, o.must("job", "hold", "Q-01", "--reason", "colour", "--now", "2027-05-01T10:00:00Z", "--json")); out.At.Year() != 2027 {
		t.Errorf("done at %s", out.At)
	}
	_, stop := o.serve("--mail-dir", o.mail)
	if code, errs := stop(); code != exitOK {
		t.Fatal(errs)
	}
	o.fails(exitUsage, []string{"real clock", "--now"}, "job", "release", "Q-01", "--now", "2027-05-01T10:00:00Z")
	o.fails(exitUsage, []string{"is not a time"}, "job", "release", "Q-01", "--now", "today")
	begun := time.Now().UTC().Truncate(time.Second)
	out := decode[changed](t, o.must("job", "release", "Q-01", "--json"))
	if out.At.Before(begun) || out.At.After(time.Now()) || len(out.Queued) != 0 {
		t.Errorf("released at %s, queued %v", out.At, out.Queued)
	}
	if line := o.must("job", "hold", "Q-01", "--reason", "colour"); !strings.Contains(line, "Nobody has to be told.") {
		t.Errorf("hold prints %q", line)
	}
	o.fails(exitUsage, []string{"--reason"}, "job", "hold", "Q-02")
	o.fails(exitUsage, []string{"--reason"}, "job", "hold", "Q-02", "--reason", " \n")
	o.fails(exitUsage, []string{"--reason"}, "job", "hold", "Q-02", "--reason", strings.Repeat("x", 501))
}

func TestJobAdd(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(1, "2027-05-03"))
	second := bookOf(2, "2027-05-03")["jobs"].([]any)[1].(map[string]any)
	if line := o.must("job", "add", o.file("j.json", second)); !strings.Contains(line, "Job Q-02 (Roof 2, Pier Road) is in the book") || strings.Count(line, "\n") != 1 {
		t.Errorf("add prints %q", line)
	}
	o.fails(exitFail, []string{`"Q-02" already`, "--replace"}, "job", "add", o.file("j.json", second))
	if line := o.must("job", "add", "--replace", o.file("j.json", second)); !strings.Contains(line, "is as it was") {
		t.Errorf("the same again prints %q", line)
	}
	second["title"] = "Barn"
	if line := o.must("job", "add", "--replace", o.file("j.json", second)); !strings.Contains(line, "Job Q-02 (Barn) is changed") {
		t.Errorf("replace prints %q", line)
	}

	// from the input
	second["id"] = "Q-03"
	text, err := json.Marshal(second)
	if err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	w := world{In: bytes.NewReader(text), Out: &out, Err: &errs, Env: func(string) string { return "" }}
	if code := run(context.Background(), []string{"--config", o.config, "job", "add", "-"}, w); code != exitOK || !strings.Contains(out.String(), "Q-03") {
		t.Errorf("from the input: %d, %s%s", code, &out, &errs)
	}
	o.fails(exitFail, []string{"no input"}, "job", "add", "-")

	// the checks of the import
	before := o.must("job", "list", "--json")
	second["id"], second["colour"] = "Q-04", "grey"
	second["site"].(map[string]any)["lat"] = 95
	o.fails(exitFail, []string{"j.json", "Q-04", "site.lat", "95", "colour"}, "job", "add", o.file("j.json", second))
	o.fails(exitFail, []string{"laycast import"}, "job", "add", o.file("all.json", bookOf(2, "2027-05-03")))
	o.fails(exitUsage, []string{"nosuch.json"}, "job", "add", "nosuch.json")
	sameText(t, "the book", o.must("job", "list", "--json"), before)
}

func TestImportReadsCSV(t *testing.T) {
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	sheet := "\xef\xbb\xbfrow,id,name,size,email,depot.lat,depot.lon,title,customer.name,customer.email,site.lat,site.lon,roof.area_m2,roof.work,roof.deck,roof.edges,value,earliest,deadline,blackout\r\n" +
		"crew,gull,Gull,2,gull@quay.example,53.34,-6.25\r\n" +
		"job,Q-01,,,,,,\"Roof 1, Pier Road\",Customer 1,customer1@mail.example,53.35,-6.26,9,replace,new-board,drip:4;wall:5,1800,2027-05-03,2027-12-31,2027-05-10 2027-05-11\r\n"
	o.must("import", o.write("jobs.CSV", sheet))
	text := o.must("job", "show", "Q-01")
	if !strings.Contains(text, "Roof 1, Pier Road") || !strings.Contains(text, "9 m of edge") {
		t.Errorf("show prints\n%s", text)
	}
	if again := o.must("import", o.write("jobs.CSV", sheet)); !strings.Contains(again, "jobs:  0 new, 0 changed, 1 as before") {
		t.Errorf("again: %s", again)
	}
	bad := strings.Replace(strings.Replace(sheet, "Q-01", "Q-02", 1), "53.35", "95", 1)
	o.fails(exitFail, []string{`row 3 "Q-02"`, "site.lat", "95"}, "import", o.write("bad.csv", bad))
	o.fails(exitFail, []string{"row 1", "deadlin", `did you mean "deadline"`}, "import", o.write("bad.csv", strings.Replace(sheet, "deadline", "deadlin", 1)))
	o.fails(exitFail, []string{"UTF-16"}, "import", o.write("bad.csv", "\xff\xfei\x00d\x00"))
	if strings.Contains(o.must("job", "list"), "Q-02") {
		t.Error("a bad file was taken in")
	}
}
