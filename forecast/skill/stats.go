package skill

import (
	"math"
	"time"

	"laycast/forecast"
)

// Measure is one of the measures whose errors are kept, each on a scale on
// which its errors are near enough to normal.
type Measure int

// The measures and their scales.
const (
	Air        Measure = iota // air temperature, K
	Depression                // air minus dew point, as log(K + 1): the dew point never passes the air
	Wind                      // wind at 10 m, as the root of m/s: never negative, and no windier for being uncertain
	NMeasures
)

// String gives the short name.
func (m Measure) String() string { return [...]string{"air", "depression", "wind"}[m] }

const (
	// LeadDays is how many days ahead errors are told apart; what lies further
	// ahead counts as the last of them.
	LeadDays = 10
	// dayParts is how many parts of the solar day are told apart: forecasts err
	// otherwise by night than by day.
	dayParts = 4
	// dayHours are the hours of one lead day.
	dayHours = 24
	// halfLife is how many days of record it takes for a day to count half.
	// Ours, no source: two months hold one season.
	halfLife = 60
)

// Moments are what is kept of the forecast and the outcome of one measure at
// one lead and part of the day, on the measure's scale. Squares are central.
type Moments struct {
	Weight float64 `json:"w"`  // days
	Mean   float64 `json:"x"`  // of the centre (the mean over members)
	Error  float64 `json:"d"`  // mean of outcome minus centre
	XX     float64 `json:"xx"` // of the centre
	XD     float64 `json:"xd"` // of the centre with the error
	DD     float64 `json:"dd"` // of the error
	// Spread is the mean variance of the members about the centre, from so many
	// days. The prior has none: an issue tells its own.
	Spread     float64 `json:"v"`
	SpreadDays float64 `json:"vw"`
}

// Hits are what came of hours of one class of the wet share.
type Hits struct {
	Weight float64 `json:"w"` // days (an hour is 1/24)
	Share  float64 `json:"x"` // mean wet share
	Wet    float64 `json:"y"` // share of them that were wet
}

// Stats are the errors of one source in one cell. The zero value knows nothing;
// begin with Prior.
type Stats struct {
	Through time.Time `json:"through"` // end of the last day that was learned from
	Days    int       `json:"days"`    // learned from

	Lead [LeadDays][NMeasures][dayParts]Moments `json:"lead"`
	// Damp is the depression where the outcome was wet; Lead holds it where it was dry.
	Damp    [LeadDays][dayParts]Moments `json:"damp"`
	Rain    [LeadDays][rainClasses]Hits `json:"rain"`
	Amounts [amountClasses]float64      `json:"amounts"` // weight of wet hours by how much fell
}

// Weight gives how many days of record the statistics of a lead day rest on,
// beside the prior: 0 where they are the prior alone.
func (s *Stats) Weight() float64 {
	var w float64
	for range s.Days {
		w = w*forget + 1
	}
	return w
}

// forget is what a day leaves of the weight of those before it.
var forget = math.Exp2(-1.0 / halfLife)

// add takes in one pair of weight w (days).
func (m *Moments) add(centre, outcome, spread, w float64) {
	if m.Mean == 0 && m.Weight > 0 {
		m.Mean = centre // the prior knows no climate
	}
	total := m.Weight + w
	part := w / total
	dx, dd := centre-m.Mean, outcome-centre-m.Error
	m.Mean += part * dx
	m.Error += part * dd
	rest := 1 - part
	m.XX = rest * (m.XX + part*dx*dx)
	m.XD = rest * (m.XD + part*dx*dd)
	m.DD = rest * (m.DD + part*dd*dd)
	m.Weight = total
	m.SpreadDays += w
	m.Spread += w / m.SpreadDays * (spread - m.Spread)
}

// fade lets what is known count less by one day.
func (m *Moments) fade() {
	m.Weight *= forget
	m.SpreadDays *= forget
}

// age lets the weight of what is known fade by one day.
func (s *Stats) age() {
	for d := range s.Lead {
		for v := range s.Lead[d] {
			for p := range s.Lead[d][v] {
				s.Lead[d][v][p].fade()
			}
		}
		for p := range s.Damp[d] {
			s.Damp[d][p].fade()
		}
		for c := range s.Rain[d] {
			s.Rain[d][c].Weight *= forget
		}
	}
	for a := range s.Amounts {
		s.Amounts[a] *= forget
	}
}

// toScale puts a measure of hours on its scale; NaN where it is not known.
func toScale(h *forecast.Hours, m Measure, member, i int) float64 {
	switch m {
	case Air:
		return float64(h.At(forecast.Air, member, i))
	case Depression:
		return depressionScale(float64(h.At(forecast.Air, member, i)) - float64(h.At(forecast.Dew, member, i)))
	default:
		return windScale(float64(h.At(forecast.Wind, member, i)))
	}
}

// depressionLift keeps the scale of the depression finite at saturation.
const depressionLift = 2.0

func depressionScale(k float64) float64 { return math.Log(math.Max(0, k) + depressionLift) }
func depressionOf(y float64) float64    { return math.Max(0, math.Exp(y)-depressionLift) }
func windScale(ms float64) float64      { return math.Sqrt(math.Max(0, ms)) }
func windOf(y float64) float64          { y = math.Max(0, y); return y * y }

// partOf gives the part of the solar day at a place of so many degrees east.
func partOf(t time.Time, lon float64) int {
	h := math.Mod(float64(t.UTC().Hour())+lon/15+48, dayHours)
	return int(h*dayParts/dayHours) % dayParts
}
