package replay

import (
	"math"
	"math/rand/v2"
)

// A shared error drawn afresh. Sums of a few recorded days are not normal: two
// days of one dry spell, or one day twice, made errors of three and a half
// standard deviations for a whole day, so that it rained from morning on while
// no member was wet (Cork, 1 June 2017: 0 of 51). Drawn errors are normal, of
// unit variance and without knowledge of the record's weather by construction;
// of the record they keep how long a measure's score lasts and how the measures
// go together.

// likeness is how the scores of a record's measures last and go together.
type likeness struct {
	slow [nScores]lasting          // what lasts for hours, as a share of the variance
	fast [nScores]lasting          // and the rest
	root [nScores][nScores]float64 // Cholesky root of the correlation of the measures
}

// lasting is a part of a score: its share of the variance, and its correlation
// from one hour to the next.
type lasting struct{ part, keep float64 }

// lastingOf splits a score in two parts that together have its correlations an
// hour, four and eight hours later. One part alone that knows the next hour
// forgets depression and wind twice too fast.
func lastingOf(score []float32) (slow, fast lasting) {
	one, four, eight := correlation(score, score, 1), correlation(score, score, 4), correlation(score, score, 8)
	if eight <= 0 || four <= eight {
		return lasting{1, one}, lasting{}
	}
	slow.keep = math.Pow(eight/four, 1.0/4)
	slow.part = min(1, four/math.Pow(slow.keep, 4))
	fast.part = 1 - slow.part
	if fast.part > 0 {
		fast.keep = max(0, min(0.99, (one-slow.part*slow.keep)/fast.part))
	}
	return slow, fast
}

// likenessOf measures it over the whole year.
func likenessOf(c *climate) likeness {
	var x likeness
	var together [nScores][nScores]float64
	for a := range nScores {
		together[a][a] = 1
		if c.score[a] == nil {
			continue
		}
		x.slow[a], x.fast[a] = lastingOf(c.score[a])
		for b := range a {
			if c.score[b] != nil {
				together[a][b] = correlation(c.score[a], c.score[b], 0)
			}
		}
	}
	for a := range nScores {
		for b := 0; b <= a; b++ {
			sum := together[a][b]
			for k := range b {
				sum -= x.root[a][k] * x.root[b][k]
			}
			if a == b {
				x.root[a][a] = math.Sqrt(math.Max(sum, 1e-6))
			} else {
				x.root[a][b] = sum / x.root[b][b]
			}
		}
	}
	return x
}

// correlation gives that of a with b so many hours later.
func correlation(a, b []float32, later int) float64 {
	var ma, mb, aa, bb, ab float64
	n := float64(len(a) - later)
	for i := range len(a) - later {
		ma, mb = ma+float64(a[i])/n, mb+float64(b[i+later])/n
	}
	for i := range len(a) - later {
		x, y := float64(a[i])-ma, float64(b[i+later])-mb
		aa, bb, ab = aa+x*x, bb+y*y, ab+x*y
	}
	return ab / math.Sqrt(aa*bb)
}

// drawnShared gives the shared error of a run that starts at the hour first
// (since 1970), by measure and lead-1, for n leads: each civil day UTC brings a
// series of its own, and the run takes them by weights, newest first, of which
// the first is tomorrow's.
func (s *Source) drawnShared(first int64, n int, weights []float64) (out [nScores][]float64) {
	const dayHours = 24
	for v := range out {
		out[v] = make([]float64, n)
	}
	today := int(math.Floor(float64(first) / dayHours))
	for j, weight := range weights {
		if weight == 0 {
			continue
		}
		day := today + 1 - j
		rng := stream(s.opt.Seed, "drawn", s.opt.ID, day)
		begin := int64(day-1) * dayHours // tomorrow's series must reach back over today
		slow, fast := s.likeness.series(rng, s.likeness.slow), s.likeness.series(rng, s.likeness.fast)
		for h := begin; h <= first+int64(n); h++ {
			x, y := slow(), fast()
			for v := range x {
				if k := h - first; k >= 1 {
					out[v][k-1] += weight * (x[v] + y[v])
				}
			}
		}
	}
	return out
}

// series gives one part of all measures, an hour at each call.
func (x *likeness) series(rng *rand.Rand, of [nScores]lasting) func() [nScores]float64 {
	var now [nScores]float64
	begun := false
	return func() (out [nScores]float64) {
		var fresh [nScores]float64
		for v := range fresh {
			fresh[v] = rng.NormFloat64()
		}
		for v := range now {
			drawn := 0.0
			for k := 0; k <= v; k++ {
				drawn += x.root[v][k] * fresh[k]
			}
			if keep := of[v].keep; begun {
				drawn = keep*now[v] + math.Sqrt(1-keep*keep)*drawn
			}
			now[v] = drawn
			out[v] = math.Sqrt(of[v].part) * drawn
		}
		begun = true
		return out
	}
}
