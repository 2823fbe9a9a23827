package main

import (
	"bytes"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// What was told on the evenings of a week is scored by what the source says was.
func TestSkillOfAWeekOfCalls(t *testing.T) {
	slowWhenRaced(t)
	t.Parallel()
	o := openOffice(t, "Europe/Dublin", "")
	o.takeIn(bookOf(14, "2027-10-25"))
	if got := o.must("skill"); !strings.Contains(got, "No chance has been scored yet") {
		t.Errorf("before anything was told: %s", got)
	}
	o.rehearse("2027-10-24T12:00:00Z", "2027-10-31T12:00:00Z")
	got := decode[ownJSON](t, o.must("skill", "--json"))
	if got.Enough || got.Days < 5 || len(got.Reference) != ownLeads || got.ScoredBy != "model rows" {
		t.Fatalf("%d days, enough %v, %d leads, by %q", got.Days, got.Enough, len(got.Reference), got.ScoredBy)
	}
	for _, r := range got.Reference[:3] {
		if r.N < 4 || r.Sealed == nil || r.Told.Brier == nil || r.AirCRPS == nil || *r.AirCRPS < 0 {
			t.Errorf("%d days ahead: %+v", r.Lead, r)
		}
	}
	told := 0
	for _, c := range o.calls() {
		if c.Occasion == "evening" && c.Date <= "2027-10-30" {
			told++
		}
	}
	if n := got.Calls[1].N; n != told || n == 0 {
		t.Errorf("%d evening calls scored, %d were made for days that are over", n, told)
	}
	chart := filepath.Join(o.dir, "chances.png")
	text := o.must("skill", "--png", chart, "--svg", filepath.Join(o.dir, "chances.svg"))
	if !strings.Contains(text, "Too few to tell") || !strings.Contains(text, "calls made") {
		t.Errorf("a week is told as %s", text)
	}
	b, err := os.ReadFile(chart)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := png.Decode(bytes.NewReader(b)); err != nil {
		t.Error(err)
	}
}

// A record too short for a year, and settings that no ensemble has, are refused.
func TestSkillRefuses(t *testing.T) {
	t.Parallel()
	o := &office{t: t, dir: t.TempDir(), config: "none.yaml"}
	o.fails(exitUsage, []string{"--scale"}, "skill", "--weather", "x.csv", "--scale", "3")
	o.fails(exitUsage, []string{"--members"}, "skill", "--weather", "x.csv", "--members", "5")
	o.fails(exitUsage, []string{"--weather"}, "skill", "--alone")
	o.fails(exitUsage, []string{"--lat"}, "skill", "--weather", "x.csv")
}
