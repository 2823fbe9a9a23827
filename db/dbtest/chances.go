package dbtest

import (
	"errors"
	"reflect"
	"sync"
	"testing"

	"laycast/db"
	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
)

// aChance is one of the reference roof of a cell, "" as job, or of a call.
func aChance(lat float64, id string, d, lead int, sealed float64) ledger.Chance {
	c := ledger.Chance{
		Source: "replay", Cell: cell(lat), Job: id, Date: day(d), Lead: lead, Zone: "America/Halifax", Made: noon(), Start: noon(),
		Members: skill.Chances{Sealed: sealed, Full: sealed / 2, RainOpen: (1 - sealed) / 2}, Hands: 2, State: ledger.Open,
	}
	c.Told = c.Members
	if id != "" {
		c.Firm, c.Outcome = uid, call.Go
	} else {
		c.Air = []float64{3, 4.5}
	}
	return c
}

func scored(c ledger.Chance, sealed, rained bool) ledger.Chance {
	c.State, c.Sealed, c.Rained, c.How = ledger.Scored, sealed, rained, ledger.ModelRows
	return c
}

func chances(t *testing.T, d *db.DB, state ledger.ChanceState, from, to job.Date) []ledger.Chance {
	t.Helper()
	cs, err := d.Chances(t.Context(), uid, "replay", []forecast.Cell{cell(53.45), cell(54)}, state, from, to)
	if err != nil {
		t.Fatal(err)
	}
	return cs
}

func sameChances(t *testing.T, what string, got []ledger.Chance, want ...ledger.Chance) {
	t.Helper()
	if len(got) != len(want) || (len(want) > 0 && !reflect.DeepEqual(got, want)) {
		t.Fatalf("%s: %+v\nwant %+v", what, got, want)
	}
}

// testChances: given once, scored once, read by firm and by cell, counted by
// source, dropped when old.
func testChances(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	ref, far, own := aChance(53.45, "", 14, 1, 0.8), aChance(55, "", 14, 1, 0.3), aChance(53.45, "J1", 14, 1, 0.71)
	next := aChance(53.45, "", 15, 2, 0.6)
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Chances: []ledger.Chance{next, own, far, ref}})
	sameChances(t, "up to the 14th", chances(t, d, ledger.Open, job.Date{}, day(14)), ref, own)
	sameChances(t, "all", chances(t, d, ledger.Open, job.Date{}, job.Date{}), ref, next, own)
	sameChances(t, "from the 15th", chances(t, d, ledger.Open, day(15), job.Date{}), next)

	other := ref
	other.Members.Sealed = 0.1
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Chances: []ledger.Chance{other}})
	sameChances(t, "given again", chances(t, d, ledger.Open, day(14), day(14)), ref, own)

	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Chances: []ledger.Chance{scored(ref, true, false), scored(own, false, true)}})
	sameChances(t, "still open", chances(t, d, ledger.Open, job.Date{}, day(14)))
	sameChances(t, "scored", chances(t, d, ledger.Scored, job.Date{}, day(14)), scored(ref, true, false), scored(own, false, true))
	lost := ref
	lost.State = ledger.Lost
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Chances: []ledger.Chance{ref, lost, scored(ref, false, true)}})
	sameChances(t, "scored stays", chances(t, d, ledger.Scored, job.Date{}, day(14)), scored(ref, true, false), scored(own, false, true))

	// another firm's calls are not told, the reference roof is everybody's
	if cs, err := d.Chances(t.Context(), "nobody", "replay", []forecast.Cell{cell(53.45)}, ledger.Scored, job.Date{}, job.Date{}); err != nil || len(cs) != 1 {
		t.Fatalf("another firm reads %+v, %v", cs, err)
	}
	bad := own
	bad.Firm = "nobody"
	if err := d.Commit(t.Context(), ledger.Decision{Firm: uid, Now: noon(), Chances: []ledger.Chance{bad}}); err == nil {
		t.Fatal("a chance of another firm was written")
	}
	testTallies(t, d)
	if _, err := d.Prune(t.Context(), noon().AddDate(2, 0, 1)); err != nil {
		t.Fatal(err)
	}
	sameChances(t, "two years and a day on", chances(t, d, ledger.Scored, job.Date{}, job.Date{}))
	sameChances(t, "open, of the 15th", chances(t, d, ledger.Open, job.Date{}, job.Date{}), next)
}

func testTallies(t *testing.T, d *db.DB) {
	t.Helper()
	// .716 and .712 are one hundredth, their rain .142 and .144 too
	more := aChance(54, "", 14, 1, 0.716)
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Chances: []ledger.Chance{more}})
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Chances: []ledger.Chance{scored(more, true, false)}})
	got, err := d.Tallies(t.Context(), "replay", day(1))
	want := []ledger.Tally{
		{Lead: 1, Date: day(14), Sealed: 0.71, RainOpen: 0.142, N: 2, Was: 1, Rained: 1},
		{Lead: 1, Date: day(14), Sealed: 0.8, RainOpen: 0.1, N: 1, Was: 1},
	}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Fatalf("tallies %+v, %v; want %+v", got, err, want)
	}
	if got, err := d.Tallies(t.Context(), "replay", day(15)); err != nil || len(got) != 0 {
		t.Fatalf("tallies from the 15th: %+v, %v", got, err)
	}
}

// testChanceRivals: two firms give and score the same cell's chances at once;
// what stands is what one of them wrote, whole.
func testChanceRivals(t *testing.T, dsn string) {
	d := filled(t, dsn, "J1")
	var wait sync.WaitGroup
	errs := make([]error, 8)
	for k := range errs {
		wait.Go(func() {
			for i := range 10 {
				c := aChance(53.45, "", 14+i, 1, 0.8)
				errs[k] = errors.Join(errs[k],
					d.Commit(t.Context(), ledger.Decision{Firm: uid, Now: noon(), Chances: []ledger.Chance{c}}),
					d.Commit(t.Context(), ledger.Decision{Firm: uid, Now: noon(), Chances: []ledger.Chance{scored(c, true, k%2 == 0)}}))
			}
		})
	}
	wait.Wait()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
	got := chances(t, d, ledger.Scored, job.Date{}, job.Date{})
	if len(got) != 10 {
		t.Fatalf("%d scored, want 10", len(got))
	}
	for _, c := range got {
		if !c.Sealed || c.How != ledger.ModelRows {
			t.Errorf("%+v", c)
		}
	}
}

// testRecal: the fit to later days stands.
func testRecal(t *testing.T, dsn string) {
	d := filled(t, dsn)
	read := func() ledger.Recal {
		t.Helper()
		r, err := d.Recal(t.Context(), "replay")
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	if r := read(); !reflect.DeepEqual(r, ledger.Recal{Source: "replay"}) {
		t.Fatalf("before anything was learned: %+v", r)
	}
	fit := func(through int, shift float64) []ledger.Recal {
		r := ledger.Recal{Source: "replay", Through: day(through)}
		r.Recal.Sealed[1] = skill.Line{Shift: shift, Bend: -0.1, Days: 3}
		return []ledger.Recal{r}
	}
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Recals: fit(14, 0.25)})
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Recals: fit(14, 9)})
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Recals: fit(13, 9)})
	if r := read(); !reflect.DeepEqual(r, fit(14, 0.25)[0]) {
		t.Fatalf("%+v, want the first of the 14th", r)
	}
	commit(t, d, ledger.Decision{Firm: uid, Now: noon(), Recals: fit(15, -0.5)})
	if r := read(); !reflect.DeepEqual(r, fit(15, -0.5)[0]) {
		t.Fatalf("%+v, want that of the 15th", r)
	}
}
