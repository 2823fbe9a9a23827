package dbtest

import (
	"reflect"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/scheduler/ledger"
)

// testSkill: statistics come back as they were, a day is learned from once, and
// an older state never replaces a later one.
func testSkill(t *testing.T, dsn string) {
	d := filled(t, dsn)
	put := func(ss ...ledger.CellStats) {
		t.Helper()
		commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Skill: ss})
	}
	want := func(ss ...ledger.CellStats) {
		t.Helper()
		got, err := d.Skill(t.Context(), "replay", []forecast.Cell{cell(53.45), cell(54), cell(55)})
		if err != nil || !reflect.DeepEqual(got, ss) {
			t.Fatalf("%d cells, %v; want %d as they were written", len(got), err, len(ss))
		}
	}
	want()
	day := noon().Truncate(24 * time.Hour)
	s := skill.Prior()
	s.Through, s.Days, s.Lead[2][skill.Wind][1].Error = day, 3, 0.1234567890123
	here := ledger.CellStats{Source: "replay", Cell: cell(53.45), Stats: s}
	other := ledger.CellStats{Source: "another", Cell: cell(53.45), Stats: s}
	north := ledger.CellStats{Source: "replay", Cell: cell(54), Stats: s}
	put(north, here, other)
	want(here, north)

	// the same day by another process: what is there stays
	again := here
	again.Stats.Days = 99
	put(again)
	want(here, north)
	// an older state of a process that was slow
	again.Stats.Through = day.AddDate(0, 0, -1)
	put(again)
	want(here, north)
	// the next day
	here.Stats.Through, here.Stats.Days = day.AddDate(0, 0, 1), 4
	put(here)
	want(here, north)
	// begun anew over the record that stands, though it reaches no further
	anew := here
	anew.Stats.Days, anew.Over = 40, here.Stats.Through
	put(anew)
	here.Stats.Days = 40
	want(here, north)
	// over one that stands no more
	anew.Stats.Days, anew.Over = 41, day
	put(anew)
	want(here, north)
}

// testRunsAt: what stood at a moment is the run first seen latest by then.
func testRunsAt(t *testing.T, dsn string) {
	d := filled(t, dsn)
	hour := func(h int) time.Time { return noon().Add(time.Duration(h) * time.Hour) }
	a, b := aRun(forecast.Deterministic, 53.45, 1, hour(0)), aRun(forecast.Deterministic, 53.45, 2, hour(3))
	ens, far := aRun(forecast.Ensemble, 53.45, 3, hour(1)), aRun(forecast.Deterministic, 54, 4, hour(2))
	other := aRun(forecast.Deterministic, 53.45, 5, hour(2))
	other.Source = "another"
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Runs: []forecast.Run{a, b, ens, far, other}})
	for _, x := range []struct {
		at, since int
		want      []forecast.Run
	}{
		{-1, -9, nil}, {0, -9, []forecast.Run{a}}, {2, -9, []forecast.Run{a, ens}}, {3, -9, []forecast.Run{b, ens}}, {99, -9, []forecast.Run{b, ens}},
		{99, 2, []forecast.Run{b}}, // the ensemble was not seen since
		{99, 4, nil},
	} {
		got, err := d.RunsAt(t.Context(), "replay", cell(53.45), hour(x.at), hour(x.since))
		if err != nil || len(got) != len(x.want) {
			t.Fatalf("at %d, seen since %d: %d runs, %v; want %d", x.at, x.since, len(got), err, len(x.want))
		}
		for i := range got {
			if err := sameRun(got[i], x.want[i]); err != nil {
				t.Errorf("at %d: %v", x.at, err)
			}
		}
	}
}
