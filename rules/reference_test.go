package rules

import (
	"math"
	"sort"
	"time"

	"laycast/forecast"
	"laycast/job"
	"laycast/rules/physics"
)

// reference lives a day the plain way, from the raw hours and the words of the
// plan of record (its chapters on limits, formulas and chance): no masks, no
// columns worked out before, every limit written out as a number again. It is
// what walk is checked against.
type reference struct {
	c        Case
	bay      Bay
	hrs      forecast.Hours
	m        int
	slow     float64
	decks    []physics.Deck // of the deck that is there, after each hour
	hot      []float64      // the middle member's deck
	from, to time.Time
	sealBy   time.Time

	now      time.Time
	boardsAt int     // slot in which new boards were laid, -1 before
	rained   bool    // while open
	sealed   float64 // hour of the sky at which it was sealed
}

// slot is one hour as the reference reads it.
type slot struct{ air, dew, rh, rain, wind, gust, deck float64 }

func (s slot) known() bool {
	return !math.IsNaN(s.air + s.dew + s.rh + s.rain + s.wind + s.gust + s.deck)
}

// decksOf steps the physics through all hours of a member, from a wet deck.
func decksOf(c Case, hrs forecast.Hours, m int) []physics.Deck {
	var out []physics.Deck
	prev := physics.Deck{TempC: math.NaN(), WaterMM: physics.FilmCap}
	for i := range hrs.N {
		prev = deckAfter(c, hrs, m, i, prev)
		out = append(out, prev)
	}
	return out
}

// deckAfter carries a deck through hour i; a film that is not known is full.
func deckAfter(c Case, hrs forecast.Hours, m, i int, prev physics.Deck) physics.Deck {
	at := func(v forecast.Var) float64 { return float64(hrs.At(v, m, i)) }
	next := physics.Step(SurfaceOf(c.Job.Job), prev, physics.Weather{
		AirC: at(forecast.Air), DewC: at(forecast.Dew), WindMs: at(forecast.Wind), CloudPct: at(forecast.Cloud),
		SolarWm2: at(forecast.Solar), RainMM: at(forecast.Rain), PressureHPa: physics.StandardPressure(c.Job.Site.ElevationM),
	})
	if math.IsNaN(next.WaterMM) {
		next.WaterMM = physics.FilmCap
	}
	return next
}

func (r *reference) hourOf(t time.Time) float64 { return t.Sub(r.hrs.Start).Hours() }
func (r *reference) index() int                 { return int(math.Floor(r.hourOf(r.now))) }
func (r *reference) add(hours float64) {
	r.now = r.now.Add(time.Duration(math.Round(hours * float64(time.Hour))))
}

// slot gives hour i; beyond the data everything is unknown.
func (r *reference) slot(i int) slot {
	x := func(v forecast.Var) float64 { return float64(r.hrs.At(v, r.m, i)) }
	s := slot{x(forecast.Air), x(forecast.Dew), x(forecast.RH), x(forecast.Rain), x(forecast.Wind), x(forecast.Gust), math.NaN()}
	if i >= 0 && i < r.hrs.N {
		s.deck = r.decks[i].TempC
	}
	return s
}

// water gives the film at the beginning of hour i.
func (r *reference) water(i int) float64 {
	if r.boardsAt < 0 {
		if i == 0 {
			return physics.FilmCap
		}
		return r.decks[i-1].WaterMM
	}
	film := physics.Deck{TempC: math.NaN()}
	for k := r.boardsAt; k < i; k++ {
		film.TempC = math.NaN()
		if k > 0 {
			film.TempC = r.decks[k-1].TempC
		}
		film = deckAfter(r.c, r.hrs, r.m, k, film)
	}
	return film.WaterMM
}

// eps is how far a value may lie beyond a bound and still equal it: values are
// kept in hundredths.
const eps = 1e-3

func windOK(s slot) bool { return s.wind <= 10+eps && s.gust <= 15+eps }

// open: strip and deck stage. Cover sheets take 0.2 mm; no frost.
func (r *reference) open() bool {
	s := r.slot(r.index())
	if math.IsNaN(s.air + s.rain + s.wind + s.gust + s.deck) {
		return false
	}
	return s.rain <= 0.2+eps && windOK(s) && s.air > eps && s.deck > eps
}

func (r *reference) resin(deckMost float64) bool {
	s := r.slot(r.index())
	return s.known() && s.rain < 0.1-eps && s.air >= 5-eps && s.air <= 30+eps && s.deck >= 5-eps && s.deck <= deckMost+eps &&
		s.deck-s.dew >= 3-eps && s.rh <= 85+eps && windOK(s) && r.water(r.index()) <= eps
}

func (r *reference) laminate() bool { return r.resin(40) }
func (r *reference) topcoat() bool  { return r.resin(35) }
func (r *reference) prepare() bool  { return r.dryAir() && windOK(r.slot(r.index())) }
func (r *reference) dryAir() bool   { return r.slot(r.index()).rain < 0.1-eps }

// nextHour moves the clock to the next full hour of the data.
func (r *reference) nextHour() {
	r.now = r.hrs.Start.Add(time.Duration(r.index()+1) * time.Hour)
}

// until waits for a limit to hold, but not past a time.
func (r *reference) until(holds func() bool, last time.Time, open bool) bool {
	for {
		if r.now.After(last.Add(time.Millisecond)) {
			return false
		}
		if holds() {
			return true
		}
		if open && r.rainOver(0.2+eps) {
			r.rained = true
			return false
		}
		r.nextHour()
	}
}

func (r *reference) rainOver(mm float64) bool { return r.slot(r.index()).rain > mm }

// workThrough works so many hours at this member's pace while the limit holds.
// spoil is the rain that ends it (infinite: none does).
func (r *reference) workThrough(hours float64, holds func() bool, spoil float64) (done, wet bool) {
	end := r.to.Add(-30 * time.Minute) // clearing up
	for left := hours * r.slow; left > 1e-8; {
		if !r.now.Before(end) {
			return false, false
		}
		if r.rainOver(spoil) {
			return false, true
		}
		if !holds() {
			r.nextHour()
			if r.now.After(end) {
				r.now = end
			}
			continue
		}
		free := r.hrs.Start.Add(time.Duration(r.index()+1) * time.Hour)
		if free.After(end) {
			free = end
		}
		step := math.Min(free.Sub(r.now).Hours(), left)
		r.add(step)
		if left -= step; left > 1e-8 && step < left && r.now.Before(free) {
			r.now = free
		}
	}
	return true, false
}

// ripen lets the resin age while nothing harms it.
func (r *reference) ripen(age float64, harmless func(slot) bool) bool {
	for age > 1e-9 {
		s := r.slot(r.index())
		if !harmless(s) || math.IsNaN(s.deck) {
			return false
		}
		rate := physics.RateFactor(s.deck, 50)
		left := float64(r.index()+1) - r.hourOf(r.now)
		if rate*left >= age {
			r.add(age / rate)
			return true
		}
		age -= rate * left
		r.nextHour()
	}
	return true
}

func cureHarmless(s slot) bool { return s.rain < 0.1-eps && s.air >= 5-eps }
func coatHarmless(s slot) bool {
	return s.rain < 0.1-eps && s.air >= 5-eps && s.deck-s.dew >= 1-eps
}

// hoursOf writes the work of a bay out, from the table of rates for a pair.
func (r *reference) hoursOf() (strip, prep, deck, prime, lam, sand, top float64) {
	pace := 1 + 0.4*float64(r.c.Crew-2)
	a, roof := r.bay.AreaM2, r.c.Job.Roof
	sand, top = a/40/pace, a/20/pace
	if r.bay.Task == Coat {
		if r.bay.Late {
			sand += a / 20 / pace
		}
		return 0, 0, 0, 0, 0, sand, top
	}
	newBoards := roof.Work == job.Overboard || roof.Work == job.Replace && roof.Deck != job.OldBoard
	if roof.Work == job.Replace {
		strip = a / 10 / pace
	}
	if r.primes() {
		prep, prime = a/10/pace, a/30/pace
	}
	deck = (3*r.bay.TrimM + 20*r.bay.Outlets) / 60 / pace
	joints := r.bay.TrimM
	if newBoards {
		deck += a / 8 / pace
		joints += math.Max(2.08*a-r.bay.TrimM/2, 0)
	}
	lam = (1.5*joints/60 + a/14) / pace
	if r.bay.Of > 1 {
		lam += 0.5 / pace
	}
	return strip, prep, deck, prime, lam, sand, top
}

// primes: sound laminate and slabs are prepared, primed, and wait an hour of
// age for the primer.
func (r *reference) primes() bool {
	return r.c.Job.Roof.Work == job.Relaminate || r.c.Job.Roof.Work == job.Balcony
}

func (r *reference) live(start time.Time) (sealed, full bool) {
	strip, prep, deck, prime, lam, sand, top := r.hoursOf()
	r.now, r.boardsAt = start.Add(30*time.Minute), -1
	end := r.to.Add(-30 * time.Minute)
	const careful = 1.5506 // 1.2 exp(0.2 × 1.28155), the pace of nine in ten
	lastOpen := end.Add(-time.Duration((careful*(strip+prep+deck+prime+lam) + 0.5 + r.primed()) * float64(time.Hour)))
	if first := r.from.Add(30 * time.Minute); lastOpen.Before(first) {
		lastOpen = first
	}
	if r.bay.Task == Coat {
		full = r.coat(sand, top)
		return full, full
	}
	replace := r.c.Job.Roof.Work == job.Replace
	first := r.open
	switch {
	case prep > 0:
		first = r.prepare
	case strip+deck == 0:
		first = r.laminate
	}
	if !r.until(first, lastOpen, false) {
		return false, false
	}
	spoil := math.Inf(1)
	if replace {
		spoil = 0.2 + eps
		if r.hotAhead(1.2*(strip+deck)+0.5, 1.2*lam) {
			return false, false
		}
		if done, wet := r.workThrough(strip, r.open, spoil); !done {
			r.rained = wet
			return false, false
		}
	}
	if done, _ := r.workThrough(prep, r.prepare, math.Inf(1)); !done {
		return false, false
	}
	if replace && r.c.Job.Roof.Deck != job.OldBoard || r.c.Job.Roof.Work == job.Overboard {
		r.boardsAt = r.index()
	}
	if done, wet := r.workThrough(deck+0.5/r.slow, r.open, spoil); !done {
		r.rained = wet
		return false, false
	}
	if prime > 0 && !r.prime(end, prime, lam) {
		return false, false
	}
	if !r.until(r.laminate, end.Add(-time.Duration(1.2*lam*float64(time.Hour))), replace) {
		return false, false
	}
	if done, wet := r.workThrough(lam, r.laminate, 0.1-eps); !done {
		r.rained = wet && replace
		return false, false
	}
	if !r.ripen(0.75, cureHarmless) {
		r.rained = replace && r.slot(r.index()).rain >= 0.1-eps
		return false, false
	}
	if r.now.After(r.sealBy.Add(time.Millisecond)) {
		return false, false
	}
	r.sealed = r.hourOf(r.now)
	return true, r.ripen(0.25, cureHarmless) && r.coat(sand, top)
}

func (r *reference) primed() float64 {
	if r.primes() {
		return 1
	}
	return 0
}

func (r *reference) prime(end time.Time, prime, lam float64) bool {
	if !r.until(r.topcoat, end.Add(-time.Duration((1.2*(prime+lam)+1)*float64(time.Hour))), false) {
		return false
	}
	done, _ := r.workThrough(prime, r.topcoat, 0.1-eps) // its limits are the topcoat's
	return done && r.ripen(1, cureHarmless)
}

func (r *reference) coat(sand, top float64) bool {
	end := r.to.Add(-30 * time.Minute)
	if !r.until(r.dryAir, end, false) {
		return false
	}
	if done, _ := r.workThrough(sand, r.dryAir, math.Inf(1)); !done {
		return false
	}
	if !r.until(r.topcoat, end.Add(-time.Duration(1.2*top*float64(time.Hour))), false) {
		return false
	}
	if done, _ := r.workThrough(top, r.topcoat, 0.1-eps); !done {
		return false
	}
	done := r.now
	if !r.ripen(2, coatHarmless) {
		return false
	}
	if r.bay.Task == Coat {
		r.sealed = r.hourOf(r.now)
	}
	for h := math.Floor(r.hourOf(done)); h < r.hourOf(done)+14; h++ {
		if s := r.slot(int(h)); !(s.deck >= 0) {
			return false
		}
	}
	return true
}

// hotAhead asks the middle of the forecast for more than 40 °C on the deck
// while the laminate would be laid.
func (r *reference) hotAhead(before, laminating float64) bool {
	from := r.hourOf(r.now) + before
	for i := int(from); i <= int(from+laminating) && i < len(r.hot); i++ {
		if r.hot[i] > 40 {
			return true
		}
	}
	return false
}

// middleDeck gives the median deck temperature over members, hour by hour.
func middleDeck(all [][]physics.Deck, n int) []float64 {
	out := make([]float64, n)
	for i := range out {
		var xs []float64
		for _, d := range all {
			if !math.IsNaN(d[i].TempC) {
				xs = append(xs, d[i].TempC)
			}
		}
		sort.Float64s(xs)
		out[i] = math.NaN()
		if len(xs) > 0 {
			out[i] = xs[len(xs)/2]
		}
	}
	return out
}

// workingTime gives the reference's day: the working hours cut by civil
// twilight, beginning on a half hour of the working day.
func workingTime(c Case, d job.Date) (from, to time.Time) {
	from, to = job.Instant(d, c.Hours.From, c.Zone), job.Instant(d, c.Hours.To, c.Zone)
	dawn, dusk, ok := physics.CivilDay(c.Job.Site.Lat, c.Job.Site.Lon, d.Year, d.Month, d.Day, c.Zone)
	if !ok {
		return from, to // these tests have no polar night
	}
	for from.Before(dawn) {
		from = from.Add(30 * time.Minute)
	}
	if dusk.Before(to) {
		to = dusk
	}
	return from, to
}
