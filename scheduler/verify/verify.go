// Package verify says whether chances are honest: it lives through a recorded
// year as the daemon would, evening by evening, keeps the chance that a roof
// would have been given for each of the days ahead, and scores it against what
// the record says came of that roof. It is pure.
package verify

import (
	"fmt"
	"math"
	"time"

	"laycast/forecast"
	"laycast/forecast/skill"
	"laycast/job"
	"laycast/rules"
)

// Weather is a record of what was.
type Weather interface {
	// Truth gives n hourly slots from start on, for one member.
	Truth(start time.Time, n int) forecast.Hours
}

// Forecasts are the issues that stood at any time of the year.
type Forecasts interface {
	Issue(now time.Time) (forecast.Issue, error)
}

// Roof is what is judged every day, and never begun: one reference roof.
type Roof struct {
	Case   rules.Case
	Bounds job.Bounds
}

// Leads are the days ahead that are scored: 0 is the second look, 1 the evening
// before, and so on.
const Leads = 6

// When the two looks are taken: the defaults of job.DefaultFirm.
const (
	eveningAt    job.TimeOfDay = 18 * 60
	secondLookAt job.TimeOfDay = 5*60 + 30
)

// Hours of record around a day: the deck carries the water of two days before,
// and a topcoat must stay free of frost into the next morning.
const (
	hoursBefore = 48
	hoursFrom   = 44
)

// Given is one chance that was given for one day, by three ways of reading the
// same forecast, and what came of the day. All are about a roof begun at Start,
// the best start by the dressed members.
type Given struct {
	Date  job.Date
	Lead  int // days ahead
	Start time.Time

	Told    skill.Chances // the dressed, recalibrated: see Recalibrate
	Dressed skill.Chances // by the dressed members
	Raw     skill.Chances // by the members as they came; of a source without, by its one run
	Said    bool          // the single run, taken at its word: sealed

	Sealed, Rained bool // by the record

	// Air at the middle of the day: fair CRPS of dressed and raw members against
	// the record, K, of one run its absolute error; NaN where that is not known.
	AirDressed, AirRaw float64
}

// Year lives through the civil days from `from` to `to`. learn is told every
// evening's issue and every day that is over, as the daemon is; after `until` it
// learns no more (none: it goes on). tell, when not nil, hears each day as it is
// done. Days of which the record cannot tell the outcome are left out. It fails
// where a forecast cannot be had.
func Year(r Roof, w Weather, f Forecasts, learn *skill.Learner, from, to, until job.Date, tell func(job.Date)) ([]Given, error) {
	y := year{roof: r, weather: w, forecasts: f, learn: learn, until: until, truth: map[job.Date]*rules.Ground{}}
	for d := from; !d.After(to); d = d.AddDays(1) {
		if err := y.day(d, to); err != nil {
			return nil, err
		}
		if tell != nil {
			tell(d)
		}
	}
	return y.given, nil
}

// year is a year on its way.
type year struct {
	roof      Roof
	weather   Weather
	forecasts Forecasts
	learn     *skill.Learner
	until     job.Date
	truth     map[job.Date]*rules.Ground
	given     []Given
}

// day takes the second look at d, then its evening for the days ahead of it.
func (y *year) day(d, to job.Date) error {
	l, err := y.look(d, secondLookAt, 0)
	if err != nil {
		return err
	}
	y.give(l, d, 0)
	delete(y.truth, d)
	if l, err = y.look(d, eveningAt, Leads-1); err != nil {
		return err
	}
	for lead := 1; lead < Leads && !d.AddDays(lead).After(to); lead++ {
		y.give(l, d.AddDays(lead), lead)
	}
	return nil
}

// look is one issue, read in three ways.
type look struct {
	now                   time.Time
	raw, dressed          forecast.Issue
	onRaw, onDressed, one *rules.Ground // one is the single run alone
}

// look asks for the issue that stands on day d at a time of day, learns from it
// where it is the evening's, and dresses it; days up to `ahead` days on will be
// asked of it.
func (y *year) look(d job.Date, at job.TimeOfDay, ahead int) (look, error) {
	l := look{now: job.Instant(d, at, y.roof.Case.Zone)}
	is, err := y.forecasts.Issue(l.now)
	if err != nil {
		return look{}, fmt.Errorf("forecast of %s: %w", d, err)
	}
	if is.Det == nil || is.Ens == nil && !is.DetOnly {
		return look{}, fmt.Errorf("forecast of %s: there must be an hourly run, and an ensemble unless the source has none", d)
	}
	if at == eveningAt && (y.until.IsZero() || !d.After(y.until)) {
		// yesterday is over, and the past rows of the hourly run hold it
		y.learn.Past(is.Det.Hours, y.midnight(d.AddDays(-1)))
		y.learn.Evening(is)
	}
	end := y.midnight(d.AddDays(ahead)).Add(hoursFrom * time.Hour)
	l.raw = forecast.Issue{Det: is.Det.Until(end), DetOnly: is.DetOnly}
	if is.Ens != nil {
		l.raw.Ens = is.Ens.Until(end)
	}
	l.dressed = skill.Dress(l.raw, &y.learn.Stats)
	l.onRaw, l.onDressed = y.ground(l.raw), y.ground(l.dressed)
	l.one = y.ground(forecast.Issue{Det: l.raw.Det})
	return l, nil
}

// midnight gives the hour in which a civil day begins.
func (y *year) midnight(d job.Date) time.Time {
	return job.Instant(d, 0, y.roof.Case.Zone).UTC().Truncate(time.Hour)
}

func (y *year) ground(is forecast.Issue) *rules.Ground {
	j := y.roof.Case.Job.Job
	return rules.NewGround(is, j.Site, rules.SurfaceOf(j), y.roof.Case.Profile)
}

// give keeps what a look says of day d, and what came of it.
func (y *year) give(l look, d job.Date, lead int) {
	c := y.roof.Case
	best, ok := l.onDressed.Judge(c, d, l.now, y.roof.Bounds).BestStart()
	if !ok {
		return
	}
	said, saidFull, saidRain, _ := l.one.Outturn(c, d, best.At, false)
	raw := rules.Start{Sealed: yes(said), Full: yes(saidFull), RainOpen: yes(saidRain)} // a lone run is its one member
	if l.raw.Ens != nil {
		if raw, ok = startAt(l.onRaw.Judge(c, d, l.now, y.roof.Bounds), best.At); !ok {
			return
		}
	}
	sealed, _, rained, known := y.was(d).Outturn(c, d, best.At, best.Sealed > 0)
	if !known {
		return
	}
	g := Given{
		Date: d, Lead: lead, Start: best.At, Told: chances(best), Dressed: chances(best), Raw: chances(raw),
		Said: said, Sealed: sealed, Rained: rained,
	}
	g.AirDressed, g.AirRaw = y.air(l, d)
	y.given = append(y.given, g)
}

// was gives the ground of a day as it was, kept while looks ask for it.
func (y *year) was(d job.Date) *rules.Ground {
	if g := y.truth[d]; g != nil {
		return g
	}
	start := y.midnight(d)
	det := forecast.Run{Source: "record", Endpoint: forecast.Deterministic, Digest: d.String(),
		Hours: y.weather.Truth(start.Add(-hoursBefore*time.Hour), hoursBefore+hoursFrom)}
	y.truth[d] = y.ground(forecast.Issue{Det: &det})
	return y.truth[d]
}

// air scores the air temperature in the hour from noon on.
func (y *year) air(l look, d job.Date) (dressed, raw float64) {
	noon := y.midnight(d).Add(12 * time.Hour)
	was := float64(y.weather.Truth(noon, 1).At(forecast.Air, 0, 0))
	of := func(h forecast.Hours) float64 {
		var xs []float64
		for m := range h.Members {
			if x := h.At(forecast.Air, m, h.Slot(noon)); forecast.Known(x) {
				xs = append(xs, float64(x))
			}
		}
		if was != was {
			return math.NaN()
		}
		return skill.FairCRPS(xs, was)
	}
	if l.raw.Ens == nil {
		return of(l.dressed.Ens.Hours), math.Abs(float64(l.raw.Det.Hours.At(forecast.Air, 0, l.raw.Det.Hours.Slot(noon))) - was)
	}
	return of(l.dressed.Ens.Hours), of(l.raw.Ens.Hours)
}

func yes(x bool) float64 {
	if x {
		return 1
	}
	return 0
}

func startAt(day rules.Day, at time.Time) (rules.Start, bool) {
	for _, s := range day.Starts {
		if s.At.Equal(at) {
			return s, true
		}
	}
	return rules.Start{}, false
}

func chances(s rules.Start) skill.Chances {
	return skill.Chances{Sealed: s.Sealed, Full: s.Full, RainOpen: s.RainOpen}
}
