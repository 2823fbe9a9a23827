// Package site answers a reading that a crew takes on the roof: the dew margin,
// whether to go on or from which hour, the dose now, and until when a topcoat may
// be begun today. It is pure.
//
// What was measured counts before the forecast. The difference between the two at
// the time of the reading (of the deck's surface, the air and the dew point) is
// carried over the hours that are left of the visit, unchanged: a simple rule,
// ours, no source. Rain and wind are the forecast's. Without a forecast that may
// be believed no answer ever says to go on.
package site

import (
	"math"
	"time"

	"laycast/job"
	"laycast/rules"
	"laycast/rules/mix"
	"laycast/rules/physics"
)

// WetWood is the moisture in % from which on a wooden deck counts as wet, as its
// meter reads. Common practice, no source: CHECKS section 4 looked for a standard
// that says 18 to 20 % and found none (grade C).
const WetWood = 18.0

// Visit is what a reading is held against.
type Visit struct {
	Stage rules.Stage // what comes next: laminate or topcoat
	// Hours are those of the present forecast for the place (its middle), from an
	// hour before the reading on; none where there is no forecast.
	Hours    []rules.Hour
	Blind    string // why the forecast cannot be believed, in words; "" where it can
	RainFrom time.Time
	WorkEnd  time.Time     // the last work must end by then
	Work     time.Duration // of the stage, at the careful pace
	Coat     time.Duration // of sanding and topcoat, at the careful pace
	Wooden   bool          // the meter's % are those of wood
	Profile  rules.Profile
	Recipe   mix.Recipe // without a table of doses, no dose is given
	Hands    int
}

// Advice is what an answer comes to.
type Advice string

// What an answer may come to.
const (
	GoOn  Advice = "go on"
	Wait  Advice = "wait"      // until From, or until it is measured anew
	Stop  Advice = "not today" // by the reading and the forecast
	Blind Advice = "blind"     // what was measured holds, but nobody knows the hours ahead
)

// Answer is what a reading comes to.
type Answer struct {
	At     time.Time
	Advice Advice
	From   time.Time // Wait: the first hour in which every limit holds, long enough; zero: measure again
	Why    string    // what keeps the crew from it, or what is not known; "" where nothing does

	DewC         float64 // °C, NaN where neither measured nor forecast; so are the next three
	SurfaceC     float64
	DewMarginK   float64
	RHPct        float64
	DewMeasured  bool          // from air and humidity as measured
	DeckMeasured bool          // the surface temperature was
	Now          []rules.Check // every limit of the stage at the time of the reading, those known
	Off          Off

	Dose mix.Line

	CoatBy time.Time // latest time to begin the topcoat today; zero: not today, or not known
	NoCoat string    // why there is none
}

// Off is how far the reading lies from the forecast, measured minus forecast; NaN
// where one of them is not known.
type Off struct{ SurfaceK, AirK, DewK, RHPoints float64 }

// Answer answers a reading taken at r.At.
func (v Visit) Answer(r job.Reading) Answer {
	m := v.measure(r)
	a := Answer{At: r.At, DewC: m.now.Dew, SurfaceC: m.now.Surface, DewMarginK: m.now.DewMargin, RHPct: m.now.RH,
		DewMeasured: r.AirC != nil && r.RHPct != nil, DeckMeasured: r.SurfaceC != nil, Off: m.off}
	for _, c := range v.Profile.Checks(v.Stage, m.now) {
		if c.Known {
			a.Now = append(a.Now, c.Check)
		}
	}
	a.Dose = v.Recipe.At(v.Profile, v.Hands, m.now.Surface)
	v.advise(&a, &m)
	v.coat(&a, &m)
	return a
}

// measured is a reading laid over the forecast.
type measured struct {
	at    time.Time
	now   rules.Hour   // the hour of the reading, as measured where it was
	hours []rules.Hour // from the hour of the reading on, shifted
	wet   []bool       // water stands on the deck at the beginning of each, or its meter says so
	soak  bool         // the meter says that the deck is wet
	off   Off
}

func (v Visit) measure(r job.Reading) measured {
	nan := math.NaN()
	hour := r.At.Truncate(time.Hour)
	m := measured{at: r.At, now: rules.Hour{At: hour, Air: nan, Dew: nan, Surface: nan, DewMargin: nan, RH: nan, Rain: nan, Wind: nan, Gust: nan, Water: nan}}
	m.soak = v.Wooden && r.MoisturePct != nil && *r.MoisturePct >= WetWood
	before := nan
	for _, h := range v.Hours {
		switch {
		case h.At.Before(hour):
			before = h.Water
		case h.At.Equal(hour):
			m.now = h
			m.hours = append(m.hours, h)
		default:
			m.hours = append(m.hours, h)
		}
	}
	if len(m.hours) > 0 && !m.hours[0].At.Equal(hour) {
		m.hours = nil // the forecast begins later: what lies between is not known
	}
	model := m.now
	put := func(into *float64, x *float64) {
		if x != nil {
			*into = *x
		}
	}
	put(&m.now.Air, r.AirC)
	put(&m.now.RH, r.RHPct)
	put(&m.now.Surface, r.SurfaceC)
	switch {
	case r.AirC != nil && r.RHPct != nil:
		m.now.Dew = physics.DewPoint(*r.AirC, *r.RHPct)
	case r.RHPct != nil && model.Air == model.Air:
		m.now.Dew = physics.DewPoint(model.Air, *r.RHPct)
	}
	m.now.DewMargin = m.now.Surface - m.now.Dew
	m.off = Off{m.now.Surface - model.Surface, m.now.Air - model.Air, m.now.Dew - model.Dew, m.now.RH - model.RH}
	m.shift()
	m.film(before, v.Wooden && r.MoisturePct != nil)
	return m
}

// shift carries what the reading was off over the hours to come.
func (m *measured) shift() {
	for i := range m.hours {
		h := &m.hours[i]
		if i == 0 {
			*h = m.now
			continue
		}
		h.Surface += orZero(m.off.SurfaceK)
		h.Air += orZero(m.off.AirK)
		h.Dew += orZero(m.off.DewK)
		if !(h.Dew <= h.Air) && h.Dew == h.Dew {
			h.Dew = h.Air
		}
		if m.off.AirK != 0 || m.off.DewK != 0 {
			if rh := physics.RelativeHumidity(h.Air, h.Dew); rh == rh {
				h.RH = rh
			}
		}
		h.DewMargin = h.Surface - h.Dew
	}
}

func orZero(x float64) float64 {
	if x != x {
		return 0
	}
	return x
}

// film says in which hours water stands on the deck: by the forecast, until a
// meter says that the deck is dry; from then on only rain or dew that comes after
// it wets it, and the forecast says when that has dried.
func (m *measured) film(before float64, metered bool) {
	m.wet = make([]bool, len(m.hours))
	wet := !metered && !rules.Dry(before) || m.soak // what is not known counts as wet
	for i, h := range m.hours {
		m.wet[i] = wet
		fell := !(h.Rain <= 0) || h.DewMargin < 0
		switch {
		case m.soak: // only another reading says that it is dry
		case fell:
			wet = true
		case wet:
			wet = !rules.Dry(h.Water)
		}
	}
}
