package skill

import "math"

// priorWorth is how many days of record the prior is worth. It fades as the
// record does, so that after half a year hardly anything of it is left. Ours,
// no source.
const priorWorth = 30

// priorErrors are root mean square errors by lead day 1 to 7: a national point
// forecast against one continental station, all hours of 21 days of 2019, 3,095
// pairs, as measured for the plan of record; air (K), air minus dew point (K),
// wind (m/s). One site and one season: for the shape of the growth, not the
// level. Days 8 to 10 go on as day 7 did from day 6, half as fast (no source).
var priorErrors = [7][NMeasures]float64{
	{1.85, 1.82, 1.74}, {2.11, 2.02, 1.65}, {1.99, 2.01, 1.56}, {2.25, 2.25, 1.68},
	{2.76, 2.32, 1.63}, {3.09, 2.48, 1.75}, {3.42, 2.64, 1.76},
}

// priorAutocorrelation is that of the same errors from hour to hour; for the
// depression that of the dew point's.
var priorAutocorrelation = [7][NMeasures]float64{
	{.87, .85, .63}, {.89, .90, .65}, {.88, .91, .64}, {.92, .92, .67}, {.95, .95, .67}, {.96, .96, .67}, {.95, .97, .70},
}

// priorDewErrors are the root mean square errors of the dew point (K) and their
// correlation with those of the air, from the same table.
var priorDewErrors = [7]struct{ error, correlation float64 }{
	{1.38, .35}, {1.58, .42}, {1.62, .38}, {1.93, .42}, {2.42, .58}, {2.79, .61}, {3.08, .66},
}

// What the prior takes for typical, to bring errors onto the scales and as the
// variety of the weather: a depression of 4.5 K, a wind of 5 m/s. Ours, no
// source.
const (
	typicalDepression = 4.5
	typicalWind       = 5.0
)

var typicalVariety = [NMeasures]float64{4.5, 0.4, 0.55} // standard deviation, on the scales

// priorDamp is the depression in rain before any record: half as far from its
// mean as forecast, and a third less; weak, no source.
var priorDamp = Moments{Weight: 5, Error: -0.3, XX: 0.16, XD: -0.08, DD: 0.10}

// Rain, as published for a global ensemble at one station 6 to 30 h ahead: where
// all members were wet it rained in 77 % of cases, where none was in 0 %: dry
// unanimity is to be trusted, wet unanimity is not. Told here as: the chance is
// the wet share drawn towards the climate's share of wet hours, on the first day
// by a quarter where all are wet and by a twelfth where none is, further the
// further ahead (the fading, in days, is ours).
const (
	priorWetHours = 0.10
	priorDryTrust = 0.92
	priorDryFade  = 8.0
	priorWetTrust = 0.75
	priorWetFade  = 6.0
)

// priorRain gives the prior's chance of a wet hour on a lead day (0 = the first).
func priorRain(d int, share float64) float64 {
	dry, wet := priorDryTrust*math.Exp(-float64(d)/priorDryFade), priorWetTrust*math.Exp(-float64(d)/priorWetFade)
	return priorWetHours + (dry+share*(wet-dry))*(share-priorWetHours)
}

// rainClasses are the classes of the wet share.
const rainClasses = 12

var rainEdges = [rainClasses - 1]float64{.002, .01, .03, .07, .13, .22, .35, .5, .65, .8, .92}

func rainClass(share float64) int {
	for c, edge := range rainEdges {
		if share < edge {
			return c
		}
	}
	return rainClasses - 1
}

// amountClasses are the classes of rain in a wet hour, bounded by amountEdges
// (mm).
const amountClasses = 7

var amountEdges = [amountClasses + 1]float64{.1, .2, .3, .5, 1, 2, 4, 10}

// priorAmounts: drizzle is common. From memory of hourly gauges in a damp
// climate, no source.
var priorAmounts = [amountClasses]float64{.25, .16, .17, .2, .13, .06, .03}

func amountClass(mm float64) int {
	for c := 1; c < amountClasses; c++ {
		if mm < amountEdges[c]-1e-4 {
			return c - 1
		}
	}
	return amountClasses - 1
}

// Prior gives the statistics to begin with, worth priorWorth days of record.
func Prior() Stats {
	var s Stats
	for d := range s.Lead {
		for v := range NMeasures {
			e := priorError(d, v)
			for p := range s.Lead[d][v] {
				s.Lead[d][v][p] = Moments{
					Weight: priorWorth, XX: typicalVariety[v] * typicalVariety[v], DD: e * e,
				}
			}
		}
		for p := range s.Damp[d] {
			s.Damp[d][p] = priorDamp
		}
		for c := range s.Rain[d] {
			low, high := 0.0, 1.0
			if c > 0 {
				low = rainEdges[c-1]
			}
			if c < rainClasses-1 {
				high = rainEdges[c]
			}
			share := (low + high) / 2
			if c == 0 {
				share = 0
			}
			if c == rainClasses-1 {
				share = 1
			}
			s.Rain[d][c] = Hits{Weight: priorWorth / rainClasses, Share: share, Wet: priorRain(d, share)}
		}
	}
	for a, share := range priorAmounts {
		s.Amounts[a] = priorWorth * priorWetHours * share
	}
	return s
}

// priorError gives the prior's error of a lead day (0 = the first), on the
// measure's scale.
func priorError(d int, v Measure) float64 {
	last := len(priorErrors) - 1
	e := priorErrors[min(d, last)][v]
	if d > last {
		e += float64(d-last) / 2 * max(0, priorErrors[last][v]-priorErrors[last-1][v])
	}
	switch v {
	case Depression:
		return e / (typicalDepression + depressionLift)
	case Wind:
		return e / (2 * math.Sqrt(typicalWind))
	}
	return e
}

// autocorrelation gives that of the errors from hour to hour.
func autocorrelation(d int, v Measure) float64 {
	return priorAutocorrelation[min(d, len(priorAutocorrelation)-1)][v]
}

// airDepression gives the correlation of the errors of air and depression that
// goes with the table's for air and dew point: less dew point is more
// depression.
func airDepression(d int) float64 {
	d = min(d, len(priorDewErrors)-1)
	air, dew := priorErrors[d][Air], priorDewErrors[d]
	dep := math.Sqrt(air*air + dew.error*dew.error - 2*dew.correlation*air*dew.error)
	return (air - dew.correlation*dew.error) / dep
}
