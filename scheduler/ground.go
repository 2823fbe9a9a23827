package scheduler

import (
	"context"
	"fmt"
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
	learned map[place]skill.Stats
	dressed map[issueKey]*kept[forecast.Issue]
	decks   map[groundKey]*kept[*rules.Ground]
	bytes   int
	most    int // bytes; 0: mostBytes
	clock   int // counts the questions: what was asked for longest ago goes first
}

// kept is a value of the cache: what it takes and when it was last asked for.
type kept[T any] struct {
	value T
	bytes int
	asked int
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
			g.learned = map[place]skill.Stats{}
		}
		for _, x := range stats {
			g.learned[place{x.Source, x.Cell}] = x.Stats
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
	cell := CellOf(j.Site)
	g.mu.Lock()
	defer g.mu.Unlock()
	g.clock++
	k := groundKey{issueKey: g.keyOf(is, cell), surface: rules.SurfaceOf(j), profile: p.Key()}
	if x := g.decks[k]; x != nil {
		x.asked = g.clock
		if is := g.dressed[k.issueKey]; is != nil {
			is.asked = g.clock
		}
		return x.value
	}
	// jobs of one cell share the ground: what they differ in, some kilometres of
	// place and metres of height, is less than the forecast knows
	site := job.Site{Lat: cell.Lat, Lon: cell.Lon, ElevationM: float64(cell.Elev), Zone: j.Site.Zone}
	x := rules.NewGround(g.dress(k.issueKey, is), site, k.surface, p)
	if g.decks == nil {
		g.decks = map[groundKey]*kept[*rules.Ground]{}
	}
	g.decks[k] = &kept[*rules.Ground]{x, x.Bytes(), g.clock}
	g.bytes += x.Bytes()
	g.shrink()
	return x
}

// issue gives an issue as it is judged: dressed.
func (g *grounds) issue(is forecast.Issue, cell forecast.Cell) forecast.Issue {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.clock++
	return g.dress(g.keyOf(is, cell), is)
}

// near gives the dressed members of an issue until a time, which are few hours and
// not kept; nil where there are none.
func (g *grounds) near(is forecast.Issue, cell forecast.Cell, end time.Time) *forecast.Run {
	g.mu.Lock()
	stats, ok := g.learned[placeOf(is, cell)]
	g.mu.Unlock()
	if !ok {
		stats = skill.Prior()
	}
	is.Det, is.Ens = is.Det.Until(end), is.Ens.Until(end)
	return skill.Dress(is, &stats).Ens
}

func (g *grounds) keyOf(is forecast.Issue, cell forecast.Cell) issueKey {
	k := issueKey{place: placeOf(is, cell)}
	if is.Det != nil {
		k.det = is.Det.Digest
	}
	if is.Ens != nil {
		k.ens = is.Ens.Digest
	}
	k.through = g.learned[k.place].Through
	return k
}

// dress gives the dressed issue. What nothing was learned about is dressed by
// the prior.
func (g *grounds) dress(k issueKey, is forecast.Issue) forecast.Issue {
	if x := g.dressed[k]; x != nil {
		x.asked = g.clock
		// when the runs were seen last is the asker's to know: the same content
		// is seen again
		is.Ens = x.value.Ens
		return is
	}
	stats, ok := g.learned[k.place]
	if !ok {
		stats = skill.Prior()
	}
	out := skill.Dress(is, &stats)
	if g.dressed == nil {
		g.dressed = map[issueKey]*kept[forecast.Issue]{}
	}
	size := 0
	if out.Ens != nil {
		for _, col := range out.Ens.Hours.Cols {
			size += 4 * len(col)
		}
	}
	g.dressed[k] = &kept[forecast.Issue]{out, size, g.clock}
	g.bytes += size
	g.shrink()
	return out
}

// shrink drops what was not asked for longest until the rest fits, the newest
// aside. A ground keeps its issue alive, and is never asked for without it, so
// grounds go before their issues.
func (g *grounds) shrink() {
	most := g.most
	if most == 0 {
		most = mostBytes
	}
	for g.bytes > most {
		oldest := g.clock
		for _, x := range g.decks {
			oldest = min(oldest, x.asked)
		}
		for _, x := range g.dressed {
			oldest = min(oldest, x.asked)
		}
		if oldest == g.clock {
			return
		}
		for k, x := range g.decks {
			if x.asked == oldest {
				g.bytes -= x.bytes
				delete(g.decks, k)
			}
		}
		for k, x := range g.dressed {
			if x.asked == oldest {
				g.bytes -= x.bytes
				delete(g.dressed, k)
			}
		}
	}
}
