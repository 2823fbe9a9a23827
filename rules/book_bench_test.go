package rules

import (
	"context"
	"fmt"
	"runtime"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/replay"
	"laycast/job"
	"laycast/rules/physics"
)

// The book that the speed of verdicts is measured on: ten jobs in each of 50
// weather cells, 51 members, 15 days after two of the past.
const (
	bookCells   = 50
	bookJobs    = 10 // in a cell
	bookMembers = 51
	bookDays    = 15
)

// bookCase is a job of the book with the cell it stands in.
type bookCase struct {
	cell int
	c    Case
}

// bookIssues invents five years of weather and gives ten issues from each, at
// dates through the working year. Fifteen days are three runs on end.
func bookIssues(b testing.TB) (issues []forecast.Issue, days []job.Date) {
	for year := range 5 {
		rec := replay.Invent(uint64(year+1), 44.6, -63.6, 2027)
		src, err := replay.New(rec, replay.Options{Seed: uint64(year + 1), Members: bookMembers - 1})
		if err != nil {
			b.Fatal(err)
		}
		for k := range bookCells / 5 {
			d := job.Date{Year: 2027, Month: time.March, Day: 10}.AddDays(22 * k)
			var is forecast.Issue
			for week := range 3 {
				at := clock(d.AddDays(7*week), 0)
				is = longer(is, fetch(b, src, forecast.Deterministic, at), fetch(b, src, forecast.Ensemble, at))
			}
			issues, days = append(issues, is), append(days, d)
		}
	}
	return issues, days
}

func fetch(b testing.TB, src *replay.Source, ep forecast.Endpoint, at time.Time) *forecast.Run {
	runs, err := src.Fetch(context.Background(), forecast.Ask{Endpoint: ep, Cells: []forecast.Cell{forecast.CellOf(44.6, -63.6, 40)}, Now: at})
	if err != nil {
		b.Fatal(err)
	}
	return &runs[0]
}

// longer appends an ensemble to an issue, up to 15 days; the first
// deterministic run stays.
func longer(is forecast.Issue, det, ens *forecast.Run) forecast.Issue {
	if is.Det == nil {
		return forecast.Issue{Det: det, Ens: ens}
	}
	have, n := is.Ens.Hours, min(is.Ens.Hours.N+ens.Hours.N, bookDays*24)
	var vars []forecast.Var
	for v, col := range have.Cols {
		if col != nil {
			vars = append(vars, forecast.Var(v))
		}
	}
	h := forecast.NewHours(have.Start, n, have.Members, vars...)
	for _, v := range vars {
		for m := range h.Members {
			row := h.Cols[v][m*n : (m+1)*n]
			copy(row, have.Cols[v][m*have.N:(m+1)*have.N])
			copy(row[have.N:], ens.Hours.Cols[v][m*ens.Hours.N:(m+1)*ens.Hours.N])
		}
	}
	long := *is.Ens
	long.Hours = h
	return forecast.Issue{Det: is.Det, Ens: &long}
}

// book500 is the jobs: small and large, all kinds of work that share a surface
// (a slab's is another ground), one in ten waiting for its topcoat.
func book500() (out []bookCase) {
	works := []job.Work{job.Replace, job.Replace, job.Overboard, job.Relaminate}
	for i := range bookCells * bookJobs {
		deck := job.NewBoard
		if works[i%4] == job.Relaminate {
			deck = job.GRP
		}
		c := roof([]float64{3, 4, 5, 6, 6, 8, 10, 20}[i%8], works[i%4], deck)
		c.Job.ID, c.Crew = fmt.Sprint("J", i), 2+i%2
		c.Job.Site.Lat, c.Job.Site.Lon = 44.6, -63.6
		c.Zone = time.FixedZone("ADT", -3*3600)
		if i%10 == 9 {
			c.Job.LaidM2 = c.Job.Roof.AreaM2
		}
		out = append(out, bookCase{i / bookJobs, c})
	}
	return out
}

func bookGrounds(issues []forecast.Issue, jobs []bookCase) []*Ground {
	gs := make([]*Ground, len(issues))
	for i, is := range issues {
		c := jobs[i*bookJobs].c
		gs[i] = NewGround(is, c.Job.Site, SurfaceOf(c.Job.Job), c.Profile)
	}
	return gs
}

// judgeBook judges every job on 15 days and counts the starts of members.
func judgeBook(gs []*Ground, days []job.Date, jobs []bookCase) (walks int) {
	bounds := job.DefaultFirm().Bounds
	for _, j := range jobs {
		for n := range bookDays {
			day := gs[j.cell].Judge(j.c, days[j.cell].AddDays(n), time.Time{}, bounds)
			walks += len(day.Starts) * day.Members
		}
	}
	return walks
}

// BenchmarkBook500 is what a large firm could ask of one evening, the deck's
// physics with it, and the plain reference walker on a part of the same book,
// its decks worked out before.
func BenchmarkBook500(b *testing.B) {
	issues, days := bookIssues(b)
	jobs := book500()
	perWalk := func(b *testing.B, walks int) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(walks), "ns/start-member")
		b.ReportMetric(float64(walks)/float64(b.N), "start-members/op")
	}
	b.Run("physics and verdicts", func(b *testing.B) {
		b.ReportAllocs()
		walks := 0
		for b.Loop() {
			walks += judgeBook(bookGrounds(issues, jobs), days, jobs)
		}
		perWalk(b, walks)
	})
	b.Run("verdicts", func(b *testing.B) {
		gs := bookGrounds(issues, jobs)
		b.ReportAllocs()
		walks := 0
		for b.Loop() {
			walks += judgeBook(gs, days, jobs)
		}
		perWalk(b, walks)
	})
	b.Run("physics", func(b *testing.B) {
		for b.Loop() {
			bookGrounds(issues, jobs)
		}
		b.ReportMetric(heldMB(issues, jobs), "MB-held")
	})
	b.Run("reference", func(b *testing.B) {
		gs := bookGrounds(issues, jobs)
		walks := 0
		for b.Loop() {
			walks += referenceBook(issues, days, jobs, gs)
		}
		perWalk(b, walks)
	})
}

// heldMB is the memory that the grounds of the book keep beside the forecast.
func heldMB(issues []forecast.Issue, jobs []bookCase) float64 {
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	gs := bookGrounds(issues, jobs)
	runtime.GC()
	runtime.ReadMemStats(&after)
	runtime.KeepAlive(gs)
	return (float64(after.HeapAlloc) - float64(before.HeapAlloc)) / 1e6
}

// referenceBook lives a part of the book the plain way: one job of each fifth
// cell, every third day, every tenth member.
func referenceBook(issues []forecast.Issue, days []job.Date, jobs []bookCase, gs []*Ground) (walks int) {
	for i := 0; i < len(jobs); i += 5 * bookJobs {
		j := jobs[i+i/(5*bookJobs)]
		hrs, g := issues[j.cell].Ens.Hours, gs[j.cell]
		for m := 0; m < bookMembers; m += 10 {
			decks := [][]physics.Deck{decksOf(j.c, hrs, m)}
			r := reference{c: j.c, hrs: hrs, m: m, slow: g.slow[m], decks: decks[0], hot: middleDeck(decks, hrs.N)}
			for n := 1; n < bookDays; n += 3 {
				walks += r.starts(g, days[j.cell].AddDays(n))
			}
		}
	}
	return walks
}

// starts lives one day from all its starts.
func (r reference) starts(g *Ground, d job.Date) int {
	p, ok := g.dayPlan(r.c, d)
	if !ok {
		return 0
	}
	r.bay, r.sealBy = p.bay, job.Instant(d, 20*60, r.c.Zone)
	r.from, r.to = workingTime(r.c, d)
	starts := p.startsOf(g, time.Time{})
	for _, t := range starts {
		r.rained = false
		r.live(g.at(t))
	}
	return len(starts)
}

// TestBookFitsInMemory: what the whole book keeps beside its forecast.
func TestBookFitsInMemory(t *testing.T) {
	issues, _ := bookIssues(t)
	if mb := heldMB(issues, book500()); mb > 64 || mb < 1 {
		t.Errorf("the grounds of %d cells keep %.1f MB, want at most 64", bookCells, mb)
	}
}
