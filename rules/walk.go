package rules

import (
	"math"

	"laycast/forecast"
	"laycast/job"
)

// passage is one stage as one member lived it, in hours of the ground.
type passage struct {
	stage    Stage
	set      int
	from, to float64
	bound    float64 // the set's limits count from here on: sanding comes before it
}

// outcome is what came of one start in one member.
type outcome struct {
	sealed, full, rainOpen bool
	sealedAt               float64 // hour
}

// result is how one start went in one member.
type result struct {
	outcome
	cause    Limit   // what stopped it, when not sealed
	causeAt  float64 // hour
	passages [8]passage
	count    int
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
	pace     float64 // of the firm's resin: every age takes this multiple
}

func (g *Ground) dayPlan(c Case, d job.Date) (dayPlan, bool) {
	day, ok := c.workday(d)
	if !ok {
		return dayPlan{}, false
	}
	bay, ok := c.nextBay(d, day)
	if !ok {
		return dayPlan{}, false
	}
	p := dayPlan{c: c, bay: bay, nominal: c.work(bay), from: g.hour(day.from), to: g.hour(day.to), dark: day.dark}
	p.sealBy = g.hour(job.Instant(d, c.Profile.SealedBy, c.Zone))
	p.workEnd = p.to - c.Profile.ClearUp/60
	p.pace = c.Profile.curePace()
	// A bay that fills the day to the minute may still be begun on time.
	p.noReturn = max(p.workEnd-c.need(bay), p.from+c.Profile.Setup/60)
	p.knownTo = p.sealBy
	if bay.Task == Coat {
		p.knownTo = p.workEnd + c.Profile.FrostHours
	}
	return p, true
}

// diary keeps how a crew fared, for those whose day is shown.
type diary struct {
	result
	waited [len(bitLimits)]float64 // hours that each limit held it up
}

// walker is a crew on its way through the day in one member. It sees only the
// hours up to now. With a diary it writes down what it meets; without one it
// goes the same way, only faster.
type walker struct {
	g        *Ground
	p        *dayPlan
	m        int
	t        float64
	slow     float64
	boards   int     // hour in which new boards were laid, -1: the deck that is there
	wetting  int     // first hour from then on that wets them
	water    float64 // film on new boards at the beginning of hour filmAt, mm
	filmAt   int
	rainOpen bool
	bad      [stageSets]bitRow
	wet      bitRow
	rate     []float64
	diary    *diary
}

func newWalker(g *Ground, p *dayPlan, m int) walker {
	w := walker{g: g, p: p, m: m, slow: g.slow[m], wet: g.wet.row(m), rate: g.rate[m*g.n : (m+1)*g.n]}
	if p.c.Slow > 0 {
		w.slow = p.c.Slow
	}
	for set := range w.bad {
		w.bad[set] = g.limits.bad[set].row(m)
	}
	return w
}

// arrive begins a day: on site at start, at work after setting up.
func (w *walker) arrive(start float64) {
	w.t, w.boards, w.rainOpen = start+w.p.c.Profile.Setup/60, -1, false
}

// walk lives one day from one time on site, with all that is to be told of it.
func (g *Ground) walk(p *dayPlan, m int, start float64) result {
	var d diary
	w := newWalker(g, p, m)
	w.diary = &d
	w.arrive(start)
	if w.await() {
		d.outcome = w.outcome()
	}
	return d.result
}

// await lets time pass until the first stage may begin.
func (w *walker) await() bool {
	if w.p.bay.Task == Coat {
		return w.wait(setSand, w.p.workEnd, false) || w.failWaiting()
	}
	return w.wait(w.p.nominal.first(), w.p.noReturn, false) || w.failWaiting()
}

// first gives the limits of the first stage that there is.
func (h hours) first() int {
	switch {
	case h.strip > 0:
		return setOpen
	case h.prepare > 0:
		return setPrepare
	case h.deck > 0:
		return setOpen
	}
	return setLaminate
}

// outcome lives the day from the moment at which the first stage begins.
func (w *walker) outcome() outcome {
	var o outcome
	if w.p.bay.Task == Coat {
		if w.coat() {
			o = outcome{sealed: true, full: true, sealedAt: w.t}
		}
		return o
	}
	if !w.seal() {
		return outcome{rainOpen: w.rainOpen}
	}
	o.sealed, o.sealedAt = true, w.t
	o.full = w.afterSeal()
	return o
}

// free gives the hour until which a set's limits hold from the hour at t on,
// the dry deck included; it is the hour at t itself when they do not hold now.
func (w *walker) free(set int) int {
	i := int(w.t)
	if w.t < 0 || i >= w.g.n {
		return i
	}
	end := w.bad[set].next(i)
	if end == i || !w.g.limits.dry[set] {
		return end
	}
	if w.boards < 0 {
		return min(end, w.wet.next(i))
	}
	switch {
	case end <= w.wetting: // nothing has wetted the boards before
		return end
	case i <= w.wetting:
		return min(end, w.wetting+1)
	case w.film(i) > tolerance:
		return i
	}
	return i + 1
}

// mask gives what the hour at t breaks of a set, the dry deck included.
func (w *walker) mask(set int) mask {
	i := int(w.t)
	if w.t < 0 || i >= w.g.n {
		return bitUnknown
	}
	m := w.g.limits.mask(set, w.m, i)
	if w.g.limits.dry[set] {
		if w.boards < 0 && w.wet.has(i) || w.boards >= 0 && w.film(i) > tolerance {
			m |= bitDry
		}
	}
	return m
}

// lay puts new boards on the deck: they are dry.
func (w *walker) lay() {
	w.boards = int(w.t)
	w.water, w.filmAt = 0, w.boards
	w.wetting = w.g.n
	if w.t >= 0 {
		w.wetting = w.g.wetting.row(w.m).next(w.boards)
	}
}

// film gives the water on new boards at the beginning of hour i. Where it is
// nought the deck counts as dry for the last hour, which is how the hour table
// shows that hour.
func (w *walker) film(i int) float64 {
	for w.filmAt < i {
		w.water = film(w.water, w.g.exchange[w.m*w.g.n+w.filmAt], w.g.raw(forecast.Rain, w.m, w.filmAt))
		w.filmAt++
	}
	return w.water
}

// note keeps count of what held the crew up in the hour at t.
func (w *walker) note(set int, hours float64) {
	if w.diary == nil {
		return
	}
	m := w.mask(set)
	for i := range bitLimits {
		if m&(1<<i) != 0 {
			w.diary.waited[i] += hours
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
		if w.free(set) > int(w.t) {
			return true
		}
		if open && w.rained(setOpen) {
			return false
		}
		to := math.Floor(w.t) + 1
		if w.diary == nil && !open && w.t >= 0 { // nobody asks what each hour lacked
			to = max(to, float64(w.bad[set].nextClear(int(w.t))))
		}
		w.note(set, to-w.t)
		w.t = to
	}
}

// rained reports, and records, rain on an open roof in the hour at t. Under
// cover sheets the opening limits count, on wet resin the laminate's.
func (w *walker) rained(set int) bool {
	i := int(w.t)
	if w.t < 0 || i >= w.g.n || !w.bad[set].has(i) || w.g.limits.mask(set, w.m, i)&bitRain == 0 {
		return false
	}
	w.rainOpen = true
	w.fail(LimitRain)
	return true
}

// fail records what stopped the start, and when; the first cause stays.
func (w *walker) fail(l Limit) bool {
	if d := w.diary; d != nil && d.cause == "" {
		d.cause, d.causeAt = l, w.t
	}
	return false
}

// failWaiting blames what held the crew up longest, or the clock.
func (w *walker) failWaiting() bool {
	if w.diary == nil {
		return false
	}
	best, cause := 0.0, LimitTime
	if w.p.dark {
		cause = LimitDaylight
	}
	for i, h := range w.diary.waited {
		if h > best {
			best, cause = h, bitLimits[i]
		}
	}
	return w.fail(cause)
}

// do works through one stage of the given nominal hours, pausing while its
// limits do not hold; false when it cannot end by the end of work. Where rain
// spoils, an hour of the set with rain ends it; else it makes the crew wait.
func (w *walker) do(stage Stage, set int, nominal float64, spoils bool) bool {
	from, left := w.t, nominal*w.slow
	for left > 1e-9 {
		if w.t >= w.p.workEnd {
			return w.failWaiting()
		}
		end := w.free(set)
		if end > int(w.t) {
			step := min(min(float64(end), w.p.workEnd)-w.t, left)
			w.t += step
			left -= step
			continue
		}
		if spoils && w.rained(set) {
			return false
		}
		to := min(math.Floor(w.t)+1, w.p.workEnd)
		w.note(set, to-w.t)
		w.t = to
	}
	if full := float64(int(w.t + 0.5)); math.Abs(w.t-full) < 1e-9 {
		w.t = full // rounding must not put the next stage into the hour before
	}
	w.pass(stage, set, from, w.t)
	return true
}

func (w *walker) pass(stage Stage, set int, from, to float64) {
	if d := w.diary; d != nil {
		d.passages[d.count] = passage{stage: stage, set: set, from: from, to: to, bound: from}
		d.count++
	}
}

// ripen lets time pass until the age is reached at the deck's temperature;
// false when a limit of the set breaks meanwhile or the data end.
func (w *walker) ripen(set int, age float64) bool {
	if age <= 1e-9 {
		return true
	}
	end := w.free(set)
	for i := int(w.t); i < end; i++ {
		rate := w.rate[i]
		if rate != rate {
			return false
		}
		to := float64(i + 1)
		if gain := rate * (to - w.t); gain < age {
			age -= gain
			w.t = to
			if age <= 1e-9 {
				return true
			}
			continue
		}
		w.t += age / rate
		return true
	}
	return false
}

// broke gives what ended a ripening in the hour at t.
func (w *walker) broke(set int) mask {
	if m := w.mask(set); m != 0 {
		return m
	}
	return bitUnknown // the deck's temperature
}
