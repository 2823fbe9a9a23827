package forecast

import "math"

// maxCode bounds a quantised value: beyond it a value is no weather, and a
// float32 would no longer hold the code exactly.
const maxCode = 1 << 20

// unknownCode stands for "not known" among the codes.
const unknownCode = math.MinInt32

// perUnit says how many steps a measure's unit is cut into: 0.01 for °C, mm and
// m/s, 0.1 for %, W/m² and hPa. Sources give one or two decimals, and the mean
// of two readings of one decimal needs a second one.
func perUnit(v Var) float64 {
	switch v {
	case RH, Cloud, Solar, Pressure, RainChance:
		return 10
	default:
		return 100
	}
}

// code gives the step that x falls on, or unknownCode.
func code(v Var, x float32) int32 {
	c := math.Round(float64(x) * perUnit(v))
	if !(math.Abs(c) <= maxCode) { // also when c is NaN
		return unknownCode
	}
	return int32(c)
}

// value gives the value of a step. value(code(x)) is a fixed point: it codes to
// itself.
func value(v Var, c int32) float32 {
	if c == unknownCode {
		return unknown
	}
	return float32(float64(c) / perUnit(v))
}

// Quantise gives the hours as they come back from Pack and Unpack: values
// rounded to the step of their measure (0.01 °C, mm and m/s; 0.1 %, W/m² and
// hPa), values that are no weather at all (infinite, beyond a million steps)
// unknown, and columns that know nothing left out. It is applied once, behind
// a decoder, so that a fresh run and a stored one give the same verdicts.
// The argument is not changed.
func Quantise(h Hours) Hours {
	out := Hours{Start: h.Start, N: h.N, Members: h.Members}
	for v := range h.Cols {
		out.Cols[v] = quantiseColumn(Var(v), h.Cols[v])
	}
	return out
}

// quantiseColumn rounds one column; nil when nothing in it is known.
func quantiseColumn(v Var, col []float32) []float32 {
	out, knows := make([]float32, len(col)), false
	for i, x := range col {
		out[i] = value(v, code(v, x))
		knows = knows || Known(out[i])
	}
	if !knows {
		return nil
	}
	return out
}
