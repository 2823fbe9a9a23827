package rules

import (
	"math"
	"time"
)

// seal takes the roof from the first strip, which may begin now, to the sealed
// laminate.
func (w *walker) seal() bool {
	open, n := w.p.c.opens(), w.p.nominal
	if open {
		if w.tooHot() {
			return w.fail(LimitDeck)
		}
		if !w.do(Strip, setOpen, n.strip, true) {
			return false
		}
	}
	if n.prepare > 0 && !w.do(Prepare, setPrepare, n.prepare, false) {
		return false
	}
	if w.p.c.boards() {
		w.lay()
	}
	pause := w.p.c.Profile.Break / 60 / w.slow // the break is as long for the slow as for the quick
	if !w.do(DeckStage, setOpen, n.deck+pause, open) {
		return false
	}
	if n.primer > 0 && !w.prime() {
		return false
	}
	if !w.wait(setLaminate, w.p.workEnd-n.laminate*w.p.c.Profile.SlowMedian, open) {
		return w.failWaiting()
	}
	return w.laminateAndCure(n.laminate, open)
}

// prime lays the primer and waits until it takes the laminate. Rain spoils it.
func (w *walker) prime() bool {
	n, prof := w.p.nominal, &w.p.c.Profile
	if !w.wait(setPrimer, w.p.workEnd-(n.primer+n.laminate)*prof.SlowMedian-n.ripe, false) {
		return w.failWaiting()
	}
	if !w.do(Primer, setPrimer, n.primer, true) {
		w.rainOpen = false // nothing stands open
		return false
	}
	if !w.ripen(setPrimerCure, w.p.pace*prof.PrimedAge) {
		return w.fail(w.broke(setPrimerCure).first())
	}
	return true
}

// laminateAndCure lays the mat and waits until it is tack-free. Over an old
// roof nothing is open, but rain spoils wet resin all the same.
func (w *walker) laminateAndCure(nominal float64, open bool) bool {
	if !w.do(Laminate, setLaminate, nominal, true) {
		w.rainOpen = w.rainOpen && open
		return false
	}
	from := w.t
	if !w.ripen(setCure, w.p.pace*w.p.c.Profile.SealedAge) {
		broke := w.broke(setCure)
		w.rainOpen = open && broke&bitRain != 0
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
	n, slow := &w.p.nominal, w.p.c.Profile.SlowMedian
	from := w.t + n.toSeal(slow, w.p.c.Profile.Break) - slow*n.laminate
	for i := max(int(from), 0); i <= int(from+slow*n.laminate) && i < w.g.n; i++ {
		if w.g.hot[i] {
			w.t = float64(i)
			return true
		}
	}
	return false
}

// afterSeal goes on to the topcoat on the same day, if the day allows.
func (w *walker) afterSeal() bool {
	sealed := w.t
	ok := w.ripen(setCure, w.p.pace*(w.p.c.Profile.SandableAge-w.p.c.Profile.SealedAge)) &&
		(w.wait(setSand, w.p.workEnd, false) || w.failWaiting()) && w.coat()
	if w.diary != nil {
		w.diary.cause, w.diary.causeAt = "", 0 // it is sealed: what stops the topcoat is no failure
	}
	if !ok {
		w.t = sealed
	}
	return ok
}

// coat sands, which may begin now, and topcoats, and waits until the topcoat is
// rain-proof and past frost.
func (w *walker) coat() bool {
	n, prof := &w.p.nominal, &w.p.c.Profile
	from := w.t
	if !w.do(Topcoat, setSand, n.sand, false) {
		return w.failWaiting()
	}
	if w.diary != nil {
		w.diary.count-- // sanding is part of the topcoat's span
	}
	if !w.wait(setTopcoat, w.p.workEnd-n.topcoat*prof.SlowMedian, false) {
		return w.failWaiting()
	}
	if !w.do(Topcoat, setTopcoat, n.topcoat, true) {
		w.rainOpen = false // the topcoat is spoilt, but nothing stands open
		return false
	}
	if w.diary != nil {
		w.diary.passages[w.diary.count-1].from = from
	}
	done := w.t
	if !w.ripen(setTopcoatCure, w.p.pace*prof.RainproofAge) {
		return w.fail(w.broke(setTopcoatCure).first())
	}
	w.pass(TopcoatCure, setTopcoatCure, done, w.t)
	return w.frostFree(done, done+prof.FrostHours)
}

// frostFree reports whether the deck stays at 0 °C or above from one hour to
// another.
func (w *walker) frostFree(from, to float64) bool {
	i, end := int(from), int(math.Ceil(to))
	if i < w.g.n {
		i = w.g.cold.row(w.m).next(i)
	}
	if i >= end {
		return true
	}
	cause := LimitUnknown
	if i < w.g.n && w.g.surface[w.m*w.g.n+i] < 0 {
		cause = LimitFrost
	}
	w.t = max(w.t, float64(i))
	return w.fail(cause)
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
