package rules

import (
	"context"
	"fmt"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/replay"
	"laycast/job"
)

// book is 50 jobs in 10 cells: five areas, half of them stripped, half boarded
// over, for a pair.
func book() []Case {
	var out []Case
	for i := range 50 {
		c := roof([]float64{6, 10, 18, 30, 60}[i%5], []job.Work{job.Replace, job.Overboard}[i%2], job.NewBoard)
		c.Job.ID = fmt.Sprint("J", i)
		c.Job.Site.Lat, c.Job.Site.Lon = 44.6+0.1*float64(i/5), -63.6
		out = append(out, c)
	}
	return out
}

// benchIssue invents a year of weather and gives the issue of one midnight in
// May: 19 members, seven days.
func benchIssue(b testing.TB) forecast.Issue {
	src, err := replay.New(replay.Invent(7, 44.6, -63.6, 2027), replay.Options{Seed: 7})
	if err != nil {
		b.Fatal(err)
	}
	var is forecast.Issue
	for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
		runs, err := src.Fetch(context.Background(), forecast.Ask{Endpoint: ep, Cells: []forecast.Cell{forecast.CellOf(44.6, -63.6, 40)}, Now: clock(may4, 0)})
		if err != nil {
			b.Fatal(err)
		}
		if ep == forecast.Ensemble {
			is.Ens = &runs[0]
		} else {
			is.Det = &runs[0]
		}
	}
	return is
}

func groundsOf(is forecast.Issue, jobs []Case) map[float64]*Ground {
	gs := map[float64]*Ground{}
	for _, c := range jobs {
		if gs[c.Job.Site.Lat] == nil { // one cell, one surface: one ground
			gs[c.Job.Site.Lat] = NewGround(is, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
		}
	}
	return gs
}

// judgeWeek judges every job on seven days and counts the starts of members.
func judgeWeek(gs map[float64]*Ground, jobs []Case) (walks int) {
	bounds := job.DefaultFirm().Bounds
	for _, c := range jobs {
		for n := range 7 {
			day := gs[c.Job.Site.Lat].Judge(c, may4.AddDays(n), time.Time{}, bounds)
			walks += len(day.Starts) * day.Members
		}
	}
	return walks
}

func BenchmarkCheck50x19x7(b *testing.B) {
	is, jobs := benchIssue(b), book()
	b.Run("with physics", func(b *testing.B) {
		b.ReportAllocs()
		walks := 0
		for b.Loop() {
			walks += judgeWeek(groundsOf(is, jobs), jobs)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(walks), "ns/start-member")
	})
	b.Run("grounds built", func(b *testing.B) {
		gs := groundsOf(is, jobs)
		b.ReportAllocs()
		walks := 0
		for b.Loop() {
			walks += judgeWeek(gs, jobs)
		}
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(walks), "ns/start-member")
		b.ReportMetric(float64(walks)/float64(b.N), "start-members/op")
	})
}

// BenchmarkNewGround is one deck under one issue.
func BenchmarkNewGround(b *testing.B) {
	is, c := benchIssue(b), book()[0]
	b.ReportAllocs()
	for b.Loop() {
		NewGround(is, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
	}
}

// TestWalkDoesNotAllocate: a week's plan walks tens of thousands of days.
func TestWalkDoesNotAllocate(t *testing.T) {
	is, c := benchIssue(t), book()[0]
	g := NewGround(is, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
	p, ok := g.dayPlan(c, may4.AddDays(2))
	if !ok {
		t.Fatal("no work")
	}
	starts := p.startsOf(g, time.Time{})
	var r result
	if n := testing.AllocsPerRun(20, func() {
		for m := range g.count {
			for _, s := range starts {
				r = g.walk(&p, m, s)
			}
		}
	}); n != 0 {
		t.Errorf("%.0f allocations in %d walks (%v)", n, len(starts)*g.count, r.sealed)
	}
	live := make([]int, g.count)
	for m := range live {
		live[m] = m
	}
	if n := testing.AllocsPerRun(20, func() { g.outcomes(&p, live, starts) }); n > 1 {
		t.Errorf("%.0f allocations for all starts of a day, want the one that holds them", n)
	}
	if n := testing.AllocsPerRun(20, func() { g.Judge(c, may4.AddDays(2), time.Time{}, job.DefaultFirm().Bounds) }); n > 60 {
		t.Errorf("%.0f allocations in a verdict", n)
	}
}

// TestJudgeOnInventedWeather: the verdicts of a spring week over all jobs, as a
// firm would get them, hold together and are not all of one kind.
func TestJudgeOnInventedWeather(t *testing.T) {
	is, jobs := benchIssue(t), book()
	gs := groundsOf(is, jobs)
	good, poor := 0, 0
	for _, c := range jobs {
		for n := range 6 {
			day := gs[c.Job.Site.Lat].Judge(c, may4.AddDays(n), time.Time{}, job.DefaultFirm().Bounds)
			if !day.Known() || day.Members != 19 {
				t.Fatalf("%s on %s: %d members", c.Job.ID, may4.AddDays(n), day.Members)
			}
			s, _ := day.BestStart()
			good, poor = good+one(s.Sealed >= 0.7), poor+one(s.Sealed < 0.5)
		}
	}
	if good == 0 || poor == 0 {
		t.Errorf("%d good days, %d poor ones", good, poor)
	}
}
