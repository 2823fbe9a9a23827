package scheduler

import (
	"math"
	"reflect"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/ledger"
)

// weather is a run of hours of one kind: dry and mild, with rain where told.
func weather(ep forecast.Endpoint, start time.Time, n, members int, rainAt func(time.Time) float32) *forecast.Run {
	h := forecast.NewHours(start, n, members, forecast.Air, forecast.Dew, forecast.RH, forecast.Rain, forecast.Wind, forecast.Gust, forecast.Cloud, forecast.Solar)
	for i := range n * members {
		for v, x := range map[forecast.Var]float32{forecast.Air: 15, forecast.Dew: 9, forecast.RH: 67, forecast.Wind: 3, forecast.Gust: 5, forecast.Cloud: 100, forecast.Solar: 60} {
			h.Cols[v][i] = x + float32(i/n)/100
		}
		h.Cols[forecast.Rain][i] = rainAt(h.Start.Add(time.Duration(i%n) * time.Hour))
	}
	return &forecast.Run{Source: "by hand", Endpoint: ep, Hours: h, Digest: forecast.Digest(h), FirstSeen: start, LastSeen: start, Changed: start}
}

func dry(time.Time) float32 { return 0 }

// aWork is a task of a firm with one job, at a time.
func aWork(t *testing.T, now time.Time) *work {
	t.Helper()
	zone, err := time.LoadLocation("America/Halifax")
	if err != nil {
		t.Fatal(err)
	}
	f := job.DefaultFirm()
	f.UID, f.Zone = "saltbox", zone.String()
	b := referenceJob(forecast.CellOf(44.6, -63.6, 20), f.Zone)
	b.ID = "J1"
	s := New(Config{Sources: []NamedSource{{Name: "by hand"}}})
	s.grounds.learned = map[place]*skill.Stats{{"by hand", forecast.CellOf(44.6, -63.6, 20)}: sure()}
	return &work{s: s, book: ledger.Book{Firm: f, Jobs: []job.Booking{b}, Crews: []job.Crew{{ID: "heron", Size: 2}}}, now: now, zone: zone}
}

// sure are the statistics of a source that hardly errs and knows the rain.
func sure() *skill.Stats {
	s := skill.Prior()
	for d := range s.Lead {
		for v := range s.Lead[d] {
			for p := range s.Lead[d][v] {
				s.Lead[d][v][p].DD /= 100
			}
		}
		for c := range s.Rain[d] {
			s.Rain[d][c].Wet = s.Rain[d][c].Share
		}
	}
	return &s
}

func aprilDay(d int) job.Date { return job.Date{Year: 2027, Month: time.April, Day: d} }

// The chance of a reference roof is given every evening for the days that the
// members reach, once a lead, and the record moves what is told of it and not
// what the members say.
func TestReferenceRoofIsGivenEveryEvening(t *testing.T) {
	now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
	w := aWork(t, now)
	cell := forecast.CellOf(44.6, -63.6, 20)
	is := forecast.Issue{Source: "by hand", Det: weather(forecast.Deterministic, now.Add(-48*time.Hour), 288, 1, dry), Ens: weather(forecast.Ensemble, now, 168, 19, dry)}
	is.Det.LastSeen, is.Det.Changed = now, now
	w.s.recals.kept = map[string]skill.Recal{"by hand": {Sealed: [5]skill.Line{1: {Shift: -4}}}}
	w.giveReference(map[forecast.Cell]forecast.Issue{cell: is}, 1, referenceAhead)
	if len(w.out.Chances) != 6 { // 168 hours end within the seventh day
		t.Fatalf("%d chances, want those of 6 days", len(w.out.Chances))
	}
	for i, c := range w.out.Chances {
		if c.Lead != i+1 || c.Date != aprilDay(14+i) || c.Firm != "" || c.Job != "" || c.State != ledger.Open || c.Cell != cell || c.Source != "by hand" {
			t.Errorf("%+v", c)
		}
		if c.Members.Sealed < 0.9 || (c.Lead == 1) != (c.Told.Sealed < c.Members.Sealed-0.05) {
			t.Errorf("%d days ahead: members %.2f, told %.2f", c.Lead, c.Members.Sealed, c.Told.Sealed)
		}
		if len(c.Air) != airQuantiles || c.Air[0] < 14 || c.Air[airQuantiles-1] > 16.2 || c.Air[3] >= c.Air[16] {
			t.Errorf("air %v", c.Air)
		}
	}
	is.Ens.LastSeen = now.Add(-4 * time.Hour)
	w.out.Chances = nil
	w.giveReference(map[forecast.Cell]forecast.Issue{cell: is}, 1, referenceAhead)
	if len(w.out.Chances) != 0 {
		t.Errorf("%d chances of an old forecast", len(w.out.Chances))
	}
}

// Firms that share a cell share the work of its reference roof: the second is given
// what it would have worked out itself, at its own time, by its own word of the record.
func TestReferenceRoofIsTheCells(t *testing.T) {
	now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
	cell := forecast.CellOf(44.6, -63.6, 20)
	is := handIssue(now, 1)
	is.Det.LastSeen, is.Det.Changed = now, now
	is.Ens.LastSeen, is.Ens.Changed = now, now
	issues := map[forecast.Cell]forecast.Issue{cell: is}
	first := aWork(t, now)
	at := func(s *Scheduler, now time.Time, from, to int) []ledger.Chance {
		w := aWork(t, now)
		w.s, w.book.Firm.UID, w.book.Firm.Bounds.Go = s, "other", 0.99
		w.giveReference(issues, from, to)
		if len(w.out.Chances) < 1+min(to, 5)-from {
			t.Fatalf("%d chances", len(w.out.Chances))
		}
		return w.out.Chances
	}
	first.giveReference(issues, 1, referenceAhead)
	first.giveReference(issues, 0, 0)
	kept := len(first.s.grounds.cache.entries)
	later := now.Add(4 * time.Minute)
	if got := at(first.s, later, 1, referenceAhead); !reflect.DeepEqual(got, at(aWork(t, later).s, later, 1, referenceAhead)) || !got[0].Made.Equal(later) {
		t.Error("the second firm of a cell is given other chances than alone")
	}
	if n := len(first.s.grounds.cache.entries); n != kept {
		t.Errorf("the second firm worked %d things out anew", n-kept)
	}
	// a day that has begun is judged from now on, and the record may have changed
	morning := time.Date(2027, 4, 14, 10, 0, 0, 0, time.UTC)
	for _, r := range []*forecast.Run{is.Det, is.Ens} {
		r.LastSeen, r.Changed = morning, morning
	}
	for range 2 {
		for _, when := range []time.Time{morning, morning.Add(time.Hour)} {
			if got := at(first.s, when, 0, 0); !reflect.DeepEqual(got, at(aWork(t, when).s, when, 0, 0)) {
				t.Errorf("at %s: %+v", when, got)
			}
		}
		first.s.recals.kept = map[string]skill.Recal{"by hand": {Sealed: [5]skill.Line{{Shift: -1}, {Shift: -1}}}}
		x, y := at(first.s, morning, 0, 0)[0], at(aWork(t, morning).s, morning, 0, 0)[0]
		if x.Members != y.Members || x.Told.Sealed >= y.Told.Sealed {
			t.Errorf("the record is not heeded: %+v, %+v", x.Told, y.Told)
		}
		first.s.recals.kept = nil
	}
}

// What the reference roof was given outlasts the grounds that it was worked out from,
// and each row is written once by a process: with the places of a thousand firms both
// were done anew for each firm.
func TestReferenceRoofIsWorkedOutAndWrittenOnce(t *testing.T) {
	now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
	is := handIssue(now, 1)
	is.Det.LastSeen, is.Det.Changed = now, now
	is.Ens.LastSeen, is.Ens.Changed = now, now
	issues := map[forecast.Cell]forecast.Issue{forecast.CellOf(44.6, -63.6, 20): is}
	first := aWork(t, now)
	g := &first.s.grounds
	g.cache.most = 1
	first.giveReference(issues, 1, referenceAhead)
	cached(&g.cache, "another place", func() (int, int) { return 1, 1 })
	if len(g.cache.entries) != 1 {
		t.Fatalf("%d things are kept, want the other place alone", len(g.cache.entries))
	}
	second := aWork(t, now)
	second.s, second.book.Firm.UID = first.s, "other"
	second.giveReference(issues, 1, referenceAhead)
	if len(g.cache.entries) != 1 || len(second.out.Chances) < 6 || !reflect.DeepEqual(second.out.Chances, first.out.Chances) {
		t.Errorf("the second firm is given %d chances for %d, and %d things were worked out", len(second.out.Chances), len(first.out.Chances), len(g.cache.entries)-1)
	}
	scored := first.out.Chances[1]
	scored.State = ledger.Scored
	g.written.add([]ledger.Chance{first.out.Chances[0], scored, givenFor(scored.Date, "other", "J-1")})
	second.out.Chances = nil
	second.giveReference(issues, 1, referenceAhead)
	if !reflect.DeepEqual(second.out.Chances, first.out.Chances[1:]) {
		t.Errorf("where the first of %d rows is written the second firm writes %d", len(first.out.Chances), len(second.out.Chances))
	}
	sooner := first.out.Chances[0]
	sooner.Lead--
	if len(g.written.without([]ledger.Chance{sooner})) != 1 {
		t.Error("a chance of another lead is taken for one that is written")
	}
}

func givenFor(d job.Date, firm, id string) ledger.Chance {
	return ledger.Chance{Source: "by hand", Cell: forecast.CellOf(44.6, -63.6, 20), Firm: firm, Job: id, Date: d, Lead: 1, Zone: "America/Halifax",
		Start: time.Date(2027, 4, d.Day, 11, 0, 0, 0, time.UTC), Hands: 2, State: ledger.Open}
}

// A day is scored by rows that have come to be, as the work stood when the
// chance was given; one without rows waits three days and is lost.
func TestScoringByPastRows(t *testing.T) {
	now := time.Date(2027, 4, 15, 6, 20, 0, 0, time.UTC)
	w := aWork(t, now)
	w.book.Jobs[0].LaidM2, w.book.Jobs[0].State = 20, job.Done // laid since
	shower := func(at time.Time) float32 {
		if at.Day() == 14 && at.Hour() == 14 {
			return 2
		}
		return 0
	}
	for _, c := range []struct {
		name           string
		rain           func(time.Time) float32
		sealed, rained bool
	}{{"dry", dry, true, false}, {"shower at 11 by the wall clock", shower, false, true}} {
		run := weather(forecast.Deterministic, now.Add(-48*time.Hour), 96, 1, c.rain)
		run.LastSeen = now
		for _, x := range []ledger.Chance{givenFor(aprilDay(14), "", ""), givenFor(aprilDay(14), "saltbox", "J1")} {
			if !w.scoreOne(&x, run, pastGrounds{}) {
				t.Fatalf("%s, job %q: waits", c.name, x.Job)
			}
			if x.State != ledger.Scored || x.Sealed != c.sealed || x.Rained != c.rained || x.How != ledger.ModelRows || x.AirWas == nil || *x.AirWas != 15 {
				t.Errorf("%s, job %q: %+v", c.name, x.Job, x)
			}
		}
	}
	// the rows stop before the day was over: it is still a forecast
	early := weather(forecast.Deterministic, now.Add(-48*time.Hour), 96, 1, dry)
	early.LastSeen = time.Date(2027, 4, 14, 15, 0, 0, 0, time.UTC)
	for _, run := range []*forecast.Run{nil, early} {
		x := givenFor(aprilDay(14), "", "")
		if w.scoreOne(&x, run, pastGrounds{}) || x.State != ledger.Open {
			t.Errorf("without rows it is %s", x.State)
		}
	}
	old := givenFor(aprilDay(12), "", "")
	if !w.scoreOne(&old, nil, pastGrounds{}) || old.State != ledger.Lost {
		t.Errorf("three days without rows: %s", old.State)
	}
	gone := givenFor(aprilDay(14), "saltbox", "gone")
	if !w.scoreOne(&gone, nil, pastGrounds{}) || gone.State != ledger.Lost {
		t.Errorf("a job that is gone: %s", gone.State)
	}
}

// Counted chances teach what single ones do.
func TestFitOfTallies(t *testing.T) {
	var ts []ledger.Tally
	for d := range 300 {
		ts = append(ts, ledger.Tally{Lead: 1, Date: aprilDay(1).AddDays(d - 300), Sealed: 0.9, RainOpen: 0.05, N: 2, Was: d % 2, Rained: 1})
	}
	r := fitTallies(ts, aprilDay(1))
	got := r.Apply(1, skill.Chances{Sealed: 0.9, Full: 0.45, RainOpen: 0.05})
	if got.Sealed > 0.8 || got.RainOpen < 0.08 || math.Abs(got.Full-got.Sealed/2) > 1e-9 {
		t.Errorf("a .9 that came true one time in four became %+v", got)
	}
}

// A recalibrated verdict keeps its order, its windows follow, and nothing of
// nothing stays nothing.
func TestRecalibratedVerdict(t *testing.T) {
	now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
	w := aWork(t, now)
	is := forecast.Issue{Source: "by hand", Det: weather(forecast.Deterministic, now.Add(-48*time.Hour), 96, 1, dry), Ens: weather(forecast.Ensemble, now, 60, 19, dry)}
	cs := referenceCase(forecast.CellOf(44.6, -63.6, 20), w.zone)
	b := w.book.Firm.Bounds
	plain := w.s.judge(cs, aprilDay(14), is, now, b)
	w.s.recals.kept = map[string]skill.Recal{"by hand": {Sealed: [5]skill.Line{1: {Shift: -5}}}}
	moved := w.s.judge(cs, aprilDay(14), is, now, b)
	if len(plain.Windows) == 0 || len(moved.Windows) != 0 {
		t.Errorf("windows %v became %v", plain.Windows, moved.Windows)
	}
	x, _ := plain.BestStart()
	y, ok := moved.BestStart()
	if !ok || !(y.Sealed < x.Sealed) || y.RainOpen != x.RainOpen {
		t.Errorf("best start %+v became %+v", x, y)
	}
	if z := w.s.honest(is, 1)(rules.Start{}); z != (rules.Start{}) {
		t.Errorf("nothing became %+v", z)
	}
}

func TestHonestyInWords(t *testing.T) {
	given := func(n int, told float64, came int) (cs []ledger.Chance) {
		for k := range n {
			c := givenFor(aprilDay(1).AddDays(k), "", "")
			c.Told.Sealed, c.Sealed = told, k < came
			cs = append(cs, c)
		}
		return cs
	}
	far := given(30, 0.9, 0)
	for i := range far {
		far[i].Lead = 3
	}
	if got := honestyWords(far); got != "" {
		t.Errorf("nothing was given the evening before: %q", got)
	}
	if got := honestyWords(given(4, 0.9, 4)); got != "Chances scored in the last 90 days: 4, too few to tell how honest they are." {
		t.Errorf("four: %q", got)
	}
	got := honestyWords(append(append(given(10, 0.7, 7), given(4, 0.25, 1)...), far...))
	want := "Chances given the evening before in the last 90 days, against the weather that came by the weather model (no gauge): " +
		"10 of 70 % and more (70 % on the mean), of which 7 came true (70 %); 4 of under 50 % (25 % on the mean), of which 1 came true (25 %)."
	if got != want {
		t.Errorf("fourteen: %q\nwant %q", got, want)
	}
}

// What the crew of a called roof says comes before the past rows; a reason that
// is no weather, and a reference roof, leave it to them.
func TestScoringByTheCrewsWord(t *testing.T) {
	d := aprilDay(14)
	report := func(what job.What, c job.Cause) job.Report {
		return job.Report{Entry: job.Entry{Job: "J1", N: 1, Date: d}, What: what, Cause: c}
	}
	wet := weather(forecast.Deterministic, job.Instant(aprilDay(12), 0, time.UTC), 96, 1, func(time.Time) float32 { return 2 })
	wet.LastSeen = job.Instant(aprilDay(15), 0, time.UTC)
	for _, c := range []struct {
		name           string
		firm           string
		said           []job.Report
		sealed, rained bool
		how            string
	}{
		{"sealed in the model's rain", "saltbox", []job.Report{report(job.Sealed, "")}, true, false, ledger.CrewReport},
		{"rain on an open roof", "saltbox", []job.Report{report(job.Begun, ""), report(job.Halted, job.ByRain)}, false, true, ledger.CrewReport},
		{"rain before it was opened", "saltbox", []job.Report{report(job.Halted, job.ByRain)}, false, false, ledger.CrewReport},
		{"wind", "saltbox", []job.Report{report(job.Begun, ""), report(job.Halted, job.ByWind)}, false, false, ledger.CrewReport},
		{"no resin on the van", "saltbox", []job.Report{report(job.Begun, ""), report(job.Halted, job.ByOthers)}, false, false, ledger.ModelRows},
		{"begun and no more", "saltbox", []job.Report{report(job.Begun, "")}, false, false, ledger.ModelRows},
		{"the reference roof", "", []job.Report{report(job.Sealed, "")}, false, false, ledger.ModelRows},
	} {
		w := aWork(t, job.Instant(aprilDay(15), 3*60, time.UTC))
		w.book.Diary.Reports = c.said
		id := "J1"
		if c.firm == "" {
			id = ""
		}
		x := givenFor(d, c.firm, id)
		if !w.scoreOne(&x, wet, pastGrounds{}) || x.State != ledger.Scored || x.Sealed != c.sealed || x.Rained != c.rained || x.How != c.how {
			t.Errorf("%s: %s sealed %t rained %t by %s", c.name, x.State, x.Sealed, x.Rained, x.How)
		}
	}
}
