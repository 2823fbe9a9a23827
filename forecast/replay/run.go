package replay

import (
	"math"
	"math/rand/v2"
	"time"
)

// The error model. Every measure of hour v at lead l is made on the scale of
// normal scores z, from three things of unit variance that do not know of one
// another: the record's own score, an error G that all members share, and a
// member's own noise E:
//
//	centre   c = √r z + √(1-r) G
//	member   m = √r c + k √(1-r) E
//
// With k = 1 the record and every member stand to the centre in the same way,
// so the record's rank among the members is flat by construction, and a
// member's score has unit variance: as windy, as wet, as damp as the record at
// every lead. (Noise added to the wind itself would make members windier than
// the truth.) k = 0.5 imitates raw members, whose spread is about half the
// error. r falls with lead. G and E are the record's own scores of other days
// within two months, the same hour of day, all measures together: so errors
// have the record's texture, its lengths of rain, its damp air and wind in
// the rain. G moves from run to run; E is new with each.

// growth says how an error grows: its standard deviation at lead l hours is
// √(at² + (perDay l/24)²), in the measure's unit.
type growth struct{ at, perDay float64 }

// growths are fitted by eye to forecast errors of air, dew point and wind at
// one continental site in 2019 (21 days of a national point forecast), day 1
// lowered towards a published 1.3 K for another; depression from the same
// pairs. Pressure is from memory, no source. Levels elsewhere are an
// assumption: Options.Scale is for trying others.
var growths = [nScores]growth{
	sAir:      {1.20, 0.42},
	sDep:      {1.22, 0.28},
	sWind:     {1.40, 0.15},
	sPressure: {0.80, 0.75},
}

// Rain is told by r alone: rainStart at lead 0, fading over rainFade days.
// Tuned by others to a 12-hour Brier skill of about 0.4 to 0.6 on day 1.
const (
	rainStart = 0.86
	rainFade  = 5.5
)

// tie gives r at a lead: 1 is certain, near 0 is climate.
func (c *climate) tie(s, lead int, scale float64) float64 {
	days := float64(lead) / 24
	if s == sRain {
		return 1 - math.Min(0.98, (1-rainStart*math.Exp(-days/rainFade))*scale*scale)
	}
	g := growths[s]
	x := scale * scale * (g.at*g.at + g.perDay*g.perDay*days*days) / (c.spread[s]*c.spread[s] + 1e-9)
	return 1 - x/math.Sqrt(1+x*x) // x where x is small, never above 1
}

// How the shared error moves from run to run: what it keeps in a day
// (assumption; successive runs should change plausibly), and how many days
// back it is summed.
const (
	keptPerDay = 0.8
	keptDays   = 24
)

// The days from which noise is taken lie this far off, either way: near enough
// for the season, far enough to be other weather.
const (
	offLeast = 8
	offMost  = 60
)

// flutter is the variance of a member's score of raininess that is fast and its
// own, taken out of its noise (at most flutterMost of it), and what it keeps
// from hour to hour. Sums of recorded scores alone rain too long at a time:
// the day before a rain is as smooth as a slope. Found by trial against the
// lengths of rain spells of recorded station-years and the invented one.
const (
	flutter     = 0.15
	flutterMost = 0.7
	flutterKeep = 0.4
)

// point is one member's weather at one hour.
type point struct {
	air, dew, rain, wind, gust, pressure float32
	solar                                float32 // as recorded; unknown ahead
	score                                float32 // raininess
}

// issued is one model run: the points of every member at its leads 1, 2, …
// (element 0 is lead 1). Member 0 is the control; the last is the
// deterministic run.
type issued struct {
	start  time.Time
	points [][]point
}

// issue makes the model run that starts at start, a whole hour.
func (s *Source) issue(start time.Time) *issued {
	leads := aheadRows + s.opt.RunEvery
	n := s.opt.Members + 2
	run := &issued{start: start, points: make([][]point, n)}
	at := make([]int, leads) // the hour of the year at each lead
	for k := range at {
		at[k] = hourOfYear(start.Add(time.Duration(k+1) * time.Hour))
	}
	centre := s.centre(start, at)
	offs := s.memberOffsets(start, n)
	for m := range run.points {
		run.points[m] = s.member(centre, at, offs[m], stream(s.opt.Seed, "flutter", s.opt.ID, start.Unix(), m))
	}
	return run
}

// centre gives what all members of a run share: the scores c at each lead.
func (s *Source) centre(start time.Time, at []int) (out [nScores][]float64) {
	offs, weights := s.sharedOffsets(start)
	var drawn [nScores][]float64
	if s.opt.Drawn {
		offs, drawn = nil, s.drawnShared(start.Unix()/3600, len(at), weights)
	}
	for v := range out {
		scores := s.climate.score[v]
		if scores == nil {
			continue
		}
		out[v] = make([]float64, len(at))
		for k, i := range at {
			var g float64
			for j, off := range offs {
				g += weights[j] * float64(scores[wrap(i+24*off)])
			}
			if drawn[v] != nil {
				g = drawn[v][k]
			}
			r := s.ties[v][k]
			out[v][k] = math.Sqrt(r)*float64(scores[i]) + math.Sqrt(1-r)*g
		}
	}
	return out
}

// sharedOffsets gives the days whose scores make up the shared error of a run,
// and their weights (squares sum to 1). Each civil day UTC brings one new day
// of noise; between two midnights the weights slide from one day's to the next's.
func (s *Source) sharedOffsets(start time.Time) (offs []int, weights []float64) {
	const day = 24 * 60 * 60
	today := int(math.Floor(float64(start.Unix()) / day))
	part := float64(start.Unix()-int64(today)*day) / day
	push := math.Sqrt(1 - keptPerDay*keptPerDay)
	var square float64
	for j := -1; j < keptDays; j++ { // -1: tomorrow's, coming in
		offs = append(offs, drawOffset(stream(s.opt.Seed, "shared", s.opt.ID, today-j)))
		w := part * push * math.Pow(keptPerDay, float64(j+1))
		if j >= 0 {
			w += (1 - part) * push * math.Pow(keptPerDay, float64(j))
		}
		weights = append(weights, w)
		square += w * w
	}
	for j := range weights {
		weights[j] /= math.Sqrt(square)
	}
	return offs, weights
}

// drawOffset draws a number of days, forward or back.
func drawOffset(rng *rand.Rand) int {
	off := offLeast + rng.IntN(offMost-offLeast+1)
	if rng.IntN(2) == 0 {
		return -off
	}
	return off
}

// memberOffsets gives each member of a run its own days, spread over all there
// are so that no two members share a day while there are days enough.
func (s *Source) memberOffsets(start time.Time, n int) []int {
	rng := stream(s.opt.Seed, "members", s.opt.ID, start.Unix())
	const days = 2 * (offMost - offLeast + 1)
	offs := make([]int, n)
	for m := range offs {
		k := int((float64(m) + rng.Float64()) / float64(n) * days)
		if k < days/2 {
			offs[m] = -(offLeast + k)
		} else {
			offs[m] = offLeast + k - days/2
		}
	}
	rng.Shuffle(n, func(i, j int) { offs[i], offs[j] = offs[j], offs[i] })
	return offs
}

// member makes one member's points out of the shared scores and its own noise.
func (s *Source) member(centre [nScores][]float64, at []int, off int, rng *rand.Rand) []point {
	fast := newDrift(rng, flutterKeep)
	points := make([]point, len(at))
	for k, i := range at {
		var z [nScores]float64
		sky := 0.0
		for v := range z {
			if centre[v] == nil {
				continue
			}
			e := float64(s.climate.score[v][wrap(i+24*off)])
			r := s.ties[v][k]
			if v == sRain {
				sky = math.Sqrt(r)*centre[v][k] + s.opt.Spread*math.Sqrt(1-r)*e
				f := math.Min(flutterMost, flutter/(1-r))
				e = math.Sqrt(1-f)*e + math.Sqrt(f)*fast.next()
			}
			z[v] = math.Sqrt(r)*centre[v][k] + s.opt.Spread*math.Sqrt(1-r)*e
		}
		points[k] = s.climate.point(i, z)
		if s.opt.Drawn {
			// the sky is as steady as the record's: with the flutter of showers in it,
			// no member had the full sun of a day that is fair from end to end
			if points[k].rain >= wetLeast-1e-6 {
				sky = math.Max(sky, z[sRain])
			}
			points[k].score = float32(sky)
		}
	}
	return points
}

// point turns scores into weather at an hour of the year.
func (c *climate) point(i int, z [nScores]float64) point {
	rain := c.poolOf(sRain, i, false).stepOf(z[sRain])
	air := c.course[i] + c.poolOf(sAir, i, false).valueOf(z[sAir])
	dep := c.poolOf(sDep, i, rain >= wetLeast-1e-6).valueOf(z[sDep])
	wind := c.poolOf(sWind, i, false).valueOf(z[sWind])
	p := point{
		air: float32(air), dew: float32(air - dep), rain: float32(rain), wind: float32(wind),
		gust: float32(gustOf(wind)), pressure: nan32, solar: nan32, score: float32(z[sRain]),
	}
	if c.score[sPressure] != nil {
		p.pressure = float32(c.poolOf(sPressure, i, false).valueOf(z[sPressure]))
	}
	return p
}

// nan32 is a value that is not known.
var nan32 = float32(math.NaN())

// gustOf estimates the gust from the mean wind (m/s) over open land
// (assumption, no source).
func gustOf(wind float64) float64 { return 1.5*wind + 0.5 }
