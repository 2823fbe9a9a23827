package main

import (
	"bytes"
	"context"
	"database/sql"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"laycast/forecast"
	"laycast/job"
	"laycast/job/aslaid"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// laidDay lives the roof's day: sealed at 12:40, topcoated at 15:10, a reading, two
// batches and a photo, and the weather's rows of the day, which came on the next.
func laidDay(t *testing.T) roofDay {
	r := aRoofDay(t)
	r.said(7, 40, job.Report{What: job.Begun})
	r.said(12, 40, job.Report{What: job.Sealed})
	r.said(15, 10, job.Report{What: job.Topcoated})
	r.do(task.Close, dublin(5, 20, 0))
	entry := func(id string, h, m int) job.Entry {
		return job.Entry{ID: id, Job: "Q-01", N: 1, Date: mayDay(5), Crew: "gull", By: "crew", At: dublin(5, h, m), Noted: dublin(5, h, m+1)}
	}
	r.commit(ledger.Decision{Runs: []forecast.Run{pastOf(r)}, Diary: job.Diary{
		Readings: []job.Reading{{Entry: entry("r1", 9, 20), AirC: aslaid.Known(13), RHPct: aslaid.Known(70), SurfaceC: aslaid.Known(15.5), MoisturePct: aslaid.Known(12), Note: "in the shade \"><script>"}},
		Batches: []job.Batch{
			{Entry: entry("b1", 10, 5), ResinKg: 9.5, ResinLot: "R-4471", Lot: "K-7", DosePct: 2, AreaM2: 9},
			{Entry: entry("b2", 14, 0), Topcoat: true, ResinKg: 4.4, ResinLot: "T-19", Lot: "K-7", DosePct: 2, AreaM2: 9},
		},
	}})
	p := aslaid.Photo{ID: strings.Repeat("ab", 32), By: "crew", At: dublin(5, 9, 0), Note: "deck before the mat"}
	if err := r.h.db.PutPhoto(t.Context(), r.h.firm.UID, "Q-01", mayDay(5), p, []byte{1}); err != nil {
		t.Fatal(err)
	}
	return r
}

// pastOf is a run whose past rows hold 5 May: 14 °C, dew point 8 °C, and a dry day.
func pastOf(r roofDay) forecast.Run {
	start := dublin(4, 10, 0)
	h := forecast.NewHours(start, 72, 1, forecast.Air, forecast.Dew, forecast.RH, forecast.Rain, forecast.Wind, forecast.Gust, forecast.Cloud, forecast.Solar)
	for i := range h.N {
		for v, x := range map[forecast.Var]float32{forecast.Air: 14, forecast.Dew: 8, forecast.RH: 67, forecast.Rain: 0, forecast.Wind: 4, forecast.Gust: 7, forecast.Cloud: 60, forecast.Solar: 250} {
			h.Cols[v][i] = x
		}
	}
	seen := dublin(6, 9, 0)
	return forecast.Run{Source: r.sched.Sources[0].Name, Endpoint: forecast.Deterministic, Cell: scheduler.CellOf(r.job().Site), Hours: h, Digest: forecast.Digest(h), FirstSeen: seen, LastSeen: seen, Changed: seen}
}

// A day's record is closed once, 36 hours after its last, with everything that is
// known of it; a row that is changed afterwards is found; it prints, and the
// customer is told of it once.
func TestARecordIsClosedAndHolds(t *testing.T) {
	t.Parallel()
	r := laidDay(t)
	if out := r.o.must("record", "Q-01", "--now", "2027-05-05T20:00:00Z"); !strings.Contains(out, "NOT CLOSED YET") {
		t.Errorf("on the evening itself:\n%s", out)
	}
	r.do(task.Record, dublin(6, 20, 0))
	if out := decode[recordJSON](t, r.o.must("record", "Q-01", "--json", "--now", "2027-05-06T20:00:00Z")); out.Closed || len(out.Records) != 1 {
		t.Fatalf("closed %t with %d records a day later", out.Closed, len(out.Records))
	}
	r.do(task.Record, dublin(7, 8, 20))
	out := decode[recordJSON](t, r.o.must("record", "Q-01", "--json", "--verify"))
	if !out.Closed || len(out.Records) != 1 || out.Verified == nil || !*out.Verified {
		t.Fatalf("%+v", out)
	}
	x := out.Records[0]
	if x.Day.Outcome != "laid and topcoated" || x.Day.SaidBy != "the crew" || x.Day.AreaM2 != 9 || len(x.Reports) != 3 || len(x.Calls) != 1 || *x.Calls[0].Chance != .85 || len(x.Batches) != 2 || len(x.Photos) != 1 {
		t.Errorf("%+v", x)
	}
	// 9.5 kg over 9 m² is 1.06; 4.4 is 0.49
	if x.Use.ResinPerM2 != 1.06 || x.Use.TopcoatPer != .49 || x.Use.ResinPlan == 0 {
		t.Errorf("use %+v", x.Use)
	}
	if n := len(x.Hours); n < 10 || *x.Hours[0].AirC != 14 || !x.Hours[0].At.Equal(dublin(5, 7, 0)) {
		t.Errorf("%d hours, %+v", n, x.Hours[0])
	}
	// 13 °C and 70 % is a dew point of 7.7 °C (Magnus): the deck lies 7.8 K above it, and
	// the air 1 K under the model's
	if rd := x.Readings[0]; *rd.OffAirK != -1 || math.Abs(*rd.MarginK-7.8) > .1 || rd.OffDeckK == nil {
		t.Errorf("reading %+v", rd)
	}
	for range 2 {
		r.do(task.Record, dublin(8, 8, 20)) // again adds nothing
	}
	if again := decode[recordJSON](t, r.o.must("record", "Q-01", "--json")); len(again.Records) != 1 || again.Records[0].Hash != x.Hash {
		t.Errorf("closed again: %+v", again)
	}
	r.prints(t)
	r.handsOver(t, x.Hash)
	r.tampered(t)
}

// prints holds that the same record is the same PDF.
func (r roofDay) prints(t *testing.T) {
	t.Helper()
	var pages [2][]byte
	for i := range pages {
		path := filepath.Join(r.o.dir, "record.pdf")
		r.o.must("record", "Q-01", "--pdf", path)
		b, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		pages[i] = b
		if keep := os.Getenv("LAYCAST_KEEP_PDF"); keep != "" { // to look at
			_ = os.WriteFile(keep, b, 0o600)
		}
	}
	if !bytes.HasPrefix(pages[0], []byte("%PDF-")) || !bytes.Equal(pages[0], pages[1]) {
		t.Errorf("PDFs of %d and %d bytes differ, or are none", len(pages[0]), len(pages[1]))
	}
	if text := r.o.must("record", "Q-01"); !strings.Contains(text, "MODEL OUTPUT") || !strings.Contains(text, "MEASURED on site") || !strings.Contains(text, "K-7") {
		t.Errorf("the sheet says\n%s", text)
	}
}

// handsOver holds that the customer is written once.
func (r roofDay) handsOver(t *testing.T, hash string) {
	t.Helper()
	r.o.must("record", "Q-01", "--send", "--now", "2027-05-08T10:00:00Z")
	r.o.run(context.Background(), "record", "Q-01", "--send", "--now", "2027-05-08T11:00:00Z")
	n := 0
	for _, m := range r.o.messages() {
		if m.Kind == "hand-over" {
			n++
			if text := r.o.must("messages", "--show", m.ID); !strings.Contains(text, hash[:20]) || !strings.Contains(text, "12:40") {
				t.Errorf("the mail says\n%s", text)
			}
		}
	}
	if n != 1 {
		t.Errorf("%d hand-over mails", n)
	}
}

// tampered changes a batch in the database, as somebody would who wishes that less
// catalyst had been used.
func (r roofDay) tampered(t *testing.T) {
	t.Helper()
	db, err := sql.Open("sqlite", filepath.Join(r.o.dir, "laycast.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = db.Close() }()
	res, err := db.Exec(`UPDATE records SET body = replace(body, '"dose_pct":2', '"dose_pct":1') WHERE kind = 'batch' AND body LIKE '%R-4471%'`)
	if err != nil {
		t.Fatal(err)
	}
	if n, _ := res.RowsAffected(); n != 1 {
		t.Fatalf("%d rows were changed, want 1", n)
	}
	r.o.fails(exitFail, []string{"do not hold", "Q-01", "changed after it was closed"}, "record", "--verify")
	r.o.fails(exitFail, []string{"do not hold"}, "record", "Q-01", "--verify")
}
