package aslaid

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"laycast/job"
)

func sample() Record {
	at := time.Date(2027, 4, 14, 12, 0, 0, 0, time.UTC)
	e := job.Entry{ID: "a", Job: "J1", N: 1, Date: job.Date{Year: 2027, Month: 4, Day: 14}, Crew: "heron", By: "crew", At: at, Noted: at}
	x := 0.84
	return Record{
		Job: "J1", Date: e.Date, Day: Day{Firm: "Saltbox", Crew: "Heron", Task: "lay", AreaM2: 12, Outcome: "laid", SaidBy: "the crew", Closed: at.Add(48 * time.Hour)},
		Calls:    []Call{{Occasion: "evening", Outcome: "go", Made: at, By: "laycast", Chance: &x}},
		Reports:  []job.Report{{Entry: e, What: job.Begun}, {Entry: e, What: job.Halted, Cause: job.ByRain, Because: `<b>"quoted" \ & 'so'`}},
		Hours:    []Hour{{At: at, AirC: Known(14.236)}},
		Readings: []Reading{{Reading: job.Reading{Entry: e, AirC: Known(15)}, OffAirK: Known(.76)}},
		Batches:  []job.Batch{{Entry: e, ResinKg: 1.1, Lot: "K-7", DosePct: 2}},
		Photos:   []Photo{{ID: "ff", By: "crew", At: at}},
		Use:      Used([]job.Batch{{ResinKg: 9}, {ResinKg: 6, Topcoat: true}}, 12, 1.125, .5),
	}
}

// What goes into the chain comes out of it, and any change of any row shows at
// that row.
func TestTheChainShowsAnyChange(t *testing.T) {
	rows, err := sample().Rows()
	if err != nil {
		t.Fatal(err)
	}
	other := sample()
	other.Job = "J2"
	more, err := other.Rows()
	if err != nil {
		t.Fatal(err)
	}
	if rows, err = Link(Row{}, append(rows, more...)); err != nil {
		t.Fatal(err)
	}
	if err := Verify(rows); err != nil {
		t.Fatalf("an honest chain: %v", err)
	}
	got, err := Assemble(rows[:len(rows)/2])
	want := sample()
	want.First, want.Last, want.Hash = 1, int64(len(rows)/2), rows[len(rows)/2-1].Hash
	if err != nil || len(got) != 1 || !reflect.DeepEqual(got[0], want) {
		t.Errorf("assembled %+v, %v\nwant %+v", got, err, want)
	}
	for i := range rows {
		for name, change := range map[string]func(rs []Row) []Row{
			"body":    func(rs []Row) []Row { rs[i].Body = strings.Replace(rs[i].Body, "1", "2", 1); return rs },
			"day":     func(rs []Row) []Row { rs[i].Date = rs[i].Date.AddDays(1); return rs },
			"job":     func(rs []Row) []Row { rs[i].Job = "J3"; return rs },
			"kind":    func(rs []Row) []Row { rs[i].Kind = "note"; return rs },
			"hash":    func(rs []Row) []Row { rs[i].Hash = rs[0].Hash[1:] + "0"; return rs },
			"out":     func(rs []Row) []Row { return append(rs[:i], rs[i+1:]...) },
			"no JSON": func(rs []Row) []Row { rs[i].Body = rs[i].Body[1:]; return rs },
			"rehashed": func(rs []Row) []Row { // by one who can reckon, of that row alone
				rs[i].Body = `{"x":1}`
				rs[i].Hash, _ = rs[i].Sum()
				return rs
			},
		} {
			last := i == len(rows)-1
			if last && (name == "out" || name == "rehashed") {
				continue // only who kept the last hash can tell: Verify's doc says so
			}
			changed := change(append([]Row{}, rows...))
			var broken *Broken
			if err := Verify(changed); !errors.As(err, &broken) || broken.Seq != rows[i].Seq && broken.Seq != rows[i].Seq+1 {
				t.Errorf("%s of row %d changed: %v", name, i+1, err)
			}
		}
	}
}

// By hand: SHA-256 of the text that the doc says, by sha256sum.
func TestSumOfARow(t *testing.T) {
	r := Row{Seq: 1, Job: "J1", Date: job.Date{Year: 2027, Month: 4, Day: 14}, Kind: KindUse, Body: `{"b":1.50,"a":"<é>"}`}
	got, err := r.Sum()
	// printf '\n{"body":{"a":"<é>","b":1.50},"date":"2027-04-14","job":"J1","kind":"use","seq":1}' | sha256sum
	const want = "72331d1ef89cbc973923e1bfcb0d7aabedbf6b806e95d36c0f0112498f199f35"
	if err != nil || got != want {
		t.Errorf("the sum is %s, %v; want %s", got, err, want)
	}
}

func TestUsed(t *testing.T) {
	// 9 kg and 6 kg over 12 m²: 0.75 and 0.5 kg/m²
	if u := sample().Use; u.ResinPerM2 != .75 || u.TopcoatPer != .5 || u.ResinKg != 9 || u.ResinPlan != 1.125 {
		t.Errorf("%+v", u)
	}
}
