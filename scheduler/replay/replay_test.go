package replay

import (
	"context"
	"math"
	"reflect"
	"testing"
	"time"

	made "laycast/forecast/replay"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
)

// short makes three weeks of an invented September by the sea.
func short(t *testing.T, seed uint64, jobs int) Season {
	t.Helper()
	src, err := made.New(made.Invent(seed, 44.6, -63.6, 2023), made.Options{Seed: seed, Members: 20, Drawn: true})
	if err != nil {
		t.Fatal(err)
	}
	zone, err := time.LoadLocation("America/Halifax")
	if err != nil {
		t.Fatal(err)
	}
	s := Season{Name: "quay", Weather: src, Calibrated: true, Firm: Firm("America/Halifax"), Zone: zone, Days: 21,
		From: job.Date{Year: 2023, Month: time.September, Day: 4}}
	s.Crews, s.Jobs = Invent(Plot{Seed: seed, Jobs: jobs, Crews: 2, Lat: 44.6, Lon: -63.6}, s.Firm, s.From, s.Days)
	return s
}

// Every policy lives through the season, none earns more than the bound (one
// that does has seen the future), and a daemon that knows the weather opens no
// roof that fails and moves no date.
func TestNoPolicyBeatsForesight(t *testing.T) {
	if raceOn {
		t.Skip("whole seasons take too long under the race detector: run without it (make test)")
	}
	t.Parallel()
	s := short(t, 1, 24)
	days := 0
	r, err := Run(context.Background(), s, Policies(), func() { days++ })
	if err != nil {
		t.Fatal(err)
	}
	if want := s.Days * len(Policies()); days != want {
		t.Errorf("told of %d days, want %d", days, want)
	}
	if r.Foresight.Found <= 0 || r.Foresight.Found > r.Foresight.Bound {
		t.Errorf("found %d, bound %d", r.Foresight.Found, r.Foresight.Bound)
	}
	for _, p := range Policies() {
		x := r.Scores[p]
		if share := r.Share(p); share > 1 {
			t.Errorf("%s gains %.3f of the bound", p, share)
		}
		if x.Lays == 0 || x.Done == 0 || x.Jobs != 24 || x.Done > x.Jobs || x.Finished > x.Done {
			t.Errorf("%s did %+v", p, x)
		}
	}
	if x := r.Scores[Knowing]; x.Failed > 0 || x.Moves > 0 {
		t.Errorf("with a perfect forecast %d of %d failed, %d dates moved", x.Failed, x.Lays, x.Moves)
	}
}

// A perfect forecast leaves nothing in doubt, the crews' pace neither: of this season
// the daemon sent a crew at a chance of .9 while each member had a crew of its own.
func TestAPerfectForecastHasNoDoubts(t *testing.T) {
	if raceOn {
		t.Skip("whole seasons take too long under the race detector: run without it (make test)")
	}
	t.Parallel()
	s := short(t, 3, 24)
	d, err := liveThrough(context.Background(), &s, Knowing, func() {})
	if err != nil {
		t.Fatal(err)
	}
	if x := d.diary.score(&s); x.Lays == 0 || x.Foreseen != 0 || x.Failed > 0 {
		t.Errorf("%d of %d lays failed where %.2f were feared, want none of either", x.Failed, x.Lays, x.Foreseen)
	}
}

func TestTheSameSeasonTwiceIsTheSame(t *testing.T) {
	if raceOn {
		t.Skip("whole seasons take too long under the race detector: run without it (make test)")
	}
	t.Parallel()
	live := func() Result {
		r, err := Run(context.Background(), short(t, 3, 12), []Policy{Laycast, Greedy}, func() {})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	if a, b := live(), live(); !reflect.DeepEqual(a, b) {
		t.Errorf("first %+v\nthen  %+v", a, b)
	}
}

// dry is a year without a drop, with mild steady air.
func dry(t *testing.T) *made.Source { return dryWith(t, 18, 0, 0, 0) }

// dryWith is one of another air (°C), with so much sun (W/m²) in some hours of each day, in UTC.
func dryWith(t *testing.T, air, sun float64, from, to int) *made.Source {
	t.Helper()
	rec := made.Invent(1, 44.6, -63.6, 2023)
	for i := range rec.Rows {
		r := &rec.Rows[i]
		r.Rain, r.Air, r.Dew, r.Wind, r.Gust, r.Solar = 0, air, 6, 2, 3, 0
		if h := r.At.Hour(); h >= from && h < to {
			r.Solar = sun
		}
	}
	rec.Rows[3].Rain = 0.4 // a record without any rain has no climate of it
	src, err := made.New(rec, made.Options{Members: 10})
	if err != nil {
		t.Fatal(err)
	}
	return src
}

// One crew, one working week of good days, one small roof worth 1,000.00, late by
// 10.00 a day from the first day on, 10 km of road away: sealed on the first day
// and topcoated too, it gains half its value (left alone it is worth half), and
// the lateness of the six days after the first that it would have run up, less
// 20 km at 0.60.
func TestTheBoundOfOneRoof(t *testing.T) {
	s := Season{Name: "one", Weather: dry(t), Firm: Firm("America/Halifax"), Days: 5, From: job.Date{Year: 2023, Month: time.September, Day: 4}}
	s.Zone, _ = time.LoadLocation("America/Halifax")
	s.Crews = []job.Crew{{ID: "gull", Size: hands, Depot: job.Point{Lat: 44.6, Lon: -63.6}}}
	j := job.Job{ID: "q", Profile: "polyester", Value: 1000_00, LateCostPerDay: 10_00,
		Earliest: s.From, Promised: s.From.AddDays(-1), Deadline: s.From.AddDays(30)}
	const km10 = 10 / 1.3 / 111.2 // degrees of latitude
	j.Site = job.Site{Lat: 44.6 + km10, Lon: -63.6, Zone: s.Firm.Zone}
	j.Roof = job.Roof{AreaM2: 8, Work: job.Replace, Deck: job.NewBoard, Outlets: 1, Edges: []job.Edge{{Kind: job.Drip, LengthM: 11.3}}}
	s.Jobs = []Arrival{{On: s.From, Job: j}}
	f := foresee(&s, 400)
	want := int64(500_00 + 5*10_00 - 12_00)
	if f.Found != want || f.Bound < want || f.Bound > want+want/100 {
		t.Errorf("found %d, bound %d, want %d", f.Found, f.Bound, want)
	}
}

// A hand-made diary: two roofs of 1,800.00, one laid and topcoated in two visits
// after one move, one that failed once.
func TestScore(t *testing.T) {
	from := job.Date{Year: 2023, Month: time.September, Day: 4}
	s := &Season{Firm: Firm("UTC"), Zone: time.UTC, From: from, Days: 28, Crews: []job.Crew{{ID: "gull", Size: hands}}}
	mk := func(id string) job.Job {
		return job.Job{ID: id, Value: 1800_00, AbortCost: 500_00, LateCostPerDay: 20_00, Promised: from.AddDays(6), Deadline: from.AddDays(60), Roof: job.Roof{AreaM2: 10}}
	}
	s.Jobs = []Arrival{{On: from, Job: mk("a")}, {On: from, Job: mk("b")}}
	d := newDiary()
	a := job.Booking{Job: s.Jobs[0].Job}
	d.told("a", "/1", from.AddDays(5), from)
	d.told("a", "/1", from.AddDays(5), from.AddDays(1)) // said again: nothing new
	d.told("a", "/1", from.AddDays(8), from.AddDays(2)) // 3 days' notice: 120; the new date is 6 days off
	o := outcome{known: true, sealed: true, task: rules.Lay, areaM2: 10, chance: 0.8}
	a = laid(a, o, from.AddDays(8))
	d.went("a", "/1", "gull", from.AddDays(8), 0, o, a)
	coat := outcome{known: true, sealed: true, task: rules.Coat, areaM2: 10, chance: 1}
	a = laid(a, coat, from.AddDays(9))
	d.went("a", "/2", "gull", from.AddDays(9), 0, coat, a)
	d.told("b", "/1", from.AddDays(9), from.AddDays(7))
	d.broke("b", "/1", from.AddDays(8), true) // called off the evening before: 200, and no new date
	d.went("b", "/2", "gull", from.AddDays(10), 0, outcome{known: true, rained: true, task: rules.Lay, areaM2: 10, chance: 0.7}, job.Booking{Job: s.Jobs[1].Job})
	d.standBys = []standBy{{"a", from.AddDays(8)}, {"b", from.AddDays(4)}} // the second in vain: a short notice, 60
	x := d.score(s)
	// sealed 0.8-0.5 of the value; topcoat 0.2 of it less 150 for coming back;
	// laid 2 days late, while left it would have been 22
	want := Score{Sealed: 540_00, Coated: 360_00 - 150_00, Aborts: 500_00, Late: (2 - 22) * 20_00, Moved: 120_00 + 200_00 + 60_00,
		Jobs: 2, Done: 1, Finished: 1, Lays: 3, Failed: 1, Rained: 1, Pulled: 1, Moves: 2, ShortMoves: 1, StandBys: 2, InVain: 1, Notice: 6,
		Foreseen: 0.5, Sure: x.Sure, Road: x.Road}
	want.Money = want.Sealed + want.Coated - want.Aborts - want.Late - want.Moved - want.Road
	want.Foreseen = x.Foreseen
	if math.Abs(x.Foreseen-0.5) > 1e-9 || !reflect.DeepEqual(x, want) {
		t.Errorf("got  %+v\nwant %+v", x, want)
	}
}

// A bold firm goes wherever its chances lie within the bounds of a no-go, where the
// firm itself holds some roofs.
func TestTheBoldGoWhereOthersHold(t *testing.T) {
	if raceOn {
		t.Skip("whole seasons take too long under the race detector: run without it (make test)")
	}
	t.Parallel()
	s := short(t, 1, 24)
	b := s.Firm.Bounds
	held := func(p Policy) (n int) {
		d, err := liveThrough(context.Background(), &s, p, func() {})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range d.m.calls {
			if c.Outcome == call.Hold && c.Chance >= b.NoGo && c.RainOpen <= b.NoGoRain {
				n++
			}
		}
		return n
	}
	if n := held(Laycast); n == 0 {
		t.Error("the firm itself held no roof that the bold could go to: the season tells nothing")
	}
	if n := held(Bold); n > 0 {
		t.Errorf("the bold held %d roofs", n)
	}
	if s.Firm.Bounds != b {
		t.Errorf("the season's own firm has become bold: %+v", s.Firm.Bounds)
	}
}
