package rules

import (
	"math"
	"time"

	"laycast/job"
	"laycast/rules/physics"
)

// passage is one stage as one member lived it, in hours of the ground.
type passage struct {
	stage    Stage
	set      int
	from, to float64
	bound    float64 // the set's limits count from here on: sanding comes before it
}

// result is how one start went in one member.
type result struct {
	sealed, full, rainOpen bool
	cause                  Limit   // what stopped it, when not sealed
	causeAt                float64 // hour
	sealedAt               float64
	passages               [6]passage
	count                  int
}

// plan is what all walks of one case on one day share.
type dayPlan struct {
	c        Case
	bay      Bay
	nominal  hours
	from, to float64 // working time
	dark     bool    // it ends with daylight
	sealBy   float64
	workEnd  float64 // the last work must end by then, to leave time to clear up
	noReturn float64 // the roof is not opened, or the lay begun, after that
	knownTo  float64 // a member counts when its hours are known until then
}

func (g *Ground) dayPlan(c Case, d job.Date) (dayPlan, bool) {
	bay, ok := c.NextBay(d)
	if !ok {
		return dayPlan{}, false
	}
	day, _ := c.workday(d)
	p := dayPlan{c: c, bay: bay, nominal: c.work(bay), from: g.hour(day.from), to: g.hour(day.to), dark: day.dark}
	p.sealBy = g.hour(job.Instant(d, c.Profile.SealedBy, c.Zone))
	p.workEnd = p.to - c.Profile.ClearUp/60
	// A bay that fills the day to the minute may still be begun on time.
	p.noReturn = math.Max(p.workEnd-c.need(bay), p.from+c.Profile.Setup/60)
	p.knownTo = p.sealBy
	if bay.Task == Coat {
		p.knownTo = p.workEnd + c.Profile.FrostHours
	}
	return p, true
}

// walker is a crew on its way through the day in one member. It sees only the
// hours up to now.
type walker struct {
	g      *Ground
	p      *dayPlan
	m      int
	t      float64
	slow   float64
	waited [len(bitLimits)]float64
	water  float64 // film on new boards, mm; NaN: the deck that is there
	filmAt int     // hour that water stands at the beginning of
	r      result
}

// mask gives what the hour at t breaks of a set, the dry deck included.
func (w *walker) mask(set int) mask {
	i := int(w.t)
	if i < 0 || i >= w.g.n {
		return bitUnknown
	}
	m := w.g.fails[set][w.m][i]
	if (set == setLaminate || set == setTopcoat) && w.film(i) > tolerance {
		m |= bitDry
	}
	return m
}

// film gives the water on the deck at the beginning of hour i. Where it is
// nought the deck counts as dry for the last hour, which is how the hour table
// shows that hour.
func (w *walker) film(i int) float64 {
	ms := &w.g.members[w.m]
	if math.IsNaN(w.water) {
		if i == 0 {
			return physics.FilmCap
		}
		return ms.water[i-1]
	}
	for w.filmAt < i {
		w.water = film(w.water, ms.exchange[w.filmAt], ms.rain[w.filmAt])
		w.filmAt++
	}
	return w.water
}

// next gives the end of the hour at t, or the limit if that comes first.
func (w *walker) next(limit float64) float64 { return math.Min(math.Floor(w.t)+1, limit) }

// note keeps count of what held the crew up.
func (w *walker) note(m mask, hours float64) {
	for i := range bitLimits {
		if m&(1<<i) != 0 {
			w.waited[i] += hours
		}
	}
}

// wait lets time pass until the set's limits hold; false when that is not by
// the given hour. While open, rain ends it.
func (w *walker) wait(set int, until float64, open bool) bool {
	for {
		if w.t > until+1e-9 {
			return false
		}
		m := w.mask(set)
		if m == 0 {
			return true
		}
		if open && w.rained(setOpen) {
			return false
		}
		to := math.Floor(w.t) + 1
		w.note(m, to-w.t)
		w.t = to
	}
}

// rained reports, and records, rain on an open roof in the hour at t. Under
// cover sheets the opening limits count, on wet resin the laminate's.
func (w *walker) rained(set int) bool {
	i := int(w.t)
	if i < 0 || i >= w.g.n || w.g.fails[set][w.m][i]&bitRain == 0 {
		return false
	}
	w.r.rainOpen = true
	w.fail(LimitRain)
	return true
}

// fail records what stopped the start, and when; the first cause stays.
func (w *walker) fail(l Limit) bool {
	if w.r.cause == "" {
		w.r.cause, w.r.causeAt = l, w.t
	}
	return false
}

// failWaiting blames what held the crew up longest, or the clock.
func (w *walker) failWaiting() bool {
	best, cause := 0.0, LimitTime
	if w.p.dark {
		cause = LimitDaylight
	}
	for i, h := range w.waited {
		if h > best {
			best, cause = h, bitLimits[i]
		}
	}
	return w.fail(cause)
}

// do works through one stage of the given nominal hours, pausing while its
// limits do not hold; false when it cannot end by the end of work. rainSet is
// the set whose rain ends an open roof, -1 where rain only makes the crew wait.
func (w *walker) do(stage Stage, set int, nominal float64, rainSet int) bool {
	from, left := w.t, nominal*w.slow
	for left > 1e-9 {
		if w.t >= w.p.workEnd {
			return w.failWaiting()
		}
		if rainSet >= 0 && w.rained(rainSet) {
			return false
		}
		to := w.next(w.p.workEnd)
		if m := w.mask(set); m != 0 {
			w.note(m, to-w.t)
			w.t = to
			continue
		}
		step := math.Min(to-w.t, left)
		w.t += step
		left -= step
	}
	w.pass(stage, set, from, w.t)
	return true
}

func (w *walker) pass(stage Stage, set int, from, to float64) {
	w.r.passages[w.r.count] = passage{stage: stage, set: set, from: from, to: to, bound: from}
	w.r.count++
}

// ripen lets time pass until the age is reached at the deck's temperature;
// false when a limit of the set breaks meanwhile or the data end.
func (w *walker) ripen(set int, age float64, broke *mask) bool {
	for age > 1e-9 {
		i := int(w.t)
		if i >= w.g.n {
			*broke = bitUnknown
			return false
		}
		if m := w.g.fails[set][w.m][i]; m != 0 {
			*broke = m
			return false
		}
		rate := w.g.members[w.m].rate[i]
		if math.IsNaN(rate) {
			*broke = bitUnknown
			return false
		}
		to := math.Floor(w.t) + 1
		if rate*(to-w.t) >= age {
			w.t += age / rate
			return true
		}
		age -= rate * (to - w.t)
		w.t = to
	}
	return true
}

// walk lives one day from one time on site.
func (g *Ground) walk(p *dayPlan, m int, start float64) result {
	w := walker{g: g, p: p, m: m, t: start + p.c.Profile.Setup/60, slow: g.slow[m], water: math.NaN()}
	if p.bay.Task == Coat {
		w.r.full = w.coat()
		w.r.sealed, w.r.sealedAt = w.r.full, w.t
		return w.r
	}
	if !w.seal() {
		return w.r
	}
	w.r.sealed, w.r.sealedAt = true, w.t
	w.r.full = w.afterSeal()
	return w.r
}

// seal takes the roof from the first strip to the sealed laminate.
func (w *walker) seal() bool {
	open, n := w.p.c.opens(), w.p.nominal
	first := setLaminate
	if n.strip > 0 || n.deck > 0 {
		first = setOpen
	}
	if !w.wait(first, w.p.noReturn, false) {
		return w.failWaiting()
	}
	rain := -1
	if open {
		if w.tooHot() {
			return w.fail(LimitDeck)
		}
		rain = setOpen
		if !w.do(Strip, setOpen, n.strip, rain) {
			return false
		}
	}
	if w.p.c.boards() {
		w.water, w.filmAt = 0, int(w.t)
	}
	pause := w.p.c.Profile.Break / 60 / w.slow // the break is as long for the slow as for the quick
	if !w.do(DeckStage, setOpen, n.deck+pause, rain) {
		return false
	}
	if !w.wait(setLaminate, w.p.workEnd-n.laminate*w.p.c.Profile.SlowMedian, open) {
		return w.failWaiting()
	}
	return w.laminateAndCure(n.laminate, open)
}

// laminateAndCure lays the mat and waits until it is tack-free. Over an old
// roof nothing is open, but rain spoils wet resin all the same.
func (w *walker) laminateAndCure(nominal float64, open bool) bool {
	if !w.do(Laminate, setLaminate, nominal, setLaminate) {
		w.r.rainOpen = w.r.rainOpen && open
		return false
	}
	from := w.t
	var broke mask
	if !w.ripen(setCure, w.p.c.Profile.SealedAge, &broke) {
		w.r.rainOpen = open && broke&bitRain != 0
		return w.fail(broke.first())
	}
	w.pass(Cure, setCure, from, w.t)
	if w.t > w.p.sealBy {
		return w.fail(LimitTime)
	}
	return true
}

// tooHot reports whether the deck is forecast too hot for the laminate, which
// is asked at the moment at which the roof would be opened. Here the crew looks
// ahead, as it may: at the middle of the forecast, not at its own member.
func (w *walker) tooHot() bool {
	n, slow := w.p.nominal, w.p.c.Profile.SlowMedian
	from := w.t + n.toSeal(slow, w.p.c.Profile.Break) - slow*n.laminate
	for i := int(from); i <= int(from+slow*n.laminate) && i < w.g.n; i++ {
		if i >= 0 && w.g.hot[i] > w.p.c.Profile.HeatBefore {
			w.t = float64(i)
			return true
		}
	}
	return false
}

// afterSeal goes on to the topcoat on the same day, if the day allows.
func (w *walker) afterSeal() bool {
	sealed := w.t
	var broke mask
	ok := w.ripen(setCure, w.p.c.Profile.SandableAge-w.p.c.Profile.SealedAge, &broke) && w.coat()
	w.r.cause, w.r.causeAt = "", 0 // it is sealed: what stops the topcoat is no failure
	if !ok {
		w.t = sealed
	}
	return ok
}

// coat sands and topcoats, and waits until the topcoat is rain-proof and past
// frost.
func (w *walker) coat() bool {
	n, prof := w.p.nominal, w.p.c.Profile
	if !w.wait(setSand, w.p.workEnd, false) || !w.do(Topcoat, setSand, n.sand, -1) {
		return w.failWaiting()
	}
	w.r.count-- // sanding is part of the topcoat's span
	from := w.r.passages[w.r.count].from
	if !w.wait(setTopcoat, w.p.workEnd-n.topcoat*prof.SlowMedian, false) {
		return w.failWaiting()
	}
	if !w.do(Topcoat, setTopcoat, n.topcoat, setTopcoat) {
		w.r.rainOpen = false // the topcoat is spoilt, but nothing stands open
		return false
	}
	w.r.passages[w.r.count-1].from = from
	done := w.t
	var broke mask
	if !w.ripen(setTopcoatCure, prof.RainproofAge, &broke) {
		return w.fail(broke.first())
	}
	w.pass(TopcoatCure, setTopcoatCure, done, w.t)
	return w.frostFree(done, done+prof.FrostHours)
}

// frostFree reports whether the deck stays at 0 °C or above from one hour to
// another.
func (w *walker) frostFree(from, to float64) bool {
	for i := int(from); i < int(math.Ceil(to)); i++ {
		cause := LimitUnknown
		if i < w.g.n {
			if x := w.g.members[w.m].surface[i]; x >= 0 {
				continue
			} else if x < 0 {
				cause = LimitFrost
			}
		}
		w.t = math.Max(w.t, float64(i))
		return w.fail(cause)
	}
	return true
}

// startsOf gives the half-hour times on site of a day, none before `from`.
func (p *dayPlan) startsOf(g *Ground, from time.Time) []float64 {
	var out []float64
	for t := p.from; t+p.c.Profile.Setup/60 <= p.noReturn+1e-9; t += startStep.Hours() {
		if !g.at(t).Before(from) {
			out = append(out, t)
		}
	}
	return out
}
