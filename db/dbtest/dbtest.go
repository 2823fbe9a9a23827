// Package dbtest is the contract that every database behind package db keeps:
// one suite, run on SQLite and on PostgreSQL alike.
package dbtest

import (
	"context"
	"fmt"
	"testing"
	"time"

	"laycast/db"
	"laycast/job"
	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// Run holds one kind of database to the contract. fresh gives the DSN of a new,
// empty database each time it is called.
func Run(t *testing.T, fresh func(t *testing.T) string) {
	for _, part := range []struct {
		name string
		test func(t *testing.T, dsn string)
	}{
		{"open", testOpen},
		{"newer schema", testNewerSchema},
		{"firm", testFirm},
		{"life", testLife},
		{"hold", testHold},
		{"import", testImport},
		{"import all or nothing", testImportWhole},
		{"moved", testMoved},
		{"lease lost", testLeaseLost},
		{"leases cut", testLeasesCut},
		{"commit all or nothing", testCommitWhole},
		{"commit twice", testCommitTwice},
		{"mark", testMark},
		{"weeks", testWeeks},
		{"arm", testArm},
		{"task order", testTaskOrder},
		{"task takers", testTaskTakers},
		{"task takers of many firms", testFirmTakers},
		{"fair order", testFairOrder},
		{"neighbours come after each other", testNeighbours},
		{"virtual firms", testVirtualFirms},
		{"messages", testMessageStates},
		{"withdraw", testWithdraw},
		{"no overtaking", testNoOvertaking},
		{"expire", testExpire},
		{"expired in the way", testExpiredInTheWay},
		{"message takers", testMessageTakers},
		{"next due", testNextDue},
		{"runs", testRuns},
		{"prune", testPrune},
		{"chances", testChances},
		{"chances of rivals", testChanceRivals},
		{"recalibration", testRecal},
		{"sources", testSources},
		{"skill", testSkill},
		{"runs at a moment", testRunsAt},
		{"refused places", testRefused},
		{"allowance", testAllowance},
		{"one request at a time", testOneRequest},
		{"times", testTimes},
		{"hostile text", testHostileText},
		{"rivals", testRivals},
		{"links", testLinks},
		{"revoking rivals", testRevokeRivals},
		{"published", testPublished},
		{"unheard", testUnheard},
		{"status", testStatus},
		{"stopped", testStopped},
		{"channels", testChannels},
		{"sign-in", testSignIn},
		{"sign-in rivals", testSignInRivals},
		{"sessions", testSessions},
		{"forget sign-ins", testForgetSignIns},
		{"deeds", testDeeds},
		{"settings", testSettings},
		{"move a task", testMoveTask},
		{"newest", testNewest},
		{"diary", testDiary},
		{"diary guards", testDiaryGuards},
		{"diary rivals", testDiaryRivals},
		{"records", testRecords},
		{"what is kept of a customer", testCustomerRows},
		{"erase a customer", testErase},
		{"erase a customer of the records", testEraseSpeaking},
		{"edit", testEdit},
	} {
		t.Run(part.name, func(t *testing.T) {
			part.test(t, fresh(t))
		})
	}
}

const uid = "saltbox"

// noon is the moment most parts start from.
func noon() time.Time { return time.Date(2027, 4, 13, 12, 0, 0, 0, time.UTC) }

func day(d int) job.Date { return job.Date{Year: 2027, Month: time.April, Day: d} }

// open opens a database for the length of a test.
func open(t *testing.T, dsn string) *db.DB {
	t.Helper()
	d, err := db.Open(t.Context(), dsn)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := d.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return d
}

func firm() job.Firm {
	f := job.DefaultFirm()
	f.UID, f.Name, f.Zone, f.Email = uid, "Saltbox Laminates", "America/Halifax", "office@saltbox.example"
	return f
}

func crew(id string) job.Crew {
	return job.Crew{ID: id, Name: id, Size: 2, Email: id + "@saltbox.example", Depot: job.Point{Lat: 44.65, Lon: -63.57}}
}

func order(id string) job.Job {
	return job.Job{
		ID: id, Title: "Porch " + id, Customer: job.Customer{Name: "C " + id, Email: id + "@customer.example"},
		Site:  job.Site{Address: "1 Quay", Lat: 44.6, Lon: -63.6, ElevationM: 20, Zone: "America/Halifax"},
		Roof:  job.Roof{AreaM2: 18.5, Work: job.Replace, Deck: job.NewBoard, Edges: []job.Edge{{Kind: job.Drip, LengthM: 12}}, Outlets: 1},
		Value: 180000, AbortCost: 59000, Earliest: day(1), Promised: day(20), Deadline: day(30), Profile: "polyester",
	}
}

// filled opens a database with the firm, two crews and the jobs given.
func filled(t *testing.T, dsn string, jobs ...string) *db.DB {
	t.Helper()
	d := open(t, dsn)
	if _, err := d.SetFirm(t.Context(), firm()); err != nil {
		t.Fatal(err)
	}
	in := job.Import{Crews: []job.Crew{crew("heron"), crew("plover")}}
	for _, id := range jobs {
		in.Jobs = append(in.Jobs, order(id))
	}
	if _, err := d.Import(t.Context(), uid, in, noon()); err != nil {
		t.Fatal(err)
	}
	return d
}

func book(t *testing.T, d *db.DB) ledger.Book {
	t.Helper()
	b, err := d.Book(t.Context(), uid, job.Date{})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func commit(t *testing.T, d *db.DB, dec ledger.Decision) {
	t.Helper()
	if err := d.Commit(t.Context(), dec); err != nil {
		t.Fatal(err)
	}
}

func aCall(id string, outcome call.Outcome, occasion call.Occasion) call.Call {
	return call.Call{
		Firm: uid, Job: id, Visit: 1, Crew: "heron", Date: day(14), Occasion: occasion, Revision: 1,
		Outcome: outcome, Made: noon(), Known: true, Chance: 0.81, Reasons: []string{"5 of 51: rain 14:00 to 16:00"},
		Source: "replay", DetDigest: "det-" + id, EnsDigest: "ens-" + id, Fetched: noon().Add(-time.Hour),
	}
}

// mail makes a pending message; n tells apart those of the same name.
func mail(kind notify.Kind, jobID, recipient string, n int, created time.Time) notify.Message {
	name := notify.Name{Firm: uid, Kind: kind, Job: jobID, Visit: 1, Date: day(14),
		Occasion: fmt.Sprint(n), Recipient: recipient, Channel: notify.Mail}
	if jobID == "" {
		name.Visit = 0
	}
	return notify.Message{
		ID: name.ID(), Name: name, Audience: notify.ToCustomer, MessageID: name.ID() + "@saltbox.example",
		Subject: "We come at 07:30", Wire: []byte("Subject: x\r\n\r\n\x00\xffbytes\r\n"), Reason: "your roof",
		Created: created, State: notify.Pending,
	}
}

func message(t *testing.T, d *db.DB, id string) notify.Message {
	t.Helper()
	m, err := d.Message(t.Context(), uid, id)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func taskOf(t *testing.T, d *db.DB, name task.Name) task.Task {
	t.Helper()
	ts, err := d.Tasks(t.Context(), uid)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range ts {
		if x.Name == name {
			return x
		}
	}
	t.Fatalf("no task %s", name)
	return task.Task{}
}

func seed(t *testing.T, d *db.DB, ts ...task.Task) {
	t.Helper()
	if err := d.SeedTasks(t.Context(), ts); err != nil {
		t.Fatal(err)
	}
}

// take claims a task that must be there.
func take(t *testing.T, d *db.DB, now time.Time) task.Task {
	t.Helper()
	x, ok, err := d.ClaimTask(t.Context(), uid, now, time.Minute)
	if err != nil || !ok {
		t.Fatalf("claim a task: %v, %v", ok, err)
	}
	return x
}

// takeMail claims a message that must be there.
func takeMail(t *testing.T, d *db.DB, now time.Time) notify.Message {
	t.Helper()
	m, ok, err := d.ClaimMessage(t.Context(), uid, now, time.Minute)
	if err != nil || !ok {
		t.Fatalf("claim a message: %v, %v", ok, err)
	}
	return m
}

// noMail asserts that no message may be claimed.
func noMail(t *testing.T, d *db.DB, now time.Time) {
	t.Helper()
	m, ok, err := d.ClaimMessage(t.Context(), uid, now, time.Minute)
	if err != nil {
		t.Fatal(err)
	}
	if ok {
		t.Fatalf("message %s (%s to %s) was given out", m.ID, m.Kind, m.Recipient)
	}
}

// background is a context that outlives the test's own, for takers.
func background() context.Context { return context.Background() }
