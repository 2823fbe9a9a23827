package forecast

import (
	"math"
	"time"
)

// Readings are one place's weather as a decoder has read it: in the units of
// Var and shifted to whole hours, but neither checked nor mended. NaN is "not
// known".
type Readings struct {
	Start   time.Time // start of slot 0: a whole hour, UTC
	N       int       // slots
	Members int
	// At holds what is read at moments, by measure and member: N+1 readings at
	// the ends of the slots. In holds what is told of whole slots: N values. A
	// measure stands in one of the two; nil is a measure that is not there.
	At, In [NVars][][]float64
	// Night says of each slot whether it lies wholly between sunset and sunrise;
	// nil where the source does not tell.
	Night []bool
}

var nan = math.NaN()

// known reports whether x is known.
func known(x float64) bool { return x == x }

// Unread gives n readings that are not known.
func Unread(n int) []float64 {
	col := make([]float64, n)
	for i := range col {
		col[i] = nan
	}
	return col
}

// column gives a member's column of v, of N+1 or of N values; nil where there
// is none.
func (r *Readings) column(v Var, m int) []float64 {
	for _, cols := range [][][]float64{r.At[v], r.In[v]} {
		if m < len(cols) && cols[m] != nil {
			return cols[m]
		}
	}
	return nil
}

// put sets a member's column: of N+1 values into At, of N into In.
func (r *Readings) put(v Var, m int, col []float64) {
	to := &r.In
	if len(col) == r.N+1 {
		to = &r.At
	}
	for len(to[v]) <= m {
		to[v] = append(to[v], nil)
	}
	to[v][m] = col
}

// drop forgets a member's column.
func (r *Readings) drop(v Var, m int) {
	for _, cols := range [][][]float64{r.At[v], r.In[v]} {
		if m < len(cols) {
			cols[m] = nil
		}
	}
}

// slot gives the value of v for member m in slot i: that of the slot, or the
// mean of the readings at its two ends; NaN where either is not known.
func (r *Readings) slot(v Var, m, i int) float64 {
	switch col := r.column(v, m); len(col) {
	case 0:
		return nan
	case r.N + 1:
		return (col[i] + col[i+1]) / 2
	default:
		return col[i]
	}
}

// Hours makes hours of readings: it checks and mends them (telling n), averages
// over both ends what was read at moments, once, and then mends the slots. An
// hour without one of air, dew point, rain and wind becomes wholly unknown. The
// readings are changed.
func (r *Readings) Hours(n *Notes) Hours {
	h := r.Loose(n)
	for m := range h.Members {
		for i := range h.N {
			mendSlot(h, m*h.N+i, r.Night != nil && r.Night[i], n)
		}
	}
	return h
}

// Loose makes hours as Hours does, but leaves each measure to itself: nothing
// becomes unknown for want of another, and no gust is estimated.
func (r *Readings) Loose(n *Notes) Hours {
	all := make([]Var, NVars)
	for v := range all {
		all[v] = Var(v)
	}
	h := NewHours(r.Start, r.N, r.Members, all...)
	for m := range r.Members {
		for _, v := range all {
			r.bound(v, m, n)
		}
		r.humidity(m, n)
		r.gusts(m, n)
		for _, v := range all {
			for i := range h.N {
				h.Cols[v][m*h.N+i] = float32(r.slot(v, m, i))
			}
		}
	}
	return h
}
