package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"laycast/db/pgtest"
)

// A firm that moves from SQLite to PostgreSQL in mid-season, and back, goes on as
// if it had stayed.
func TestAMovedFirmGoesOn(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	const from, between, later, to = "2027-10-25T12:00:00Z", "2027-10-25T18:30:00Z", "2027-10-26T03:00:00Z", "2027-10-26T18:30:00Z"
	stayed := killOffice(t)
	stayed.rehearse(from, to)
	want := stayed.everything()

	o := killOffice(t)
	o.keyOf(stayed)
	o.rehearse(from, between)
	text := o.read(o.config)
	lite := "database: sqlite:" + filepath.Join(o.dir, "laycast.db") + "\n"
	if !strings.Contains(text, lite) {
		t.Fatalf("no %q in\n%s", lite, text)
	}
	file := filepath.Join(o.dir, "move.tar")
	if out := o.must("backup", file); !strings.Contains(out, "quay-roofs") || !strings.Contains(out, "laycast.key") {
		t.Errorf("backup says %s", out)
	}
	if fi, err := os.Stat(file); err != nil || fi.Mode().Perm() != 0o600 {
		t.Errorf("the backup has the mode %v, %v", fi.Mode(), err)
	}
	o.fails(exitFail, []string{file, "already"}, "backup", file)

	o.write("laycast.yaml", strings.Replace(text, lite, "database: "+pgtest.Start(t)+"\n", 1))
	o.must("restore", file)
	o.fails(exitFail, []string{"quay-roofs", "here already"}, "restore", file)
	o.rehearse(from, later)
	back := filepath.Join(o.dir, "back.tar")
	o.must("backup", back)

	o.write("laycast.yaml", strings.Replace(text, "laycast.db\n", "home.db\n", 1))
	if out := o.must("restore", back); strings.Contains(out, "not among them") {
		t.Errorf("restore says %s", out)
	}
	o.rehearse(from, to)
	sameText(t, "after two moves", o.everything(), want)
}
