package scheduler

import (
	"slices"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// One refused place is found by halves and left out, all others go on, and the
// owner hears once which site it is; the next day it is asked for again
// (pitfall 16).
func TestRefusedPlaceIsFoundByHalves(t *testing.T) {
	src := &fake{batch: 25, members: 19}
	d := newDesk(t, 60, 60, named("first", src))
	bad := CellOf(d.book.Jobs[25].Site)
	src.answer = func(ask forecast.Ask) error {
		if slices.Contains(ask.Cells, bad) {
			return &forecast.Failure{Kind: forecast.Refused, Place: true, Reason: "400: No data is available for this location"}
		}
		return nil
	}
	d.run(task.FetchForecast, noon, noon.Add(time.Minute))
	if n := len(d.m.runs); n != 59 {
		t.Errorf("%d of 59 other places have a forecast", n)
	}
	if n := len(src.asks); n > 16 { // 3 full ones, 4 halvings, and twice as many again after each answer
		t.Errorf("%d requests to find one place", n)
	}
	if len(d.m.mails) != 1 {
		t.Fatalf("mails: %q", d.m.subjects())
	}
	for _, m := range d.m.mails {
		if !strings.Contains(string(m.Wire), "Q-00026") || strings.Contains(string(m.Wire), "Q-00025") {
			t.Errorf("the mail does not name the one site:\n%s", m.Wire)
		}
	}
	asked := len(src.asks)
	d.run(task.FetchForecast, noon, noon.Add(20*time.Hour))
	for _, a := range src.asks[asked:] {
		if slices.Contains(a.Cells, bad) {
			t.Fatalf("the refused place is asked for again at %s", a.Now)
		}
	}
	src.answer = nil
	d.run(task.FetchForecast, noon, noon.Add(26*time.Hour))
	if n := len(d.m.runs); n != 60 || len(d.m.refused) != 0 {
		t.Errorf("after a day: %d places, %d still refused", n, len(d.m.refused))
	}
	if len(d.m.mails) != 1 {
		t.Errorf("mails: %q", d.m.subjects())
	}
}

// A source that refuses every place (a wrong model, pitfall 17) is asked for all
// once, then for one a round, and all go on as soon as it is mended.
func TestSourceThatRefusesEverything(t *testing.T) {
	src := &fake{batch: 25, answer: func(forecast.Ask) error {
		return &forecast.Failure{Kind: forecast.Refused, Place: true, Reason: "400: invalid model"}
	}}
	d := newDesk(t, 30, 30, named("first", src))
	d.run(task.FetchForecast, noon, noon.Add(time.Minute))
	first := len(src.asks)
	if len(d.m.mails) != 1 || len(d.m.refused) != 30 {
		t.Errorf("%d refused, mails %q", len(d.m.refused), d.m.subjects())
	}
	d.run(task.FetchForecast, noon, noon.Add(12*time.Hour))
	if n := len(src.asks) - first; n < 10 || n > 16 {
		t.Errorf("%d requests in 12 hours, want one a round", n)
	}
	src.answer = nil
	d.run(task.FetchForecast, noon, noon.Add(14*time.Hour))
	if len(d.m.runs) != 30 || len(d.m.refused) != 0 || len(d.m.mails) != 1 {
		t.Errorf("mended: %d places, %d refused, mails %q", len(d.m.runs), len(d.m.refused), d.m.subjects())
	}
}

// The second source is asked only while the first is unwell, and no more when
// that is well again.
func TestSecondSourceStandsIn(t *testing.T) {
	a, b := &fake{batch: 25, members: 19}, &fake{batch: 1}
	d := newDesk(t, 6, 3, named("first", a), named("second", b))
	d.run(task.FetchForecast, noon, noon.Add(time.Hour))
	if len(b.asks) != 0 {
		t.Fatal("the second source was asked while the first was well")
	}
	down := func(forecast.Ask) error { return &forecast.Failure{Kind: forecast.Server, Reason: "502"} }
	a.answer = down
	d.run(task.FetchForecast, noon, noon.Add(2*time.Hour))
	if b.places() != 3 {
		t.Errorf("%d of 3 places asked of the second source", b.places())
	}
	i := slices.IndexFunc(a.asks, func(x forecast.Ask) bool { return x.Now.After(noon.Add(time.Hour)) })
	if at := b.asks[0].Now.Sub(a.asks[i].Now); at != time.Minute {
		t.Errorf("the second source was asked %s after the first failure, want the second one, a minute later", at)
	}
	d.run(task.FetchForecast, noon, noon.Add(9*time.Hour))
	if n := len(d.m.mails); n != 1 || !strings.Contains(d.m.subjects()[0], "first") {
		t.Errorf("the owner hears %d times: %q", n, d.m.subjects())
	}
	a.answer = nil
	d.run(task.FetchForecast, noon, noon.Add(10*time.Hour))
	n := len(b.asks)
	d.run(task.FetchForecast, noon, noon.Add(20*time.Hour))
	if len(b.asks) != n {
		t.Error("the second source is asked on and on")
	}
}

// A source that sends the same content for ever is stood in for too (pitfall 8),
// and one whose refusal names a day is left alone for it (pitfall 19).
func TestStuckAndBarredSources(t *testing.T) {
	a, b := &fake{batch: 25, stuck: true}, &fake{batch: 25}
	d := newDesk(t, 3, 3, named("first", a), named("second", b))
	d.run(task.FetchForecast, noon, noon.Add(6*time.Hour))
	if len(b.asks) != 0 {
		t.Error("the second source was asked within six hours")
	}
	d.run(task.FetchForecast, noon, noon.Add(9*time.Hour))
	if len(b.asks) == 0 || len(d.m.mails) != 1 {
		t.Errorf("stuck: %d requests to the second source, mails %q", len(b.asks), d.m.subjects())
	}

	a, b = &fake{batch: 25}, &fake{batch: 25}
	a.answer = func(ask forecast.Ask) error {
		return &forecast.Failure{Kind: forecast.Refused, Reason: "403", Until: ask.Now.Add(24 * time.Hour)}
	}
	d = newDesk(t, 3, 3, named("first", a), named("second", b))
	d.run(task.FetchForecast, noon, noon.Add(23*time.Hour))
	if len(a.asks) != 1 || b.places() < 3 || len(d.m.mails) != 1 {
		t.Errorf("barred: asked %d times, the second source %d times, mails %q", len(a.asks), len(b.asks), d.m.subjects())
	}
}

// Three tries of a source that often fails once or twice (pitfall 20).
func TestThreeTriesWhereConfigured(t *testing.T) {
	a, b := &fake{batch: 1}, &fake{batch: 1}
	fails := 2
	a.answer = func(forecast.Ask) error {
		if fails--; fails < 0 {
			return nil
		}
		return &forecast.Failure{Kind: forecast.Server, Reason: "500"}
	}
	first := named("first", a)
	first.Tries = 3
	d := newDesk(t, 1, 1, first, named("second", b))
	d.run(task.FetchForecast, noon, noon.Add(50*time.Minute))
	if len(a.asks) != 3 || len(b.asks) != 0 || len(d.m.runs) != 1 {
		t.Errorf("two failures: %d and %d requests", len(a.asks), len(b.asks))
	}
	fails = 1000
	d.run(task.FetchForecast, noon, noon.Add(2*time.Hour))
	if len(b.asks) != 1 {
		t.Errorf("three failures: the second source was asked %d times", len(b.asks))
	}
}

// A spent allowance puts the batch off, and the source is not said to fail
// (pitfall 12). A batch that is more than a minute's allowance is made smaller.
func TestSpentAllowancePutsOff(t *testing.T) {
	src := &fake{batch: 25}
	n := named("first", src)
	n.Limits = ledger.Limits{Minute: 1}
	d := newDesk(t, 50, 50, n)
	last := time.Time{}
	d.m.reserve = func(r ledger.Request) time.Time {
		if r.At.Truncate(time.Minute).Equal(last) {
			return last.Add(time.Minute)
		}
		last = r.At.Truncate(time.Minute)
		return time.Time{}
	}
	d.run(task.FetchForecast, noon, noon.Add(3*time.Minute))
	if len(src.asks) != 2 || src.asks[1].Now.Sub(src.asks[0].Now) != time.Minute || len(d.m.runs) != 50 {
		t.Errorf("%d requests, %d places", len(src.asks), len(d.m.runs))
	}
	if st := d.m.states[endKey{"first", forecast.Deterministic}]; st.Failures != 0 {
		t.Errorf("%+v", st)
	}
}

// What a source says is not new yet is not asked for before (MET Norway's
// terms), and what a failed request was booked for comes back but for 1.
func TestExpiresAndTheCostOfFailure(t *testing.T) {
	src := &fake{batch: 25}
	d := newDesk(t, 1, 1, named("first", src))
	d.run(task.FetchForecast, noon, noon.Add(time.Second))
	for k, r := range d.m.runs {
		r.Expires = noon.Add(150 * time.Minute)
		d.m.runs[k] = r
	}
	d.run(task.FetchForecast, noon, noon.Add(150*time.Minute))
	if len(src.asks) != 1 {
		t.Errorf("asked %d times before it expired", len(src.asks))
	}
	d.run(task.FetchForecast, noon, noon.Add(4*time.Hour))
	if len(src.asks) < 2 {
		t.Error("never asked again")
	}
	heavy := &weighty{fake{batch: 25, answer: func(forecast.Ask) error { return &forecast.Failure{Kind: forecast.Server, Reason: "500"} }}}
	d = newDesk(t, 20, 20, NamedSource{Source: heavy, Name: "heavy"})
	d.run(task.FetchForecast, noon, noon.Add(time.Second))
	if d.m.booked != 1 {
		t.Errorf("a failure cost %g", d.m.booked)
	}
}

type weighty struct{ fake }

func (*weighty) Weight(_ forecast.Endpoint, cells int) float64 { return 1.5 * float64(cells) }

// Ten thousand jobs in 400 cells cost 400 places a round, in batches of the
// source's size; a second firm's round of the same hour costs nothing.
func TestTenThousandJobsShareFourHundredCells(t *testing.T) {
	src := &fake{batch: 25}
	d := newDesk(t, 10000, 400, named("first", src))
	d.run(task.FetchForecast, noon, noon.Add(time.Minute))
	if src.places() != 400 || len(src.asks) != 16 {
		t.Errorf("%d places in %d requests, want 400 in 16", src.places(), len(src.asks))
	}
	other := newDesk(t, 10000, 400, named("first", src))
	other.m = d.m
	other.s.Store = d.m
	other.run(task.FetchForecast, noon.Add(19*time.Minute), noon.Add(20*time.Minute))
	if src.places() != 400 {
		t.Errorf("a second firm's round cost %d places more", src.places()-400)
	}
}

func BenchmarkSharing(b *testing.B) {
	for b.Loop() {
		src := &fake{batch: 25}
		d := newDesk(b, 10000, 400, named("first", src))
		d.run(task.FetchForecast, noon, noon.Add(time.Minute))
		if src.places() != 400 {
			b.Fatal(src.places())
		}
	}
	b.ReportMetric(400, "places/refresh")
}
