package skill

import (
	"math"
	"slices"

	"laycast/forecast"
)

// chanceOfRain gives the chance of a wet hour at a lead (hours), from the wet
// share and what came of such shares.
func (s *Stats) chanceOfRain(lead, share float64) float64 {
	if share != share {
		return math.NaN()
	}
	d, w := between(lead)
	w = towards(math.Max(w, 0), weightOf(s.Rain[d][:]), weightOf(s.Rain[d+1][:]))
	return (1-w)*s.mapped(d, share) + w*s.mapped(d+1, share)
}

// mapped reads the hit table of one lead day: made monotone (pooling classes
// that contradict the order), then straight lines between their means.
func (s *Stats) mapped(d int, share float64) float64 {
	var pools [rainClasses]Hits
	n := 0
	for _, h := range s.Rain[d] {
		pools[n] = h
		n++
		for n > 1 && pools[n-2].Wet > pools[n-1].Wet {
			pools[n-2] = pooled(pools[n-2], pools[n-1])
			n--
		}
	}
	if share <= pools[0].Share {
		return pools[0].Wet
	}
	for k := 1; k < n; k++ {
		if a, b := pools[k-1], pools[k]; share <= b.Share {
			return a.Wet + (b.Wet-a.Wet)*(share-a.Share)/(b.Share-a.Share)
		}
	}
	return pools[n-1].Wet
}

func weightOf(hs []Hits) (w float64) {
	for _, h := range hs {
		w += h.Weight
	}
	return w
}

func pooled(a, b Hits) Hits {
	w := a.Weight + b.Weight
	return Hits{w, (a.Weight*a.Share + b.Weight*b.Share) / w, (a.Weight*a.Wet + b.Weight*b.Wet) / w}
}

// rainDresser deals the rain out to members. Each has its parent's rain,
// shifted by its own timing error; where that makes more or fewer members wet
// than the statistics say, the least rainy of the wet become dry or the
// rainiest of the dry become wet, by a noise that lasts for hours, so that
// rain comes and goes in spells. No rain is added to rain.
type rainDresser struct {
	d    *dresser
	rank []float32 // member m's raininess in hour i stands at i*members+m
	rain []float32 // its parent's rain, shifted; the same order
}

func newRainDresser(d *dresser) *rainDresser {
	if d.raw.Cols[forecast.Rain] == nil {
		return &rainDresser{}
	}
	n := d.n * d.members
	return &rainDresser{d: d, rank: make([]float32, n), rain: make([]float32, n)}
}

// take notes the parent's rain for member m.
func (r *rainDresser) take(m int, z *noise) {
	if r.d == nil {
		return
	}
	raw := r.d.raw
	for i := range r.d.n {
		shift := int(math.Round(timingSD(float64(i)) * z.of[zTiming][i]))
		from := min(max(i+shift, 0), raw.N-1)
		mm := raw.At(forecast.Rain, m%raw.Members, from)
		if !forecast.Known(raw.At(forecast.Rain, m%raw.Members, i)) {
			mm = forecast.Unknown()
		}
		r.rain[i*r.d.members+m] = mm
		r.rank[i*r.d.members+m] = float32(z.of[zRain][i])
	}
}

// settle decides hour by hour who is wet.
func (r *rainDresser) settle() {
	if r.d == nil {
		return
	}
	order := make([]uint64, 0, r.d.members)
	for i := range r.d.n {
		at := i * r.d.members
		rain, rank := r.rain[at:at+r.d.members], r.rank[at:at+r.d.members]
		order = order[:0]
		for m, mm := range rain {
			if forecast.Known(mm) {
				order = append(order, dryness(mm >= wetLeast, rank[m], m))
			}
		}
		slices.Sort(order)
		r.hour(i, order, rain)
	}
}

// dryness packs a member so that the wet come before the dry, of each the
// rainiest first. The rank's bits sort as its value does once a negative one's
// are turned over (IEEE 754); the member stands in the lowest bits.
func dryness(wet bool, rank float32, m int) uint64 {
	bits := uint64(math.Float32bits(-rank))
	if bits>>31 == 1 {
		bits ^= 1<<32 - 1
	} else {
		bits |= 1 << 31
	}
	key := bits<<memberBits | uint64(m)
	if !wet {
		key |= 1 << 63
	}
	return key
}

const memberBits = 16

// hour gives rain to as many members as the chance says, in their order.
func (r *rainDresser) hour(i int, order []uint64, rain []float32) {
	chance := r.d.wet[i]
	if chance != chance {
		return // left unknown
	}
	member := func(k int) int { return int(order[k] & (1<<memberBits - 1)) }
	quota := int(math.Round(chance * float64(len(order))))
	added := 0
	for k := range order {
		if k < quota && rain[member(k)] < wetLeast {
			added++
		}
	}
	for k := range order {
		m := member(k)
		mm, wet := float64(rain[m]), rain[m] >= wetLeast
		switch {
		case k >= quota && wet:
			mm = 0
		case k < quota && !wet:
			below := (float64(quota-k) - 0.5) / float64(added)
			mm = r.d.stats.amount(below)
			r.overcast(m, i)
		}
		r.d.out.Cols[forecast.Rain][m*r.d.n+i] = float32(mm)
	}
}

// amount gives the rain (mm) below which a share of wet hours lie.
func (s *Stats) amount(share float64) float64 {
	var total float64
	for _, w := range s.Amounts {
		total += w
	}
	left := share * total
	for a, w := range s.Amounts {
		if left <= w && w > 0 {
			return amountEdges[a] + (amountEdges[a+1]-amountEdges[a])*left/w
		}
		left -= w
	}
	return amountEdges[amountClasses]
}

// rainCloud is the cloud (%) under which an added rain falls; no source.
const rainCloud = 95

// overcast draws cloud over a member that got rain which its parent had not,
// and takes the sun away as that cloud would: global radiation under a cover n
// is 1 - 0.75 n^3.4 of that of a clear sky (Kasten and Czeplak 1980, from
// memory).
func (r *rainDresser) overcast(m, i int) {
	at := m*r.d.n + i
	through := func(pct float64) float64 { return 1 - 0.75*math.Pow(pct/100, 3.4) }
	before := 50.0 // %, where the cover is not told: no source
	if col := r.d.out.Cols[forecast.Cloud]; col != nil && forecast.Known(col[at]) {
		before = math.Min(float64(col[at]), rainCloud)
		col[at] = float32(math.Max(float64(col[at]), rainCloud))
	}
	if col := r.d.out.Cols[forecast.Solar]; col != nil {
		col[at] *= float32(through(rainCloud) / through(before))
	}
}
