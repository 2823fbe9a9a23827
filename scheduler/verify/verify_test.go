package verify

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/replay"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
)

// quay is an invented place.
const quayLat, quayLon = 44.6, -63.6

// replayed are forecasts of an invented year with members half as wide as the
// errors, or of what truly was.
type replayed struct {
	src   *replay.Source
	right bool
	alone bool // one run and no ensemble
	asked func(now time.Time)
}

func (r replayed) Issue(now time.Time) (forecast.Issue, error) {
	if r.asked != nil {
		r.asked(now)
	}
	var is forecast.Issue
	for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
		runs, err := r.src.Fetch(context.Background(), forecast.Ask{Endpoint: ep, Cells: []forecast.Cell{forecast.CellOf(quayLat, quayLon, 20)}, Now: now})
		if err != nil {
			return is, err
		}
		run := &runs[0]
		if r.right {
			truth := r.src.Truth(run.Hours.Start, run.Hours.N)
			for v, col := range run.Hours.Cols {
				for i := range col {
					if truth.Cols[v] != nil {
						col[i] = truth.Cols[v][i%run.Hours.N]
					}
				}
			}
		}
		if run.LastSeen = now; ep == forecast.Ensemble {
			is.Ens = run
		} else {
			is.Det = run
		}
	}
	if r.alone {
		is.Ens, is.DetOnly = nil, true
		is.Det.Hours.Cols[forecast.RainChance], is.Det.Hours.Cols[forecast.Solar] = nil, nil
	}
	return is, nil
}

func invented(t *testing.T) *replay.Source {
	t.Helper()
	src, err := replay.New(replay.Invent(5, quayLat, quayLon, 2027), replay.Options{Seed: 2, ID: "quay", Spread: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	return src
}

func roof(t *testing.T) Roof {
	t.Helper()
	zone, err := time.LoadLocation("America/Halifax")
	if err != nil {
		t.Fatal(err)
	}
	f := job.DefaultFirm()
	j := job.Job{ID: "one", Site: job.Site{Lat: quayLat, Lon: quayLon, ElevationM: 20, Zone: zone.String()}}
	j.Roof.Work, j.Roof.Deck, j.Roof.AreaM2 = job.Replace, job.NewBoard, 12
	return Roof{Bounds: f.Bounds, Case: rules.Case{
		Job: job.Booking{Job: j, State: job.Booked, NextVisit: 1}, Crew: 2, Profile: rules.Polyester(), Hours: f.Work, Zone: zone}}
}

func date(m time.Month, d int) job.Date { return job.Date{Year: 2027, Month: m, Day: d} }

// Right forecasts are always right, and what is learned is never of a day that
// is not over, nor of one after learning ended.
func TestYearOfRightForecasts(t *testing.T) {
	if raceOn {
		t.Skip("whole seasons take too long under the race detector: run without it (make test)")
	}
	src := invented(t)
	learn := skill.NewLearner(quayLon)
	from, until, to := date(time.May, 1), date(time.May, 6), date(time.May, 10)
	asked := 0
	f := replayed{src: src, right: true, asked: func(now time.Time) {
		asked++
		if through := learn.Stats.Through; through.After(now) || through.After(job.Instant(until, 0, roof(t).Case.Zone)) {
			t.Errorf("at %s days through %s are known", now, through)
		}
	}}
	told := 0
	gs, err := Year(roof(t), src, f, learn, from, to, until, func(job.Date) { told++ })
	if err != nil {
		t.Fatal(err)
	}
	if asked != 20 || told != 10 || learn.Stats.Days != 6 {
		t.Errorf("asked %d times, told %d days, learned from %d", asked, told, learn.Stats.Days)
	}
	// 10 second looks; 9, 8, 7, 6 and 5 days with 1 to 5 days ahead
	perLead := map[int]int{}
	for _, g := range gs {
		perLead[g.Lead]++
		if g.Said != g.Sealed {
			t.Errorf("%s, %d days ahead: the run said %v, it was %v", g.Date, g.Lead, g.Said, g.Sealed)
		}
		// members differ in their pace, so a right forecast may still give a share
		if g.Raw.Sealed < 0.25 && g.Sealed || g.Raw.Sealed > 0.75 && !g.Sealed {
			t.Errorf("%s, %d days ahead: members gave %.2f, it was %v", g.Date, g.Lead, g.Raw.Sealed, g.Sealed)
		}
		if g.AirRaw != 0 || !(g.AirDressed > 0) {
			t.Errorf("%s, %d days ahead: CRPS of the air %g raw, %g dressed", g.Date, g.Lead, g.AirRaw, g.AirDressed)
		}
	}
	for lead, want := range []int{10, 9, 8, 7, 6, 5} {
		if perLead[lead] != want {
			t.Errorf("%d chances %d days ahead, want %d", perLead[lead], lead, want)
		}
	}
}

type dead struct{}

func (dead) Issue(time.Time) (forecast.Issue, error) {
	return forecast.Issue{}, errors.New("no answer")
}

type half struct{}

func (half) Issue(time.Time) (forecast.Issue, error) { return forecast.Issue{}, nil }

func TestForecastThatFailsIsAnError(t *testing.T) {
	for _, f := range []Forecasts{dead{}, half{}} {
		if _, err := Year(roof(t), invented(t), f, skill.NewLearner(quayLon), date(time.May, 1), date(time.May, 2), job.Date{}, nil); err == nil {
			t.Errorf("%T: a year was scored without a forecast", f)
		}
	}
}

// On members that are too sure, dressed ones score better than raw ones, and
// both better than one run taken at its word.
func TestDressedBeatsRawOnAnInventedSpring(t *testing.T) {
	if raceOn {
		t.Skip("whole seasons take too long under the race detector: run without it (make test)")
	}
	src := invented(t)
	from, until, to := date(time.April, 1), date(time.April, 30), date(time.June, 20)
	gs, err := Year(roof(t), src, replayed{src: src}, skill.NewLearner(quayLon), from, to, until, nil)
	if err != nil {
		t.Fatal(err)
	}
	row := RowOf([]Part{PartOf(Recalibrate(gs, Learn(gs, until)), until, func(g Given) bool { return g.Lead > 0 }, false)}, 1)
	h, d, m, one := row.Ways[Recalibrated], row.Ways[Dressed], row.Ways[Raw], row.Ways[Single]
	t.Logf("%d chances, sealed %.2f; Brier %.3f recalibrated, %.3f dressed, %.3f raw, %.3f single; slope %.2f, %.2f, %.2f; air %.2f, %.2f K",
		row.N, row.Freq, h.Score, d.Score, m.Score, one.Score, h.Slope, d.Slope, m.Slope, row.AirDressed, row.AirRaw)
	if !(d.Score < m.Score && h.Score < m.Score && m.Score < one.Score && row.SkillHolds(Recalibrated)) {
		t.Error("dressing did not help")
	}
	if !(math.Abs(d.Slope-1) < math.Abs(m.Slope-1) && row.AirDressed < row.AirRaw) {
		t.Error("dressed chances are no more reliable than raw ones")
	}
}

// One run without an ensemble, dressed, scores better than taken at its word; what
// it gives as raw is that word.
func TestDressingOneRunOnAnInventedSpring(t *testing.T) {
	if raceOn {
		t.Skip("whole seasons take too long under the race detector: run without it (make test)")
	}
	src := invented(t)
	from, until, to := date(time.April, 1), date(time.April, 30), date(time.June, 20)
	gs, err := Year(roof(t), src, replayed{src: src, alone: true}, skill.NewLearner(quayLon), from, to, until, nil)
	if err != nil {
		t.Fatal(err)
	}
	between := 0
	for _, g := range gs {
		if g.Raw.Sealed != yes(g.Said) {
			t.Fatalf("%s, %d days ahead: raw %g, said %v", g.Date, g.Lead, g.Raw.Sealed, g.Said)
		}
		if g.Dressed.Sealed > 0.02 && g.Dressed.Sealed < 0.98 {
			between++
		}
	}
	row := RowOf([]Part{PartOf(gs, until, func(g Given) bool { return g.Lead > 0 }, false)}, 1)
	d, one := row.Ways[Dressed], row.Ways[Single]
	t.Logf("%d chances, sealed %.2f; Brier %.3f dressed, %.3f single; slope %.2f, %.2f; air %.2f, %.2f K", row.N, row.Freq, d.Score, one.Score, d.Slope, one.Slope, row.AirDressed, row.AirRaw)
	if between < len(gs)/3 || !(d.Score < one.Score && math.Abs(d.Slope-1) < math.Abs(one.Slope-1) && row.AirDressed < row.AirRaw) {
		t.Errorf("dressing one run did not help; %d of %d chances lie between never and always", between, len(gs))
	}
}

func TestRowByHand(t *testing.T) {
	c := func(p float64) skill.Chances { return skill.Chances{Sealed: p, Full: p / 2, RainOpen: (1 - p) / 2} }
	g := func(m time.Month, day, lead int, dressed, raw float64, said, sealed bool) Given {
		return Given{Date: date(m, day), Lead: lead, Told: c(dressed), Dressed: c(dressed), Raw: c(raw), Said: said, Sealed: sealed, Rained: !sealed, AirDressed: 1, AirRaw: math.NaN()}
	}
	gs := []Given{
		g(time.June, 30, 1, 0.5, 0.5, true, true), // not after since
		g(time.July, 1, 1, 0.8, 1, true, true),
		g(time.July, 2, 1, 0.6, 1, true, false),
		g(time.August, 1, 1, 0.2, 0, false, false),
		g(time.August, 1, 2, 0.9, 0, false, true), // not kept
	}
	p := PartOf(gs, date(time.June, 30), func(g Given) bool { return g.Lead == 1 }, false)
	row := RowOf([]Part{p}, 3)
	is := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-12 {
			t.Errorf("%s %g, want %g", what, got, want)
		}
	}
	is("days", float64(row.N), 3)
	is("frequency", row.Freq, 1./3)
	is("climate", row.Climate, (2*0.25+0)/3) // July half and half, August never
	is("Brier, dressed", row.Ways[Dressed].Score, (0.04+0.36+0.04)/3)
	is("Brier, recalibrated by nothing", row.Ways[Recalibrated].Score, row.Ways[Dressed].Score)
	is("Brier, raw", row.Ways[Raw].Score, 1./3)
	is("skill, single", row.Ways[Single].Skill, 1-(1./3)/(0.5/3))
	is("CRPS", row.AirDressed, 1)
	if row.AirRaw == row.AirRaw {
		t.Errorf("CRPS of unknown air is %g", row.AirRaw)
	}
	rain := RowOf([]Part{PartOf(gs, date(time.June, 30), func(g Given) bool { return g.Lead == 1 }, true)}, 0)
	is("rain, Brier", rain.Ways[Dressed].Score, (0.01+0.64+0.36)/3)
	if x := rain.Ways[Single]; len(x.Forecasts) != 0 || x.Score == x.Score {
		t.Errorf("the single run says of rain %+v", x)
	}
	two := RowOf([]Part{p, p}, 3)
	is("twice the days", float64(two.N), 6)
	is("the same climate", two.Climate, row.Climate)
}

// What is learned is only of days that were over by then.
func TestLearnLooksBackOnly(t *testing.T) {
	var gs []Given
	for d := range 120 {
		at := date(time.January, 1).AddDays(d)
		gs = append(gs, Given{Date: at, Lead: 1, Dressed: skill.Chances{Sealed: 0.9, RainOpen: 0.05}})
	}
	until := date(time.February, 28)
	r := Learn(gs, until)
	if got := Learn(gs[:59], until); got != r {
		t.Errorf("days to come changed what was learned: %+v, %+v", got, r)
	}
	if got := r.Apply(1, skill.Chances{Sealed: 0.9}).Sealed; got > 0.87 {
		t.Errorf("0.9 never came true and stays %.3f", got)
	}
}
