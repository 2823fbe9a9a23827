package replay

import (
	"fmt"
	"math"
	"testing"
	"time"
)

// The shared error of two seasons' morning runs, twenty times over: of unit
// variance, as rarely far out as a normal is, and without knowledge of the
// record.
func TestDrawnErrorsAreNormalAndKnowNothing(t *testing.T) {
	rec := inventedYear(1)
	for _, v := range []int{sAir, sDep, sWind, sRain} {
		var n, sum, square, far, with float64
		for seed := range uint64(20) {
			s, err := New(rec, Options{Seed: seed, Drawn: true, Members: 1})
			if err != nil {
				t.Fatal(err)
			}
			for d := 0; d < 168; d += 4 { // errors of runs four days apart hardly know of each other
				start := time.Date(2027, 3, 1, 3, 0, 0, 0, time.UTC).AddDate(0, 0, d)
				_, weights := s.sharedOffsets(start)
				g := s.drawnShared(start.Unix()/3600, 24, weights)[v]
				for k, x := range g {
					z := float64(s.climate.score[v][hourOfYear(start.Add(time.Duration(k+1)*time.Hour))])
					n, sum, square, with = n+1, sum+x, square+x*x, with+x*z
					if math.Abs(x) > 3 { // a normal is so in 0.27 % of cases
						far++
					}
				}
			}
		}
		mean := sum / n
		if sd := math.Sqrt(square/n - mean*mean); math.Abs(sd-1) > 0.1 || math.Abs(mean) > 0.1 || far/n > 0.01 || math.Abs(with/n) > 0.12 {
			t.Errorf("measure %d: mean %.3f, sd %.3f, beyond 3 %.4f, with the record %.3f", v, mean, sd, far/n, with/n)
		}
	}
}

// A drawn error lasts as long as what the record's score tells: eight hours on,
// it is remembered as well, within what 300 runs leave to luck.
func TestDrawnErrorsLastAsTheRecordDoes(t *testing.T) {
	const later = 8
	s, err := New(inventedYear(1), Options{Seed: 3, Drawn: true, Members: 1})
	if err != nil {
		t.Fatal(err)
	}
	var first, second [nScores][]float32
	for d := range 300 {
		start := time.Date(2027, 1, 1, 3, 0, 0, 0, time.UTC).AddDate(0, 0, 4*d)
		_, weights := s.sharedOffsets(start)
		for v, g := range s.drawnShared(start.Unix()/3600, 24, weights) {
			first[v], second[v] = append(first[v], float32(g[10])), append(second[v], float32(g[10+later]))
		}
	}
	for _, v := range []int{sAir, sDep, sWind, sRain} {
		got, want := correlation(first[v], second[v], 0), correlation(s.climate.score[v], s.climate.score[v], later)
		if math.Abs(got-want) > 0.15 {
			t.Errorf("measure %d: %d hours on it keeps %.2f, the record %.2f", v, later, got, want)
		}
	}
}

func TestTruthIsOneMoreMemberOfDrawnErrors(t *testing.T) {
	for seed := range uint64(2) {
		t.Run(fmt.Sprint("seed ", seed+1), func(t *testing.T) {
			got := judgeYear(t, inventedYear(seed+1), Options{Seed: seed + 7, Drawn: true})
			flat(t, got)
			climateAgrees(t, got)
		})
	}
}
