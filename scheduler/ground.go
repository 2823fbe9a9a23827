package scheduler

import (
	"context"
	"fmt"
	"math"
	"sync"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
	"laycast/rules/physics"
)

// grounds keeps the dressed issues and the deck conditions worked out from them,
// so that a plan and the call after it do not work them out twice. It is the one
// place where issues are dressed.
type grounds struct {
	mu      sync.Mutex
	learned map[place]*skill.Stats
	cache   cache // a dressed issue's members (*forecast.Run) by issueKey, a ground by groundKey
	given   cache // the reference roof's chances by referenceKey: few bytes, asked for by every firm of a cell
	written writtenRows
}

// place is a source's cell.
type place struct {
	source string
	cell   forecast.Cell
}

type issueKey struct {
	place
	det, ens string
	through  time.Time // what was learned by then
	until    time.Time // without the hours from then on; zero: whole
}

type groundKey struct {
	issueKey
	surface physics.Surface
	profile string
}

// mostBytes bounds the cache: with 200 members and 12 days a dressed issue takes
// 1.8 MB and a ground on it 1.5 MB, so some sixty of both fit; a small machine
// has 1 GB.
const mostBytes = 200 << 20

// mostGiven bounds the reference roof's chances, of some 4 kB a cell. They are kept by
// themselves: among grounds, a place of which takes 3 MB, they were pushed out before
// the next firm of their cell came, and cost a whole ground each time.
const mostGiven = 16 << 20

// Learned reads how the sources of some issues have erred, and what their chances
// have come to, for judging by from now on.
func (s *Scheduler) Learned(ctx context.Context, issues map[forecast.Cell]forecast.Issue) error {
	cells := map[string][]forecast.Cell{}
	for c, is := range issues {
		if p := placeOf(is, c); p.source != "" {
			cells[p.source] = append(cells[p.source], c)
		}
	}
	g := &s.grounds
	for source, some := range cells {
		stats, err := s.Store.Skill(ctx, source, some)
		if err != nil {
			return fmt.Errorf("read how forecasts have erred: %w", err)
		}
		g.mu.Lock()
		if g.learned == nil || len(g.learned) > mostLearned {
			g.learned = map[place]*skill.Stats{}
		}
		for i, x := range stats {
			g.learned[place{x.Source, x.Cell}] = &stats[i].Stats
		}
		g.mu.Unlock()
		if err := s.recalibrate(ctx, source); err != nil {
			return err
		}
	}
	return nil
}

// placeOf gives the source and cell of an issue.
func placeOf(is forecast.Issue, c forecast.Cell) place {
	for _, r := range []*forecast.Run{is.Ens, is.Det} {
		if r != nil {
			return place{r.Source, c}
		}
	}
	return place{cell: c}
}

// mostLearned bounds how many cells' statistics are kept in memory, of some
// 10 kB each.
const mostLearned = 5000

// get gives the ground of a job under an issue.
func (g *grounds) get(is forecast.Issue, j job.Job, p rules.Profile) *rules.Ground {
	k, stats := g.groundKeyOf(is, j, p)
	return g.work(k, stats, is, j, p)
}

// groundKeyOf gives the key of a whole ground, and what its issue is dressed by.
func (g *grounds) groundKeyOf(is forecast.Issue, j job.Job, p rules.Profile) (groundKey, *skill.Stats) {
	of, stats := g.keyOf(is, CellOf(j.Site))
	return groundKey{issueKey: of, surface: rules.SurfaceOf(j), profile: p.Key()}, stats
}

// work gives the ground of a key, from an issue that is cut at the key's end.
func (g *grounds) work(k groundKey, stats *skill.Stats, is forecast.Issue, j job.Job, p rules.Profile) *rules.Ground {
	// a ground keeps its issue alive, so an issue is asked for with each ground on it
	return cached(&g.cache, k, func() (*rules.Ground, int) {
		// jobs of one cell share the ground: what they differ in, some kilometres of
		// place and metres of height, is less than the forecast knows
		cell := CellOf(j.Site)
		site := job.Site{Lat: cell.Lat, Lon: cell.Lon, ElevationM: float64(cell.Elev), Zone: j.Site.Zone}
		x := rules.NewGround(g.dress(k.issueKey, stats, is), site, k.surface, p)
		return x, x.Bytes()
	}, k.issueKey)
}

// day gives the ground for one day alone: the whole one where that is there, else one
// of the hours that the day can hang on, which is a third of the work (docs/scale.md).
// It ends a day after the longest time that a topcoat may have to be kept from frost;
// the hours are the whole's, and to a crew that still waited then, those after them
// are what hours that nobody knows are.
func (g *grounds) day(is forecast.Issue, c rules.Case, d job.Date) *rules.Ground {
	k, stats := g.dayKey(is, c, d)
	return g.work(k, stats, is, c.Job.Job, c.Profile)
}

// dayKey gives the key of the ground for one day.
func (g *grounds) dayKey(is forecast.Issue, c rules.Case, d job.Date) (groundKey, *skill.Stats) {
	k, stats := g.groundKeyOf(is, c.Job.Job, c.Profile)
	end := job.Instant(d.AddDays(2), 0, c.Zone).Add(time.Duration(math.Ceil(c.Profile.FrostHours)) * time.Hour).UTC()
	if longer(is, end) && !g.cache.has(k) {
		k.until = end
	}
	return k, stats
}

// longer reports whether an issue goes on after a time.
func longer(is forecast.Issue, end time.Time) bool {
	return is.Det != nil && is.Det.Hours.End().After(end) || is.Ens != nil && is.Ens.Hours.End().After(end)
}

// near gives the dressed members of an issue until a time, which are few hours and
// not kept; nil where there are none.
func (g *grounds) near(is forecast.Issue, cell forecast.Cell, end time.Time) *forecast.Run {
	_, stats := g.keyOf(is, cell)
	is.Det, is.Ens = is.Det.Until(end), is.Ens.Until(end)
	return dressed(is, stats, time.Time{})
}

// dressed gives the members of an issue until a time (zero: all) by what was learned,
// by the prior where that is nothing (nil).
func dressed(is forecast.Issue, stats *skill.Stats, until time.Time) *forecast.Run {
	if stats == nil {
		prior := skill.Prior()
		stats = &prior
	}
	return skill.DressUntil(is, stats, until).Ens
}

// keyOf gives an issue's key and the statistics that it is dressed by; nil where
// nothing was learned.
func (g *grounds) keyOf(is forecast.Issue, cell forecast.Cell) (issueKey, *skill.Stats) {
	k := issueKey{place: placeOf(is, cell)}
	if is.Det != nil {
		k.det = is.Det.Digest
	}
	if is.Ens != nil {
		k.ens = is.Ens.Digest
	}
	g.mu.Lock()
	stats := g.learned[k.place]
	g.mu.Unlock()
	if stats != nil {
		k.through = stats.Through
	}
	return k, stats
}

// dress gives the dressed issue, cut at the key's end. When the runs were seen last is the asker's to
// know: the same content is seen again.
func (g *grounds) dress(k issueKey, stats *skill.Stats, is forecast.Issue) forecast.Issue {
	is.Ens = cached(&g.cache, k, func() (*forecast.Run, int) {
		ens := dressed(is, stats, k.until)
		size := 0
		if ens != nil {
			for _, col := range ens.Hours.Cols {
				size += 4 * len(col)
			}
		}
		return ens, size
	})
	if !k.until.IsZero() {
		is.Det = is.Det.Until(k.until)
	}
	return is
}
