package scheduler

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/replay"
	"laycast/job"
	"laycast/rules"
)

// handIssue is one of several issues made by hand, which differ in their rain.
func handIssue(now time.Time, k int) forecast.Issue {
	wet := func(at time.Time) float32 {
		if at.Hour()%7 == k%7 {
			return 1
		}
		return 0
	}
	ens := weather(forecast.Ensemble, now, 168, 19, wet)
	ens.Digest = string(rune('a' + k))
	return forecast.Issue{Source: "by hand", Det: weather(forecast.Deterministic, now.Add(-48*time.Hour), 96, 1, dry), Ens: ens}
}

// The cache works an issue out once, keeps to its bytes, and forgets what was
// asked for longest ago first.
func TestGroundsKeepToTheirBytes(t *testing.T) {
	now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
	w := aWork(t, now)
	g := &w.s.grounds
	p := rules.Polyester()
	issue := func(k int) forecast.Issue { return handIssue(now, k) }
	j := referenceJob(forecast.CellOf(44.6, -63.6, 20), "America/Halifax").Job
	first := g.get(issue(0), j, p)
	if g.get(issue(0), j, p) != first {
		t.Error("the same issue is worked out twice")
	}
	one := g.cache.bytes
	if one < 1<<20 || one > 5<<20 {
		t.Errorf("one ground counts as %d bytes", one)
	}
	g.cache.most = 4 * one
	n := 12
	for k := range n {
		g.get(issue(k+1), j, p)
		g.get(issue(0), j, p) // asked for all the time
	}
	if g.cache.bytes > g.cache.most || g.cache.bytes < g.cache.most/2 {
		t.Errorf("%d bytes are kept, want at most %d", g.cache.bytes, g.cache.most)
	}
	if g.get(issue(0), j, p) != first {
		t.Error("what was asked for just now is gone")
	}
	sum := 0
	for _, x := range g.cache.entries {
		sum += x.bytes
	}
	if sum != g.cache.bytes {
		t.Errorf("%d bytes are counted, %d are kept", g.cache.bytes, sum)
	}
}

// Many who ask at once for few grounds, of a cache that holds hardly one, get what
// one alone is given, and no more is kept than is counted.
func TestGroundsOfManyAskersAtOnce(t *testing.T) {
	now := time.Date(2027, 4, 13, 21, 0, 0, 0, time.UTC)
	const issues, askers = 4, 16
	p, date := rules.Polyester(), aprilDay(15)
	cell := forecast.CellOf(44.6, -63.6, 20)
	cs := referenceCase(cell, time.UTC)
	shaded := cs.Job.Job
	shaded.Roof.Shade = 0.5
	jobs := []job.Job{cs.Job.Job, shaded}
	alone := aWork(t, now).s
	var want [issues][2]rules.Day
	for k := range issues {
		for i, j := range jobs {
			want[k][i] = alone.grounds.get(handIssue(now, k), j, p).Judge(cs, date, now, job.DefaultFirm().Bounds)
		}
	}
	if reflect.DeepEqual(want[0], want[1]) {
		t.Fatal("the issues do not differ, so nothing is tried")
	}
	g := &aWork(t, now).s.grounds
	g.cache.most = 3 << 20
	var wg sync.WaitGroup
	for a := range askers {
		wg.Go(func() {
			for n := range 6 {
				k, i := (a+n)%issues, (a/2+n)%2
				is := handIssue(now, k)
				if got := g.get(is, jobs[i], p).Judge(cs, date, now, job.DefaultFirm().Bounds); !reflect.DeepEqual(got, want[k][i]) {
					t.Errorf("issue %d of job %d is judged otherwise", k, i)
				}
				of, stats := g.keyOf(is, cell)
				if g.dress(of, stats, is).Ens.Parents != 19 {
					t.Error("the issue is not dressed")
				}
			}
		})
	}
	wg.Wait()
	sum := 0
	for k, x := range g.cache.entries {
		sum += x.bytes
		if !x.made {
			t.Errorf("%v is still on its way", k)
		}
		if of, ok := k.(groundKey); ok && g.cache.entries[of.issueKey] == nil {
			t.Error("a ground is kept whose issue is not counted any more")
		}
	}
	if sum != g.cache.bytes {
		t.Errorf("%d bytes are counted, %d are kept", g.cache.bytes, sum)
	}
}

// A value is worked out once, however many wait for it, and who asks for another
// does not wait.
func TestGroundCacheWorksOutOnce(t *testing.T) {
	var c cache
	var times atomic.Int32
	begun, goOn := make(chan bool, 16), make(chan bool)
	var wg sync.WaitGroup
	ask := func() {
		if got := cached(&c, "slow", func() (int, int) {
			times.Add(1)
			begun <- true
			<-goOn
			return 7, 1
		}); got != 7 {
			t.Errorf("%d", got)
		}
	}
	wg.Go(ask)
	<-begun
	for range 8 {
		wg.Go(ask)
	}
	if got := cached(&c, "other", func() (int, int) { return 8, 1 }); got != 8 {
		t.Errorf("%d", got)
	}
	close(goOn)
	wg.Wait()
	if n := times.Load(); n != 1 {
		t.Errorf("worked out %d times", n)
	}
}

// Who panics at work leaves nothing behind: those who waited work it out.
func TestGroundCacheOutlivesAPanic(t *testing.T) {
	var c cache
	begun, goOn := make(chan bool), make(chan bool)
	var wg sync.WaitGroup
	wg.Go(func() {
		defer func() {
			if got := fmt.Sprint(recover()); got != "broken" {
				t.Errorf("recovered %s", got)
			}
		}()
		cached(&c, "k", func() (int, int) {
			close(begun)
			<-goOn
			panic("broken")
		})
	})
	<-begun
	for range 4 {
		wg.Go(func() {
			if got := cached(&c, "k", func() (int, int) { return 9, 3 }); got != 9 {
				t.Errorf("%d", got)
			}
		})
	}
	close(goOn)
	wg.Wait()
	if c.bytes != 3 || len(c.entries) != 1 {
		t.Errorf("%d bytes in %d entries", c.bytes, len(c.entries))
	}
}

// All things are done, at the caller's peril: what one of them breaks by comes to
// who asked, and the others are done all the same.
func TestGroundsSideBySide(t *testing.T) {
	done := make([]int, 100)
	sideBySide(len(done), func(i int) { done[i]++ })
	for i, n := range done {
		if n != 1 {
			t.Fatalf("thing %d was done %d times", i, n)
		}
	}
	sideBySide(0, func(int) { t.Error("nothing is something") })
	var others atomic.Int32
	defer func() {
		if got := fmt.Sprint(recover()); !strings.HasPrefix(got, "broken\n") || !strings.Contains(got, "TestGroundsSideBySide") || others.Load() != 9 {
			t.Errorf("%d done, recovered %.80s", others.Load(), got)
		}
	}()
	sideBySide(10, func(i int) {
		if i == 3 {
			panic("broken")
		}
		others.Add(1)
	})
}

// inventedIssue is the forecast of an invented year as it stands at a time.
func inventedIssue(t testing.TB, seed uint64, now time.Time) forecast.Issue {
	t.Helper()
	src, err := replay.New(replay.Invent(seed, 44.6, -63.6, now.Year()), replay.Options{Seed: seed})
	if err != nil {
		t.Fatal(err)
	}
	is := forecast.Issue{Source: "by hand"}
	for ep, into := range map[forecast.Endpoint]**forecast.Run{forecast.Deterministic: &is.Det, forecast.Ensemble: &is.Ens} {
		runs, err := src.Fetch(t.Context(), forecast.Ask{Endpoint: ep, Cells: []forecast.Cell{forecast.CellOf(44.6, -63.6, 20)}, Now: now})
		if err != nil {
			t.Fatal(err)
		}
		runs[0].Source, runs[0].Digest = "by hand", fmt.Sprint(ep, seed, now)
		*into = &runs[0]
	}
	return is
}

// What is said of a day on the ground of its own hours is what is said on the whole.
func TestGroundOfADayIsTheWholes(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 5))
	cell := forecast.CellOf(44.6, -63.6, 20)
	zone, err := time.LoadLocation("America/Halifax")
	if err != nil {
		t.Fatal(err)
	}
	cs := referenceCase(cell, zone)
	b := job.DefaultFirm().Bounds
	sealed, full, basis := 0, 0, map[rules.Basis]int{}
	for n := range 20 {
		now := time.Date(2027, 2, 1+rng.IntN(300), 21-12*(n%2), 5, 0, 0, time.UTC)
		is := inventedIssue(t, uint64(n), now)
		if n%5 == 4 {
			is.Ens, is.DetOnly = nil, true
			is.Det.LastSeen = now
		}
		c, d := cs, job.DateOf(now.In(zone)).AddDays(1-n%2)
		c.Crew, c.Profile.FrostHours = 2+rng.IntN(2), float64(rng.IntN(40))
		c.Job.Roof.Work = []job.Work{job.Replace, job.Overboard}[rng.IntN(2)]
		if n%3 == 0 { // a topcoat of its own
			c.Job.LaidM2, c.Job.SealedOn = c.Job.Roof.AreaM2, d.AddDays(-1)
		}
		var whole, short grounds
		x, y := whole.get(is, c.Job.Job, c.Profile), short.day(is, c, d)
		if 4*short.cache.bytes > 3*whole.cache.bytes {
			t.Errorf("the day takes %d bytes, the whole %d", short.cache.bytes, whole.cache.bytes)
		}
		want, got := x.Judge(c, d, now, b), y.Judge(c, d, now, b)
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("%d: %s is judged otherwise:\n%+v\n%+v", n, d, got, want)
		}
		from, to := job.Instant(d, 0, zone), job.Instant(d.AddDays(1), 12*60, zone)
		if g, w := fmt.Sprint(y.HourTable(from, to)), fmt.Sprint(x.HourTable(from, to)); g != w {
			t.Errorf("%s: other hours:\n%s\n%s", d, g, w)
		}
		if g, w := fmt.Sprint(y.Lanes(c, want, from, to)), fmt.Sprint(x.Lanes(c, want, from, to)); g != w {
			t.Errorf("%s: other lanes:\n%s\n%s", d, g, w)
		}
		if whole.day(is, c, d) != x {
			t.Error("the whole is there, and not taken")
		}
		if s, ok := want.BestStart(); ok {
			basis[want.Basis]++
			if s.Sealed > 0.5 {
				sealed++
			}
			if s.Full > 0.5 {
				full++
			}
		}
	}
	if basis[rules.FromDressed] < 10 || sealed < 4 || full < 2 || sealed > 18 {
		t.Errorf("too little is tried: %v, sealed %d, full %d", basis, sealed, full)
	}
}

// BenchmarkGroundOfADay is what a call on a cold cache takes, against the whole.
func BenchmarkGroundOfADay(b *testing.B) {
	now := time.Date(2027, 6, 14, 21, 0, 0, 0, time.UTC)
	is := inventedIssue(b, 1, now)
	cs := referenceCase(forecast.CellOf(44.6, -63.6, 20), time.UTC)
	d := job.DateOf(now).AddDays(1)
	b.Run("whole", func(b *testing.B) {
		for b.Loop() {
			var g grounds
			g.get(is, cs.Job.Job, cs.Profile)
		}
	})
	b.Run("day", func(b *testing.B) {
		for b.Loop() {
			var g grounds
			g.day(is, cs, d)
		}
	})
}
