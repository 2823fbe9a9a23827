package skill

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
	"math/rand/v2"
	"time"

	"laycast/forecast"
)

// seedOf names the noise of a source's cell: not of the run, so that hourly
// fetches of one model run, whose digests differ, do not make chances jitter.
func seedOf(r *forecast.Run) uint64 {
	sum := sha256.Sum256([]byte("dress|" + r.Source + "|" + r.Cell.String()))
	return binary.LittleEndian.Uint64(sum[:8])
}

// The kinds of noise of a member.
const (
	zRain   = int(NMeasures) + iota // which members the rain comes to
	zTiming                         // how early or late its rain is
	kinds
)

// runIn is how many hours before the first the noise begins: by then the first
// value of even the slowest is forgotten but for a fifth.
const runIn = 2 * dayHours

// Noise of rain: how much it keeps from hour to hour, for which members it
// comes to (found by trial: at 0.92 too many members had a dry working day, on
// nine recorded station-years with members that were too sure) and for its
// timing, which is a member's own for days (ours).
const (
	keepRain   = 0.75
	keepTiming = 0.98
)

// rainDamp is the correlation of a member's raininess with its depression, and
// rainCool with its air: rain comes with damp, cooler air (after the plan of
// record's error model: +0.30 with the dew point, -0.10 with the air).
const (
	rainDamp = -0.35
	rainCool = -0.10
)

// noise is the noise of one member: first-order autoregressions of unit
// variance, whose innovations hang on the member and the hour alone.
type noise struct {
	first int64 // the hour (since 1970) of the first slot
	n     int
	seed  uint64
	of    [kinds][]float64
	fresh []float64 // innovations: hour by hour, all kinds together
	keep  [kinds][]float64
	mix   []float64 // correlation of air and depression, by hour
}

func newNoise(start time.Time, n int, seed uint64) *noise {
	z := &noise{first: start.Unix() / 3600, n: n, seed: seed, mix: make([]float64, n)}
	for k := range z.of {
		z.of[k], z.keep[k] = make([]float64, n), make([]float64, n)
		for i := range n {
			switch k {
			case zRain:
				z.keep[k][i] = keepRain
			case zTiming:
				z.keep[k][i] = keepTiming
			default:
				z.keep[k][i] = autocorrelation(leadDay(i), Measure(k))
			}
		}
	}
	for i := range n {
		z.mix[i] = airDepression(leadDay(i))
	}
	return z
}

// draw makes the noise of member m.
func (z *noise) draw(m int) {
	z.innovate(m)
	var now [kinds]float64
	for i := -runIn; i < z.n; i++ {
		x := z.fresh[(i+runIn)*kinds:]
		for k := range kinds {
			keep := z.keep[k][max(i, 0)]
			if i == -runIn {
				now[k] = x[k]
			} else {
				now[k] = keep*now[k] + math.Sqrt(1-keep*keep)*x[k]
			}
			if i >= 0 {
				z.of[k][i] = now[k]
			}
		}
	}
	for i := range z.n { // in step with one another
		rain, r := z.of[zRain][i], z.mix[i]
		air := rainCool*rain + math.Sqrt(1-rainCool*rainCool)*z.of[Air][i]
		// depression: correlated by r with the air, by rainDamp with the rain
		b := (rainDamp - r*rainCool) / (1 - rainCool*rainCool)
		a := (r - rainDamp*rainCool) / (1 - rainCool*rainCool)
		own := 1 - a*r - b*rainDamp
		z.of[Air][i] = air
		z.of[Depression][i] = a*air + b*rain + math.Sqrt(math.Max(0, own))*z.of[Depression][i]
	}
}

// innovate draws the fresh part of every hour, each civil day UTC from a stream
// of its own.
func (z *noise) innovate(m int) {
	from := z.first - runIn
	day := from / dayHours
	z.fresh = z.fresh[:0]
	end := z.first + int64(z.n)
	for h := day * dayHours; h < end; day, h = day+1, h+dayHours {
		rng := rand.New(rand.NewPCG(z.seed+uint64(m), uint64(day)))
		for k := h; k < h+dayHours && k < end; k++ {
			for range kinds {
				x := rng.NormFloat64()
				if k >= from {
					z.fresh = append(z.fresh, x)
				}
			}
		}
	}
}

// hoursOf gives i hours.
func hoursOf(i int) time.Duration { return time.Duration(i) * time.Hour }
