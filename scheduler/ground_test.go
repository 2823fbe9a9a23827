package scheduler

import (
	"fmt"
	"reflect"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"laycast/forecast"
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
				if g.issue(is, cell).Ens.Parents != 19 {
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
