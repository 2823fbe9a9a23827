package plan

import (
	"math"
	"slices"
)

// Worth says what the parts of a plan are worth.
type Worth struct {
	Jobs []Price   // by job of the input: what it adds over the best plan without it
	Days [][]Price // by crew and day: what the plan loses when the crew cannot come; 0 where no work stands on the day
}

const (
	// exactWork is how much may be planned again for Worth, in columns; some
	// tens of milliseconds. Above, the prices have to do.
	exactWork = 10_000
	// worthRounds is how many rounds the prices are given to settle.
	worthRounds = 200
)

// Value says what each job of a plan adds and what each crew's day is worth. For
// small problems everything is planned again with the change; for others it is
// read from the prices, which is a bound: at least so much (Price.Least), where
// the figure found is no more than what the plan itself earns there. A
// day with frozen or pinned work on it has no price: the crew has to come.
func Value(in Input, pl Plan) Worth {
	in.Days = max(0, min(in.Days, MaxDays))
	w := Worth{Jobs: make([]Price, len(in.Jobs)), Days: make([][]Price, len(in.Crews))}
	for i := range w.Jobs {
		w.Jobs[i].Exact = true // what is left out adds nothing
	}
	for k := range w.Days {
		w.Days[k] = make([]Price, in.Days)
		for d := range w.Days[k] {
			w.Days[k][d].Exact = true // nor does a day with no work on it
		}
	}
	p := newProblem(&in)
	work := 0
	for _, v := range pl.Placings {
		work += 1 + len(v.Days)
	}
	if work*p.model.cols.len() <= exactWork {
		w.again(in, pl)
	} else {
		w.priced(p, pl)
	}
	return w
}

// again plans again without each job placed and without each day worked.
func (w *Worth) again(in Input, pl Plan) {
	for _, v := range pl.Placings {
		i, k := in.at(v)
		w.Jobs[i] = pl.over(Solve(in.changed(i, func(j *Job) { j.Fixed, j.Pin, j.Ways = nil, nil, nil })))
		for _, d := range v.Days {
			if in.bound(pl, k, d) {
				continue
			}
			other := in
			other.Crews = slices.Clone(in.Crews)
			off := make([]bool, in.Days)
			copy(off, other.Crews[k].Off)
			off[d] = true
			other.Crews[k].Off = off
			w.Days[k][d] = pl.over(Solve(other))
		}
	}
}

// priced reads what jobs and days are worth from the prices. Without a job, the
// bound is lower by its price; without a crew's day, by what the best path loses
// that must do without it. The plan falls at least as far, but for the gap that
// is between it and the bound.
func (w *Worth) priced(p *problem, pl Plan) {
	pins := int64(0)
	for _, v := range pl.Placings {
		if i, _ := p.in.at(v); p.pin(i) != nil {
			pins++
		}
	}
	gain := pl.Objective - p.base - p.frozenAt + pins*p.bonus
	q := newPrices(p.model, p.model.guess())
	q.improve(worthRounds, gain)
	gap := max(0, q.whole().gain-gain) + 1 // a cent for the rounding of prices
	days := q.crewDays()
	class := make([]int, len(p.in.Crews))
	for k, c := range p.classes {
		for _, i := range c.crews {
			class[i] = k
		}
	}
	for _, v := range pl.Placings {
		i, k := p.in.at(v)
		price := int64(q.best[i])
		switch {
		case p.in.Jobs[i].Fixed != nil:
			w.Jobs[i] = Price{Cents: v.Gain, Least: math.MinInt64}
		case p.in.Jobs[i].Pin != nil:
			w.Jobs[i] = Price{Cents: v.Gain, Least: price - p.bonus - gap}
		default:
			w.Jobs[i] = Price{Cents: min(price, v.Gain), Least: price - gap}
		}
		for _, d := range v.Days {
			if p.in.bound(pl, k, d) {
				continue
			}
			day := days[class[k]][d]
			w.Days[k][d] = Price{Cents: day, Least: day - gap}
		}
	}
}

// bound reports whether frozen or pinned work stands on a crew's day: the crew
// has to come, and the day has no price.
func (in *Input) bound(pl Plan, crew, d int) bool {
	for _, v := range pl.Placings {
		if i, k := in.at(v); k == crew && (in.Jobs[i].Fixed != nil || in.Jobs[i].Pin != nil) && slices.Contains(v.Days, d) {
			return true
		}
	}
	return false
}

// at gives the places of a placing's job and crew in the input.
func (in *Input) at(v Placing) (j, k int) {
	j = slices.IndexFunc(in.Jobs, func(j Job) bool { return j.ID == v.Job })
	k = slices.IndexFunc(in.Crews, func(c Crew) bool { return c.ID == v.Crew })
	return j, k
}

// crewDays gives by class and day what the best path of a crew loses, at the
// best prices, when the crew does not work on the day; in cents, rounded down.
func (q *prices) crewDays() [][]int64 {
	m, price := q.m, q.best
	stride := m.days + 1
	out := make([][]int64, len(m.crews))
	value, ahead := make([]float64, stride), make([]float64, stride)
	for k := range m.crews {
		clear(value)
		clear(ahead)
		worth := func(c int32) float64 {
			return float64(m.cols.gain[c]) - price[m.cols.a[c]] - price[m.cols.b[c]]
		}
		for d := m.days - 1; d >= 0; d-- {
			value[d] = value[d+1]
			for c := m.from[k*stride+d]; c < m.from[k*stride+d+1]; c++ {
				value[d] = max(value[d], worth(c)+value[m.cols.last[c]+1])
			}
		}
		out[k] = make([]int64, m.days)
		for d := range m.days {
			ahead[d+1] = max(ahead[d+1], ahead[d])
			for c := m.from[k*stride+d]; c < m.from[k*stride+d+1]; c++ {
				end := m.cols.last[c] + 1
				ahead[end] = max(ahead[end], ahead[d]+worth(c))
			}
		}
		for d := range m.days {
			out[k][d] = int64(max(0, value[0]-ahead[d]-value[d+1]))
		}
	}
	return out
}
