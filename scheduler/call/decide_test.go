package call_test

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
	"laycast/scheduler/call"
)

// The bounds and ages that DESIGN section 9 names; none is read from the code
// under test.
const (
	goAt, goRain     = 0.70, 0.08
	noGoUnder        = 0.50
	noGoRainOver     = 0.20
	halfWay          = 0.60 // between go and no-go: what a go asks after a hold
	halfWayRain      = 0.14
	seenWithin       = 3 * time.Hour
	detChangedWithin = 6 * time.Hour
	ensChangedWithin = 12 * time.Hour
	standsFor        = 6 * time.Hour
)

var (
	evening  = time.Date(2027, 5, 5, 17, 0, 0, 0, time.UTC) // 18:00 in Dublin
	morning  = time.Date(2027, 5, 6, 4, 30, 0, 0, time.UTC) // 05:30 in Dublin
	tomorrow = job.Date{Year: 2027, Month: 5, Day: 6}
)

func firm() job.Firm {
	f := job.DefaultFirm()
	f.UID, f.Name, f.Zone, f.Email = "quay", "Quay Roofs", "Europe/Dublin", "office@quay.example"
	return f
}

// run gives a run that was seen and last changed so long before now.
func run(ep forecast.Endpoint, now time.Time, seen, changed time.Duration) *forecast.Run {
	return &forecast.Run{
		Source: "test", Endpoint: ep, Digest: string(ep), FirstSeen: now.Add(-changed),
		LastSeen: now.Add(-seen), Changed: now.Add(-changed),
	}
}

// input gives a decision at now whose every part speaks for a go.
func input(now time.Time, change ...func(*call.Input)) call.Input {
	in := call.Input{
		Firm: firm(), Date: tomorrow, Now: now, Due: now,
		Job:   job.Booking{Job: job.Job{ID: "J-1"}, Revision: 7, State: job.Booked},
		Visit: job.Visit{Job: "J-1", N: 1, Crew: "gull", Days: []job.Date{tomorrow}, Start: 7*60 + 30},
		Day: rules.Day{
			Job: "J-1", Date: tomorrow, Basis: rules.FromMembers, Members: 19,
			Starts: []rules.Start{{At: morning.Add(2 * time.Hour), Sealed: 0.95, Full: 0.5, RainOpen: 0}},
		},
		Issue: forecast.Issue{
			Det: run(forecast.Deterministic, now, 45*time.Minute, 2*time.Hour),
			Ens: run(forecast.Ensemble, now, 45*time.Minute, 5*time.Hour),
		},
	}
	for _, f := range change {
		f(&in)
	}
	return in
}

func chance(sealed, rain float64) func(*call.Input) {
	return func(in *call.Input) { in.Day.Starts[0].Sealed, in.Day.Starts[0].RainOpen = sealed, rain }
}

func members(n int) func(*call.Input) { return func(in *call.Input) { in.Day.Members = n } }

func basis(b rules.Basis) func(*call.Input) { return func(in *call.Input) { in.Day.Basis = b } }

func unknown(in *call.Input) { in.Day.Best = -1 }

func det(seen, changed time.Duration) func(*call.Input) {
	return func(in *call.Input) { in.Issue.Det = run(forecast.Deterministic, in.Now, seen, changed) }
}

func ens(seen, changed time.Duration) func(*call.Input) {
	return func(in *call.Input) { in.Issue.Ens = run(forecast.Ensemble, in.Now, seen, changed) }
}

func noDet(in *call.Input) { in.Issue.Det = nil }
func noEns(in *call.Input) { in.Issue.Ens = nil }

func standing(o call.Outcome) func(*call.Input) {
	return func(in *call.Input) { in.Standing = &call.Call{Job: "J-1", Date: tomorrow, Outcome: o} }
}

type rule struct {
	name   string
	in     []func(*call.Input)
	want   call.Outcome
	blind  bool
	reason string // a part of the first reason
}

// ages are the rules about the forecast's age and make, the same evening and
// morning save for what they lead to.
func ages(want call.Outcome) []rule {
	on := func(fs ...func(*call.Input)) []func(*call.Input) { return fs }
	const s = time.Second
	return []rule{
		{"seen just within", on(det(seenWithin, 4*time.Hour), ens(seenWithin, 4*time.Hour)), call.Go, false, "95 %"},
		{"hourly seen too long ago", on(det(seenWithin+s, 4*time.Hour)), want, true, "hourly forecast was last fetched 3 hours ago"},
		{"ensemble seen too long ago", on(ens(seenWithin+s, 4*time.Hour)), want, true, "ensemble forecast was last fetched 3 hours ago"},
		{"hourly content just within", on(det(0, detChangedWithin)), call.Go, false, "95 %"},
		{"hourly content stuck", on(det(0, detChangedWithin+s)), want, true, "hourly forecast has not changed for 6 hours"},
		{"ensemble content just within", on(ens(0, ensChangedWithin)), call.Go, false, "95 %"},
		{"ensemble content stuck", on(ens(0, ensChangedWithin+s)), want, true, "ensemble forecast has not changed for 12 hours"},
		{"no hourly run", on(noDet), want, true, "no hourly forecast"},
		{"no ensemble", on(noEns), want, true, "no ensemble forecast"},
		{"no forecast at all", on(noDet, noEns), want, true, "no forecast for this site"},
		{"no forecast, nothing judged", on(noDet, noEns, unknown, members(0), basis(rules.FromNothing)), want, true, "no forecast for this site"},
		{"too few whole members", on(unknown, members(rules.LeastMembers-1)), want, true, "only 9 members"},
		{"day beyond the members", on(unknown, members(0)), want, true, "does not cover the day"},
		{"climate is never a go", on(basis(rules.FromClimate)), want, true, "month's climate"},
		{"no basis is never a go", on(basis(rules.FromNothing)), want, true, "does not cover the day"},
		{"dressed members may be a go", on(basis(rules.FromDressed)), call.Go, false, "95 %"},
		{"a chance that is no number", on(chance(math.NaN(), 0)), want, true, "does not cover the day"},
		{"a risk that is no number", on(chance(0.95, math.NaN())), want, true, "does not cover the day"},
	}
}

func TestEvening(t *testing.T) {
	many := members(1000) // so that one member more or less is nothing
	on := func(fs ...func(*call.Input)) []func(*call.Input) { return fs }
	tests := append(ages(call.Hold), []rule{
		{"all speaks for it", nil, call.Go, false, "95 % chance of a sealed roof"},
		{"chance at the bound", on(chance(goAt, 0)), call.Go, false, "70 %"},
		{"chance a hair under the bound", on(chance(goAt-0.001, 0), many), call.Hold, false, "a go asks for 70 %"},
		{"rain at the bound", on(chance(0.9, goRain)), call.Go, false, "8 % risk"},
		{"rain a hair over the bound", on(chance(0.9, goRain+0.001), many), call.Hold, false, "a go allows 8 %"},
		{"between the bounds", on(chance(0.60, 0), many), call.Hold, false, "60 %"},
		{"at the no-go bound", on(chance(noGoUnder, 0), many), call.Hold, false, "50 %"},
		{"a little under it", on(chance(noGoUnder-0.049, 0), many), call.Hold, false, "45 %"},
		{"under it by the grace", on(chance(noGoUnder-0.05, 0), many), call.NoGo, false, "under 50 %"},
		{"rain at the no-go bound", on(chance(0.75, noGoRainOver), many), call.Hold, false, "20 %"},
		{"rain a little over it", on(chance(0.75, noGoRainOver+0.049), many), call.Hold, false, "25 %"},
		{"rain over it by the grace", on(chance(0.75, noGoRainOver+0.05), many), call.NoGo, false, "over 20 %"},
		{"no chance at all", on(chance(0, 1)), call.NoGo, false, "0 %"},
		// the same whatever the number of members: 9/19 is .47, 8/19 is .42
		{"a little under it, of 19", on(chance(9.0/19, 0)), call.Hold, false, "47 %"},
		{"under it by more than the grace, of 19", on(chance(8.0/19, 0)), call.NoGo, false, "under 50 %"},
		{"rain a little over it, of 19", on(chance(0.7, 4.0/19)), call.Hold, false, "21 %"},
		{"rain over it by more than the grace, of 19", on(chance(0.7, 5.0/19)), call.NoGo, false, "over 20 %"},
		// stale data is not good enough for a no-go either: it waits
		{"poor chance on a stale forecast", on(chance(0.1, 0.5), det(4*time.Hour, 5*time.Hour)), call.Hold, true, "last fetched 4 hours ago"},
	}...)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := call.DecideEvening(input(evening, tt.in...))
			verify(t, tt, c)
			if c.Occasion != call.Evening {
				t.Errorf("occasion %q", c.Occasion)
			}
		})
	}
}

func verify(t *testing.T, tt rule, c call.Call) {
	t.Helper()
	if c.Outcome != tt.want {
		t.Errorf("outcome %q, want %q (%q)", c.Outcome, tt.want, c.Reasons)
	}
	if c.Blind != tt.blind {
		t.Errorf("blind is %v, want %v", c.Blind, tt.blind)
	}
	if len(c.Reasons) == 0 || !strings.Contains(strings.Join(c.Reasons, "; "), tt.reason) {
		t.Errorf("reasons %q, want one with %q", c.Reasons, tt.reason)
	}
}

func TestSecondLookAfterHoldOrNothing(t *testing.T) {
	many := members(1000)
	on := func(fs ...func(*call.Input)) []func(*call.Input) { return fs }
	tests := append(ages(call.NoGo), []rule{
		{"good now", nil, call.Go, false, "95 %"},
		{"chance at the bound", on(chance(goAt, goRain)), call.Go, false, "70 %"},
		{"poor", on(chance(0.2, 0), many), call.NoGo, false, "under 50 %"},
		{"poor on a stale forecast", on(chance(0.2, 0), det(4*time.Hour, 5*time.Hour)), call.NoGo, true, "last fetched 4 hours ago"},
	}...)
	strict := []rule{
		{"anything not go is no-go", on(chance(goAt-0.001, 0), many), call.NoGo, false, "a go asks for 70 %"},
		{"a little too much rain", on(chance(0.9, goRain+0.001), many), call.NoGo, false, "a go allows 8 %"},
	}
	// half-way between the two bounds
	eased := []rule{
		{"less than in the evening", on(chance(0.65, 0.1), many), call.Go, false, "65 % chance of a sealed roof, 10 % risk of rain"},
		{"half-way", on(chance(0.60, 0.14), many), call.Go, false, "60 %"},
		{"under half-way", on(chance(0.599, 0), many), call.NoGo, false, "after a hold a go asks for 60 %"},
		{"more rain than half-way", on(chance(0.9, 0.141), many), call.NoGo, false, "after a hold a go allows 14 %"},
		{"less on a stale forecast", on(chance(0.65, 0.1), det(4*time.Hour, 5*time.Hour)), call.NoGo, true, "last fetched 4 hours ago"},
	}
	for before, prior := range map[string]func(*call.Input){
		"hold": standing(call.Hold), "no-go": standing(call.NoGo), "never called": func(*call.Input) {},
	} {
		more := strict
		if before == "hold" {
			more = eased
		}
		for _, tt := range slices.Concat(tests, more) {
			t.Run(before+"/"+tt.name, func(t *testing.T) {
				in := input(morning, append(tt.in, prior)...)
				c, changed := call.DecideSecondLook(in)
				verify(t, tt, c)
				if c.Occasion != call.SecondLook {
					t.Errorf("occasion %q", c.Occasion)
				}
				if want := in.Standing == nil || in.Standing.Outcome != c.Outcome; changed != want {
					t.Errorf("changed is %v, want %v", changed, want)
				}
			})
		}
	}
}

func TestSecondLookOfAStandingGo(t *testing.T) {
	many := members(1000)
	on := func(fs ...func(*call.Input)) []func(*call.Input) { return fs }
	const s = time.Second
	for _, tt := range []rule{
		{"still good", nil, call.Go, false, "the evening's go stands"},
		{"worse, but over the no-go bound", on(chance(0.60, 0), many), call.Go, false, "stands"},
		{"more rain, but under the no-go bound", on(chance(0.60, 0.19), many), call.Go, false, "stands"},
		{"under the no-go bound", on(chance(0.45, 0), many), call.NoGo, false, "under 50 %"},
		{"a little under it", on(chance(0.451, 0), many), call.Go, false, "stands"},
		{"rain a little over it", on(chance(0.75, 0.249), many), call.Go, false, "stands"},
		{"rain over the no-go bound", on(chance(0.75, 0.25), many), call.NoGo, false, "over 20 %"},
		{"seen 6 hours ago", on(det(standsFor, 7*time.Hour), ens(standsFor, 7*time.Hour)), call.Go, false, "stands"},
		{"hourly seen longer ago", on(det(standsFor+s, 7*time.Hour)), call.NoGo, true, "hourly forecast was last fetched 6 hours ago"},
		{"ensemble seen longer ago", on(ens(standsFor+s, 7*time.Hour)), call.NoGo, true, "ensemble forecast was last fetched 6 hours ago"},
		{"seen a moment ago, but the same hours since yesterday noon", on(det(0, 17*time.Hour)), call.NoGo, true, "hourly forecast has not changed for 17 hours"},
		{"the same members since yesterday morning", on(ens(0, 22*time.Hour)), call.NoGo, true, "ensemble forecast has not changed for 22 hours"},
		{"hourly run gone", on(noDet), call.NoGo, true, "no hourly forecast"},
		{"ensemble gone", on(noEns), call.NoGo, true, "no ensemble forecast"},
		{"nothing known", on(unknown, members(0)), call.NoGo, true, "does not cover the day"},
		{"climate alone", on(basis(rules.FromClimate)), call.NoGo, true, "month's climate"},
		{"no number", on(chance(math.NaN(), 0)), call.NoGo, true, "does not cover the day"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c, changed := call.DecideSecondLook(input(morning, append(tt.in, standing(call.Go))...))
			verify(t, tt, c)
			if changed != (tt.want != call.Go) {
				t.Errorf("changed is %v", changed)
			}
		})
	}
}

// The owner may set other bounds.
func TestBoundsAreTheFirms(t *testing.T) {
	in := input(evening, chance(0.75, 0), members(1000))
	in.Firm.Bounds = job.Bounds{Go: 0.9, GoRainOpen: 0.01, NoGo: 0.8, NoGoRain: 0.5}
	if c := call.DecideEvening(in); c.Outcome != call.NoGo {
		t.Errorf("%q with .75 where .80 is the least", c.Outcome)
	}
}

// How far a go gives way after a hold is the firm's too; a go that gave way says so.
func TestAfterAHoldTheFirmSaysHowFarAGoGivesWay(t *testing.T) {
	for _, tt := range []struct {
		way, chance, rain float64
		want              call.Outcome
	}{
		{0, goAt - 0.001, 0, call.NoGo}, {0, goAt, goRain, call.Go}, {0, 0.9, goRain + 0.001, call.NoGo},
		{1, noGoUnder, noGoRainOver, call.Go}, {1, noGoUnder - 0.001, 0, call.NoGo}, {1, 0.9, noGoRainOver + 0.001, call.NoGo},
		{0.25, 0.65, 0.11, call.Go}, {0.25, 0.649, 0, call.NoGo}, {0.25, 0.9, 0.111, call.NoGo},
	} {
		in := input(morning, chance(tt.chance, tt.rain), members(1000), standing(call.Hold))
		in.Firm.Bounds.AfterHold = tt.way
		c, _ := call.DecideSecondLook(in)
		if c.Outcome != tt.want {
			t.Errorf("giving way by %v, a chance of %v at %v of rain is %q, want %q (%q)", tt.way, tt.chance, tt.rain, c.Outcome, tt.want, c.Reasons)
		}
		less := tt.chance < goAt || tt.rain > goRain
		if says := strings.Contains(strings.Join(c.Reasons, "; "), "radar before you begin"); says != (c.Outcome == call.Go && less) || c.Eased != says {
			t.Errorf("%v at %v: warned is %v (%q)", tt.chance, tt.rain, says, c.Reasons)
		}
	}
	// where a no-go asks as much as a go there is nothing to give way by
	b := job.Bounds{Go: 0.9, GoRainOpen: 0.02, NoGo: 0.95, NoGoRain: 0.01, AfterHold: 1}
	if m := b.Morning(); m.Go != 0.9 || m.GoRainOpen != 0.02 {
		t.Errorf("it asks %v at %v", m.Go, m.GoRainOpen)
	}
}

func TestCallCarriesWhatItWasMadeFrom(t *testing.T) {
	in := input(evening.Add(11*time.Minute), det(10*time.Minute, time.Hour), ens(40*time.Minute, time.Hour), chance(0.6, 0.05), members(1000))
	in.Due = evening
	in.Day.Failing = []rules.Failing{
		{Limit: "rain", Members: 300, From: morning.Add(8 * time.Hour), To: morning.Add(10 * time.Hour)},
	}
	c := call.DecideEvening(in)
	if !c.Late {
		t.Error("eleven minutes after it was due it is late")
	}
	if c.Firm != "quay" || c.Job != "J-1" || c.Visit != 1 || c.Crew != "gull" || c.Date != tomorrow || c.Revision != 7 || !c.Made.Equal(in.Now) {
		t.Errorf("its key is %+v", c)
	}
	if c.DetDigest != "forecast" || c.EnsDigest != "ensemble" || c.Source != "test" {
		t.Errorf("its runs are %q and %q of %q", c.DetDigest, c.EnsDigest, c.Source)
	}
	if want := in.Now.Add(-40 * time.Minute); !c.Fetched.Equal(want) {
		t.Errorf("fetched %s, want the older of the two, %s", c.Fetched, want)
	}
	// 12:30 UTC is 13:30 in Dublin in May
	if want := "300 of 1000: rain 13:30 to 15:30"; !slices.Contains(c.Reasons, want) {
		t.Errorf("reasons %q, want %q among them", c.Reasons, want)
	}
	in.Due = in.Now.Add(-10 * time.Minute)
	if call.DecideEvening(in).Late {
		t.Error("ten minutes are not late")
	}
}

// anyInput draws a decision from all that might come, good and bad.
func anyInput(t *rapid.T) call.Input {
	now := evening
	span := rapid.Custom(func(t *rapid.T) time.Duration {
		return time.Duration(rapid.IntRange(0, 30*3600).Draw(t, "s")) * time.Second
	})
	in := input(now, members(rapid.SampledFrom([]int{0, 9, 10, 19, 51, 1000}).Draw(t, "members")),
		basis(rapid.SampledFrom([]rules.Basis{rules.FromMembers, rules.FromDressed, rules.FromClimate, rules.FromNothing}).Draw(t, "basis")))
	p := rapid.OneOf(rapid.Float64Range(0, 1), rapid.SampledFrom([]float64{0, goRain, noGoRainOver, noGoUnder, goAt, 1, math.NaN()}))
	chance(p.Draw(t, "sealed"), p.Draw(t, "rain"))(&in)
	if rapid.IntRange(0, 4).Draw(t, "known") == 0 {
		unknown(&in)
	}
	for _, r := range []**forecast.Run{&in.Issue.Det, &in.Issue.Ens} {
		if rapid.IntRange(0, 5).Draw(t, "there") == 0 {
			*r = nil
			continue
		}
		seen := span.Draw(t, "seen")
		*r = run((*r).Endpoint, now, seen, seen+span.Draw(t, "changed"))
	}
	if o := rapid.SampledFrom([]call.Outcome{"", call.Go, call.NoGo, call.Hold}).Draw(t, "standing"); o != "" {
		standing(o)(&in)
	}
	return in
}

// fit reports whether both runs are there and were seen so lately.
func fit(in call.Input, seen time.Duration) bool {
	d, e := in.Issue.Det, in.Issue.Ens
	if d == nil || e == nil {
		return false
	}
	return in.Now.Sub(d.LastSeen) <= seen && in.Now.Sub(e.LastSeen) <= seen
}

func TestNoGoWithoutGroundsProperty(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyInput(t)
		s := in.Day.Starts[0]
		known := in.Day.Best >= 0 && (in.Day.Basis == rules.FromMembers || in.Day.Basis == rules.FromDressed)
		grounds := known && fit(in, seenWithin) &&
			in.Now.Sub(in.Issue.Det.Changed) <= detChangedWithin && in.Now.Sub(in.Issue.Ens.Changed) <= ensChangedWithin &&
			s.Sealed >= goAt && s.RainOpen <= goRain
		e := call.DecideEvening(in)
		if (e.Outcome == call.Go) != grounds {
			t.Fatalf("evening %q though the grounds for a go are %v: %q", e.Outcome, grounds, e.Reasons)
		}
		if len(e.Reasons) == 0 || slices.Contains(e.Reasons, "") {
			t.Fatalf("evening reasons %q", e.Reasons)
		}
		if e.Outcome == call.NoGo && e.Blind {
			t.Fatal("a no-go made blind in the evening, which should have waited")
		}
		m, _ := call.DecideSecondLook(in)
		stood := in.Standing != nil && in.Standing.Outcome == call.Go
		switch {
		case m.Outcome != call.Go && m.Outcome != call.NoGo:
			t.Fatalf("the second look gave %q", m.Outcome)
		case m.Outcome != call.Go:
		case !known, !fit(in, standsFor), !(s.Sealed > noGoUnder-0.2), !(s.RainOpen < noGoRainOver+0.2):
			t.Fatalf("go without grounds: %q", m.Reasons)
		case stood || grounds:
		case in.Standing != nil && in.Standing.Outcome == call.Hold && s.Sealed > halfWay-1e-6 && s.RainOpen < halfWayRain+1e-6:
		default:
			t.Fatalf("a new go without grounds: %q", m.Reasons)
		}
		if len(m.Reasons) == 0 || slices.Contains(m.Reasons, "") {
			t.Fatalf("morning reasons %q", m.Reasons)
		}
	})
}
