package replay

import (
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules"
)

// outcome is what came of one day's work.
type outcome struct {
	known              bool // false: hours of the record are missing, which counts as not done
	sealed, full       bool
	rained             bool // on the open roof
	task               rules.Task
	areaM2             float64
	start              time.Time
	chance, chanceFull float64 // as foreseen when it was decided
}

// truth says what came of a day's work, by the record.
type truth struct {
	s       *Season
	profile rules.Profile
	grounds map[groundKey]*rules.Ground
	knows   bool // the heat of every day is known beforehand, and no roof is opened to it
}

type groundKey struct {
	cell forecast.Cell
	deck job.Deck
	day  job.Date
}

func newTruth(s *Season) *truth {
	return &truth{s: s, profile: rules.Polyester(), grounds: map[groundKey]*rules.Ground{}}
}

// Hours of record around a day: the deck carries the water of two days before,
// and a topcoat must stay free of frost into the next morning.
const (
	hoursBefore = 48
	hoursFrom   = 44
)

func (t *truth) ground(j job.Job, d job.Date) *rules.Ground {
	cell := forecast.CellOf(j.Site.Lat, j.Site.Lon, j.Site.ElevationM)
	k := groundKey{cell, j.Roof.Deck, d}
	g := t.grounds[k]
	if g == nil {
		start := job.Instant(d, 0, t.s.Zone).Truncate(time.Hour)
		h := t.s.Weather.Truth(start.Add(-hoursBefore*time.Hour), hoursBefore+hoursFrom)
		site := job.Site{Lat: cell.Lat, Lon: cell.Lon, ElevationM: float64(cell.Elev), Zone: j.Site.Zone}
		run := forecast.Run{Source: "record", Endpoint: forecast.Deterministic, Hours: h, Digest: d.String()}
		g = rules.NewGround(forecast.Issue{Det: &run}, site, rules.SurfaceOf(j), t.profile)
		t.grounds[k] = g
	}
	return g
}

func (t *truth) caseOf(b job.Booking) rules.Case {
	return rules.Case{Job: b, Crew: hands, Profile: t.profile, Hours: t.s.Firm.Work, Zone: t.s.Zone}
}

// outturn gives what came of a day begun at start.
func (t *truth) outturn(b job.Booking, d job.Date, start time.Time) outcome {
	c := t.caseOf(b)
	bay, ok := c.NextBay(d)
	if !ok {
		return outcome{}
	}
	o := outcome{task: bay.Task, areaM2: bay.AreaM2, start: start}
	o.sealed, o.full, o.rained, o.known = t.ground(b.Job, d).Outturn(c, d, start, true)
	return o
}

// could says what could have come of a day: from some start, and from one at noon
// or later, and whether the topcoat could have gone on too.
type could struct{ sealed, full, late, fullLate bool }

// best gives the best that could have come of a day, whatever the start. To a forecast
// that does not see it, the day's heat is no bar.
func (t *truth) best(b job.Booking, d job.Date) (x could) {
	at := job.Instant(d, t.s.Firm.Work.From, t.s.Zone)
	mid, to := job.Instant(d, noon, t.s.Zone), job.Instant(d, t.s.Firm.Work.To, t.s.Zone)
	c, g := t.caseOf(b), t.ground(b.Job, d)
	for ; at.Before(to); at = at.Add(30 * time.Minute) {
		s, f, _, known := g.Outturn(c, d, at, !t.knows)
		if !known || !s {
			continue
		}
		x.sealed, x.full = true, x.full || f
		if !at.Before(mid) {
			x.late, x.fullLate = true, x.fullLate || f
		}
	}
	return x
}

// laid gives a job after a day's work that went well.
func laid(b job.Booking, o outcome, d job.Date) job.Booking {
	if o.task == rules.Coat {
		b.CoatedM2 = min(b.CoatedM2+o.areaM2, b.Roof.AreaM2)
		return b
	}
	b.LaidM2, b.SealedOn = min(b.LaidM2+o.areaM2, b.Roof.AreaM2), d
	if o.full {
		b.CoatedM2 = min(b.CoatedM2+o.areaM2, b.Roof.AreaM2)
	}
	return b
}

const square = 0.005 // areas are kept to the centimetre squared

func allLaid(b job.Booking) bool   { return b.Roof.AreaM2-b.LaidM2 < square }
func allCoated(b job.Booking) bool { return b.Roof.AreaM2-b.CoatedM2 < square }
