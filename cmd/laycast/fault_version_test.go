package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"laycast/db/pgtest"
)

// Half an hour before the call a newer laycast changes the schema under two
// daemons. They end by themselves, saying why; one that is started anew is
// refused. The newer ones do the evening's work.
func TestFaultTwoVersions(t *testing.T) {
	slowWhenRaced(t)
	c := &tally{fault: "a newer version takes the database over"}
	ref := theReference(t)
	for range often(1, 3) {
		st := openStage(t, pgtest.Start(t), 2)
		st.live(eve.Add(-30 * time.Minute))
		if _, err := st.raw.Exec(`INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, true)`); err != nil {
			t.Fatal(err)
		}
		began := time.Now()
		for _, d := range st.daemons {
			select {
			case <-d.over:
			case <-time.After(20 * time.Second):
				t.Fatal("an old daemon goes on beside the newer schema")
			}
			st.refused(d)
		}
		took := time.Since(began)
		for _, d := range st.daemons {
			st.start(d)
			<-d.over
			st.refused(d)
			c.tries++
		}
		// what stands for the newer program knows the schema
		if _, err := st.raw.Exec(`DELETE FROM goose_db_version WHERE version_id = 9999`); err != nil {
			t.Fatal(err)
		}
		st.live(eveningTo())
		c.add(t, st.outcome(), ref)
		c.recovery = fmt.Sprintf("the old ones ended within %s of a look each %s; in service the look is each 15 s", took.Round(10*time.Millisecond), briskly)
		st.shut()
	}
	c.say(t)
}

// refused verifies that a daemon ended because of the schema, and said so.
func (st *stage) refused(d *daemon) {
	st.t.Helper()
	code, said := d.cmd.ProcessState.ExitCode(), d.errs.String()
	if code != exitFail || !strings.Contains(said, "9999") || !strings.Contains(said, "newer") {
		st.t.Errorf("it ended with %d: %s", code, said)
	}
}
