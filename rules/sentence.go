package rules

import (
	"fmt"
	"strings"
	"time"

	"laycast/job"
)

// rainLikely is the share of members with rain in an hour from which a sentence
// no longer calls rain unlikely; dewGone that without dew from which it has
// lifted. Ours, no source: a sentence is for reading, the chance decides.
const (
	rainLikely = 0.2
	dewGone    = 0.5
)

// sky fills in when the dew lifts and when rain becomes likely, from the best
// start to the end of the civil day.
func (g *Ground) sky(day *Day, p *dayPlan, start float64, live []int) {
	first := int(p.from)
	damp := first
	for damp < min(int(p.workEnd)+1, g.n) && g.dryShare(p, live, damp) < dewGone {
		damp++
	}
	switch {
	case float64(damp) >= p.workEnd:
		day.DewStays = true
	case damp > first:
		day.DewLifts = g.at(float64(damp))
	}
	midnight := g.hour(job.Instant(day.Date.AddDays(1), 0, p.c.Zone))
	for i := int(start); float64(i) < midnight && i < g.n; i++ {
		if g.rainy[i] {
			day.RainFrom = g.at(max(float64(i), start))
			return
		}
	}
}

// dryShare gives the share of members in which hour i is not damp.
func (g *Ground) dryShare(p *dayPlan, live []int, i int) float64 {
	n := 0
	for _, m := range live {
		if !g.damp(p, m, i) {
			n++
		}
	}
	return float64(n) / float64(len(live))
}

// damp reports whether dew margin, humidity or water on the deck that is there
// keeps the laminate (the topcoat, where that is the day's work) off in hour i.
// New boards bring no water with them.
func (g *Ground) damp(p *dayPlan, m, i int) bool {
	set := setLaminate
	if p.bay.Task == Coat {
		set = setTopcoat
	}
	return g.limits.breaks(set, m, i, bitMargin|bitRH) ||
		g.limits.dry[set] && g.wet.row(m).has(i) && (p.bay.Task == Coat || !p.c.boards())
}

// Sentence says the day in one line of words, with times of the zone.
func (d Day) Sentence(zone *time.Location) string {
	name := d.Date.Weekday().String() + ": "
	s, ok := d.BestStart()
	if !ok {
		if d.Basis == FromClimate {
			return name + fmt.Sprintf("no forecast reaches the day; in usual weather %s of the days of %s would do", percent(d.Climate), d.Date.Month)
		}
		if d.Members > 0 {
			return name + fmt.Sprintf("not known: only %d members know the whole day", d.Members)
		}
		return name + "not known: no forecast reaches the day, or it holds no time to work"
	}
	hm := func(t time.Time) string { return t.In(zone).Format("15:04") }
	var b strings.Builder
	b.WriteString(name)
	if d.inWindow(s) {
		fmt.Fprintf(&b, "go from %s, %s: ", hm(s.At), percent(s.Sealed))
	} else {
		fmt.Fprintf(&b, "no window; best from %s, %s: ", hm(s.At), percent(s.Sealed))
	}
	b.WriteString(strings.Join(d.story(hm), ", "))
	if c, ok := d.tightest(); ok {
		fmt.Fprintf(&b, "; tightest: %s %.4g of %.4g %s at %s", c.Limit, c.Value, c.Bound, c.Unit, hm(c.At))
	}
	return b.String()
}

// percent keeps a doubt a doubt: only all members are 100 %.
func percent(share float64) string {
	switch {
	case share < 1 && share > 0.99:
		return "99 %"
	case share > 0 && share < 0.01:
		return "1 %"
	}
	return fmt.Sprintf("%.0f %%", share*100)
}

func (d Day) inWindow(s Start) bool {
	for _, w := range d.Windows {
		if !s.At.Before(w.From) && !s.At.After(w.To) {
			return true
		}
	}
	return false
}

// story tells the best start's day in its order.
func (d Day) story(hm func(time.Time) string) []string {
	var out []string
	switch {
	case d.DewStays:
		out = append(out, "dew does not lift")
	case !d.DewLifts.IsZero():
		out = append(out, "dew lifts at "+hm(d.DewLifts))
	}
	switch {
	case d.SealedBy.IsZero() && len(d.Failing) > 0:
		f := d.Failing[0]
		out = append(out, fmt.Sprintf("%s stops %d of %d", f.Limit, f.Members, d.Members))
	case d.SealedBy.IsZero():
	case len(d.Stages) > 0 && d.Stages[0].Stage == Topcoat:
		out = append(out, "rain-proof by "+hm(d.SealedBy))
	default:
		out = append(out, "sealed by "+hm(d.SealedBy))
	}
	if d.RainFrom.IsZero() {
		return append(out, "rain unlikely all day")
	}
	if s, _ := d.BestStart(); d.RainFrom.Equal(s.At) {
		return append(out, "rain likely from the start")
	}
	return append(out, "rain unlikely before "+hm(d.RainFrom))
}

// tightest gives the tightest check of the stages that seal; a topcoat on the
// same day is a bonus, on a day of its own it is the work.
func (d Day) tightest() (Check, bool) {
	var best *Check
	for i := range d.Stages {
		s := &d.Stages[i]
		bonus := (s.Stage == Topcoat || s.Stage == TopcoatCure) && d.Stages[0].Stage != Topcoat
		dry := s.Tightest.Limit == LimitRain && s.Tightest.Value == 0 // nothing is tight about it
		if bonus || dry || s.Tightest.Limit == LimitUnknown {
			continue
		}
		if best == nil || Tighter(s.Tightest, *best) {
			best = &s.Tightest
		}
	}
	if best == nil {
		return Check{}, false
	}
	return *best, true
}
