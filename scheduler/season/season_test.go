package season

import (
	"errors"
	"math"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
)

// sky is weather made by hand: the values of any hour, UTC.
type sky func(at time.Time, v forecast.Var) float32

// Truth gives the hours as they are.
func (s sky) Truth(start time.Time, n int) forecast.Hours { return s.hours(start, n, 1) }

func (s sky) hours(start time.Time, n, members int) forecast.Hours {
	h := forecast.NewHours(start, n, members, forecast.Air, forecast.Dew, forecast.RH, forecast.Rain,
		forecast.Wind, forecast.Gust, forecast.Cloud, forecast.Solar)
	for v, col := range h.Cols {
		for i := range col {
			col[i] = s(h.Start.Add(time.Duration(i%n)*time.Hour), forecast.Var(v))
		}
	}
	return h
}

// Issue gives a forecast that is right in all members.
func (s sky) Issue(now time.Time) (forecast.Issue, error) {
	run := func(ep forecast.Endpoint, start time.Time, n, members int) *forecast.Run {
		h := s.hours(start, n, members)
		return &forecast.Run{Source: "by hand", Endpoint: ep, Hours: h, Digest: forecast.Digest(h), FirstSeen: now, LastSeen: now, Changed: now}
	}
	hour := now.Truncate(time.Hour)
	return forecast.Issue{
		Det: run(forecast.Deterministic, hour.Add(-48*time.Hour), 96+48, 1),
		Ens: run(forecast.Ensemble, hour, 96, 19),
	}, nil
}

// mild is a dull dry day that breaks no limit.
func mild(_ time.Time, v forecast.Var) float32 {
	return map[forecast.Var]float32{forecast.Air: 15, forecast.Dew: 9, forecast.RH: 67, forecast.Wind: 3, forecast.Gust: 5, forecast.Cloud: 100, forecast.Solar: 60}[v]
}

// with changes one measure of a sky at the times when it holds.
func with(s sky, v forecast.Var, x float32, when func(time.Time) bool) sky {
	return func(at time.Time, w forecast.Var) float32 {
		if w == v && when(at) {
			return x
		}
		return s(at, w)
	}
}

func always(time.Time) bool { return true }

// place is a roof near Dublin, laid by a pair.
func place(t *testing.T, areas ...float64) Place {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Dublin")
	if err != nil {
		t.Fatal(err)
	}
	f := job.DefaultFirm()
	f.Zone = zone.String()
	j := job.Job{ID: "one"}
	j.Site = job.Site{Lat: 53.4, Lon: -6.2, ElevationM: 70, Zone: f.Zone}
	j.Roof.Work, j.Roof.Deck = job.Replace, job.NewBoard
	return Place{Firm: f, Zone: zone, Job: j, Areas: areas, Crew: 2, Profile: rules.Polyester()}
}

// month gives the first and last day of a month of 2023.
func month(m time.Month) (from, to job.Date) {
	from = job.Date{Year: 2023, Month: m, Day: 1}
	return from, job.DateOf(time.Date(2023, m+1, 0, 0, 0, 0, 0, time.UTC))
}

func year(ms [12]Month) (out Month) {
	for _, m := range ms {
		out.Add(m)
	}
	return out
}

func TestDryYearIsAllSealable(t *testing.T) {
	days := 0
	jan1, _ := month(time.January)
	_, dec31 := month(time.December)
	got := place(t, 6, 12).Known(sky(mild), jan1, dec31, func(job.Date) { days++ })
	for i, ms := range got {
		for k, m := range ms {
			if last := time.Date(2023, time.Month(k+2), 0, 0, 0, 0, 0, time.UTC).Day(); m.Month != time.Month(k+1) || m.Days != last || m.Sealable != last || m.Unknown != 0 || m.Binding() != "" {
				t.Errorf("area %d, month %d: %+v, want every day sealable", i, k+1, m)
			}
		}
	}
	if days != 365 {
		t.Errorf("%d days were told, want 365", days)
	}
	if june := got[0][5]; june.Full != 30 || june.BayM2 != 30*6 {
		t.Errorf("June, 6 m²: %+v, want all topcoated and one bay of 6 m² a day", june)
	}
	// In December there are under ten hours of civil daylight: 12 m² are two bays.
	if dec := got[1][11]; dec.BayM2 != 31*6 {
		t.Errorf("December, 12 m²: %g m² in 31 days, want bays of 6 m²", dec.BayM2)
	}
}

func TestWhatStopsEveryDayIsNamed(t *testing.T) {
	for _, c := range []struct {
		name string
		sky  sky
		want rules.Limit
	}{
		{"rain", with(mild, forecast.Rain, 1, always), rules.LimitRain},
		{"gale", with(mild, forecast.Wind, 12, always), rules.LimitWind},
		{"gusts", with(mild, forecast.Gust, 17, always), rules.LimitGust},
		{"damp", with(mild, forecast.RH, 92, always), rules.LimitRH},
		{"dew", with(mild, forecast.Dew, 13.5, always), rules.LimitDewMargin},
	} {
		for _, k := range []time.Month{time.January, time.June} {
			from, to := month(k)
			m := place(t, 12).Known(c.sky, from, to, nil)[0][k-1]
			if m.Days != to.Day || m.Sealable != 0 || m.Full != 0 || m.Unknown != 0 || m.Binding() != c.want || m.Causes[c.want] != m.Days {
				t.Errorf("%s, %s: %+v, want none sealable and %s every day", c.name, k, m, c.want)
			}
		}
	}
}

// Rain in every afternoon leaves a small roof its morning, and a large one
// nothing.
func TestAfternoonRain(t *testing.T) {
	wet := with(mild, forecast.Rain, 1, func(at time.Time) bool { return at.Hour() >= 12 })
	from, to := month(time.May)
	got := place(t, 3, 12).Known(wet, from, to, nil)
	if small := got[0][4]; small.Sealable != 31 || small.Full != 0 {
		t.Errorf("May, 3 m²: %+v, want every day sealable and none topcoated", small)
	}
	if large := got[1][4]; large.Sealable != 0 || large.Binding() != rules.LimitRain {
		t.Errorf("May, 12 m²: %+v, want none sealable, for rain", large)
	}
}

func TestMissingHoursAreUnknownNotDry(t *testing.T) {
	nan := float32(math.NaN())
	gap := with(mild, forecast.Rain, nan, func(at time.Time) bool { return at.Month() == time.May && at.Day() == 7 && at.Hour() == 11 })
	from, to := month(time.May)
	got := place(t, 12).Known(gap, from, to, nil)[0]
	if m := got[4]; m.Unknown != 1 || m.Sealable != 30 || m.Binding() != "" {
		t.Errorf("May: %+v, want one day unknown", m)
	}
	called, err := place(t, 12).Called(gap, sky(mild), from, to, nil)
	if err != nil {
		t.Fatal(err)
	}
	if m := called[0][4]; m.Go+m.Hold != 31 || m.Laid < 28 || m.Held != m.Laid-1 || m.Unknown != 1 || m.Rained != 0 {
		t.Errorf("May, called: %+v, want one laid day unknown", m)
	}
}

// Called by right forecasts, every dry day is laid and holds, save for the first
// while nothing is known of how right they are, and no wet day is called.
func TestCalledByRightForecasts(t *testing.T) {
	odd := with(mild, forecast.Rain, 1, func(at time.Time) bool { return at.Day()%2 == 1 })
	from, to := month(time.June)
	got, err := place(t, 12).Called(odd, odd, from, to, nil)
	if err != nil {
		t.Fatal(err)
	}
	if m := got[0][5]; m.Days != 30 || m.Go+m.Hold != 15 || m.Laid < 14 || m.Held != m.Laid || m.Rained != 0 || m.Hold > 1 {
		t.Errorf("June: %+v, want the 15 dry days called and held", m)
	}
}

// Forecasts that know of no rain are believed until the past rows have told on
// them: the first roofs are called and opened, the rain that falls on them is counted,
// and then none is called any more. The risk that is learned so is that of any hour, an
// eighth, while this rain comes at the same hour every day: a firm whose go gives way
// after a hold goes on opening roofs at that risk, one whose go does not opens none.
func TestCalledByBlindForecasts(t *testing.T) {
	wet := with(mild, forecast.Rain, 1, func(at time.Time) bool { return at.Hour() == 11 })
	from, to := month(time.June)
	for _, way := range []float64{0, 0.5} {
		p := place(t, 12)
		p.Firm.Bounds.AfterHold = way
		got, err := p.Called(wet, sky(mild), from, to, nil)
		if err != nil {
			t.Fatal(err)
		}
		m := got[0][5]
		if m.Go < 1 || m.Go > 8 || m.Held != 0 || m.Rained != m.Laid || m.Go+m.Hold != 30 {
			t.Errorf("June: %+v, want a few roofs called, and holds from then on", m)
		}
		if way == 0 && m.Laid > 8 {
			t.Errorf("June: %+v, want no more roofs opened than were called", m)
		}
	}
}

// A crew that was left on hold hears in the morning.
func TestSecondLookTurnsAGoAround(t *testing.T) {
	wet := sky(with(mild, forecast.Rain, 1, always))
	from, to := month(time.June)
	got, err := place(t, 12).Called(sky(mild), turning{evening: mild, morning: wet}, from, to, nil)
	if err != nil {
		t.Fatal(err)
	}
	if m := got[0][5]; m.Go < 28 || m.Laid != 0 {
		t.Errorf("June: %+v, want some 30 goes of which none stands", m)
	}
}

// turning gives another forecast in the morning than in the evening.
type turning struct{ evening, morning sky }

func (f turning) Issue(now time.Time) (forecast.Issue, error) {
	if now.Hour() < 12 {
		return f.morning.Issue(now)
	}
	return f.evening.Issue(now)
}

type dead struct{}

func (dead) Issue(time.Time) (forecast.Issue, error) {
	return forecast.Issue{}, errors.New("no answer")
}

func TestForecastThatFailsIsAnError(t *testing.T) {
	from, to := month(time.June)
	if _, err := place(t, 12).Called(sky(mild), dead{}, from, to, nil); err == nil {
		t.Error("a year was called without a forecast")
	}
}

// Cutting the far hours off a forecast changes no verdict.
func TestFarHoursChangeNothing(t *testing.T) {
	p := place(t, 12)
	d := job.Date{Year: 2023, Month: time.May, Day: 9}
	is, err := sky(with(mild, forecast.Rain, 1, func(at time.Time) bool { return at.Hour() > 16 })).Issue(job.Instant(d.AddDays(-1), eveningAt, p.Zone))
	if err != nil {
		t.Fatal(err)
	}
	end := is.Ens.Hours.Start.Add(60 * time.Hour)
	short := forecast.Issue{Det: is.Det.Until(end), Ens: is.Ens.Until(end)}
	if n := short.Ens.Hours.N; n != 60 || short.Ens.Hours.Members != 19 || short.Det.Hours.N != 108 {
		t.Fatalf("cut to %d and %d hours", n, short.Det.Hours.N)
	}
	judge := func(is forecast.Issue) rules.Start {
		day := rules.NewGround(is, p.Job.Site, rules.SurfaceOf(p.Job), p.Profile).Judge(p.caseOf(0), d, time.Time{}, p.Firm.Bounds)
		s, ok := day.BestStart()
		if !ok {
			t.Fatal("the day has no verdict")
		}
		return s
	}
	if whole, cut := judge(is), judge(short); whole != cut {
		t.Errorf("cut: %+v, whole: %+v", cut, whole)
	}
}

func TestBindingOfEqualsIsTheFirstByName(t *testing.T) {
	m := Month{Causes: map[rules.Limit]int{rules.LimitWind: 3, rules.LimitRain: 3, rules.LimitAir: 1}}
	if got := m.Binding(); got != rules.LimitRain {
		t.Errorf("binding %s, want rain", got)
	}
	if total := year([12]Month{m, m, {}}); total.Causes[rules.LimitWind] != 6 {
		t.Errorf("sum %+v", total)
	}
}
