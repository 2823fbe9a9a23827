package rules

import (
	"math"
	"slices"
	"time"

	"laycast/forecast"
)

// Lane is one limit, or some that a crew takes as one, over the hours of a day:
// what the hour ribbon is drawn from.
type Lane struct {
	Limits []Limit  // the first names the lane
	Shared bool     // measured by the share of members that hold, not by a margin: rain comes or does not
	Asked  []Window // when the middle member is at a stage that asks for it
	Hours  []LaneHour
}

// LaneHour is one hour of a lane, from At until an hour later. Room is 1 where a
// margin is roomy standard errors or more, 0 at the bound and negative beyond
// it; NaN where it is not known.
type LaneHour struct {
	At      time.Time
	Middle  float64 // room in the member in the middle
	Careful float64 // room that nine members in ten have
	Known   int     // members that know the hour
	Broken  int     // of them, those that break a limit of the lane
	Check   Check   // of the middle member; of rain and a dry deck its value is the share that breaks
}

// Closed reports whether half of the members or more break the lane's limits.
func (h LaneHour) Closed() bool { return h.Known > 0 && 2*h.Broken >= h.Known }

// roomy is the margin, in standard errors of a forecast for the next day, from
// which on a ribbon is drawn at its full width: a forecast is rarely wrong by
// more. Ours, no source.
const roomy = 3

// The shares of members with less room than the careful one and the one in the
// middle.
const doubtful, middling = 0.1, 0.5

// lanes are what a crew looks at, in the order of the picture.
func lanes() [][]Limit {
	return [][]Limit{{LimitRain}, {LimitWind, LimitGust}, {LimitDewMargin, LimitRH}, {LimitDeck, LimitAir}, {LimitDry}}
}

// Lanes gives the lanes of the hours in [from, to), by the limits of the
// laminate, or of the topcoat where that is the day's work. There are none where
// the ground knows nothing, and no lane for a dry deck where new boards are laid.
// The day is the case's verdict: it says when a stage asks for a lane.
func (g *Ground) Lanes(c Case, day Day, from, to time.Time) []Lane {
	set := setLaminate
	if len(day.Stages) > 0 && day.Stages[0].Stage == Topcoat {
		set = setTopcoat
	}
	var out []Lane
	for _, limits := range lanes() {
		bounds := slices.DeleteFunc(slices.Clone(g.profile.bounds(set)), func(b Bound) bool { return !slices.Contains(limits, b.Limit) })
		if g.n == 0 || len(bounds) == 0 || limits[0] == LimitDry && set == setLaminate && c.boards() {
			continue
		}
		l := Lane{Limits: limits, Shared: limits[0] == LimitRain || limits[0] == LimitDry, Asked: g.asked(day.Stages, limits)}
		for i := max(int(math.Floor(g.hour(from))), 0); i < g.n && float64(i) < g.hour(to); i++ {
			if l.Shared {
				l.Hours = append(l.Hours, g.shareHour(set, limits[0], bounds[0], i))
			} else {
				l.Hours = append(l.Hours, g.marginHour(bounds, i))
			}
		}
		out = append(out, l)
	}
	return out
}

// shareHour counts the members that break a limit in hour i. The room is what
// the share leaves of the share at which the middle member, or the careful one,
// would break it.
func (g *Ground) shareHour(set int, l Limit, b Bound, i int) LaneHour {
	h := LaneHour{At: g.at(float64(i)), Middle: math.NaN(), Careful: math.NaN()}
	for m := range g.count {
		if v := g.raw(forecast.Rain, m, i); v != v { // water on the deck comes of it too
			continue
		}
		h.Known++
		if l == LimitRain && g.limits.breaks(set, m, i, bitRain) || l == LimitDry && g.wet.row(m).has(i) {
			h.Broken++
		}
	}
	if !h.enough(g.count) {
		return h
	}
	share := float64(h.Broken) / float64(h.Known)
	h.Middle, h.Careful = 1-share/middling, 1-share/doubtful
	h.Check = Check{Limit: l, At: h.At, Value: share, Bound: b.Value, Unit: b.Unit}
	return h
}

// marginHour measures the members' margins in hour i.
func (g *Ground) marginHour(bounds []Bound, i int) LaneHour {
	h := LaneHour{At: g.at(float64(i)), Middle: math.NaN(), Careful: math.NaN()}
	rooms, members := make([]float64, 0, g.count), make([]int, 0, g.count)
	for m := range g.count {
		room, broken, known := g.room(bounds, m, i)
		if !known {
			continue
		}
		h.Known++
		if broken {
			h.Broken++
		}
		rooms, members = append(rooms, room), append(members, m)
	}
	if !h.enough(g.count) {
		return h
	}
	sorted := slices.Clone(rooms)
	slices.Sort(sorted)
	n := len(sorted)
	// as many members break a limit as have no room, so a lane that is closed by
	// their count has no room in the middle either
	h.Middle, h.Careful = sorted[(n-1)/2], sorted[int(doubtful*float64(n))]
	// of those with the middle one's room, it is the one that stands there when they
	// keep their order
	first, _ := slices.BinarySearch(sorted, h.Middle)
	for k, nth := 0, (n-1)/2-first; k < n; k++ {
		if rooms[k] != h.Middle {
			continue
		}
		if nth == 0 {
			h.Check = g.narrowest(bounds, members[k], i, h.At)
			break
		}
		nth--
	}
	return h
}

// room gives the least room that a member has in hour i, and whether it breaks a
// bound and knows them all.
func (g *Ground) room(bounds []Bound, m, i int) (room float64, broken, known bool) {
	room, known = math.Inf(1), true
	for _, b := range bounds {
		v := g.value(b.Limit, m, i)
		known = known && v == v
		broken = broken || !b.holds(v)
		if r := roomOf(b, v); r < room {
			room = r
		}
	}
	return room, broken, known
}

// roomOf gives the room that a value leaves of a bound.
func roomOf(b Bound, v float64) float64 { return b.margin(v) / errorOf(b.Limit) / roomy }

// narrowest gives a member's check with the least room in hour i.
func (g *Ground) narrowest(bounds []Bound, m, i int, at time.Time) (c Check) {
	room := math.Inf(1)
	for _, b := range bounds {
		v := g.value(b.Limit, m, i)
		if r := roomOf(b, v); r < room {
			room, c = r, Check{Limit: b.Limit, At: at, Value: round2(v), Bound: b.Value, Margin: round2(b.margin(v)), Unit: b.Unit}
		}
	}
	return c
}

// enough reports whether so many members know the hour that it can be drawn.
func (h LaneHour) enough(of int) bool { return h.Known > 0 && 2*h.Known > of }

// asked gives the times at which a stage asks for one of some limits, those that
// meet as one.
func (g *Ground) asked(stages []Span, limits []Limit) []Window {
	var out []Window
	for _, s := range stages {
		set, ok := setOf(s.Stage)
		if !ok || !slices.ContainsFunc(g.profile.bounds(set), func(b Bound) bool { return slices.Contains(limits, b.Limit) }) {
			continue
		}
		if n := len(out); n > 0 && !s.From.After(out[n-1].To) {
			if s.To.After(out[n-1].To) {
				out[n-1].To = s.To
			}
			continue
		}
		out = append(out, Window{s.From, s.To})
	}
	return out
}

// setOf gives the limits under which a stage stands.
func setOf(s Stage) (int, bool) {
	switch s {
	case Strip, DeckStage:
		return setOpen, true
	case Prepare:
		return setPrepare, true
	case Primer:
		return setPrimer, true
	case Laminate:
		return setLaminate, true
	case Cure:
		return setCure, true
	case Topcoat:
		return setTopcoat, true
	case TopcoatCure:
		return setTopcoatCure, true
	}
	return 0, false
}
