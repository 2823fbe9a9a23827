package job

import (
	"fmt"
	"math"
)

// Shape is a roof seen from above: a rectangle, or an L, which is a rectangle
// without one corner. Lengths are metres. The zero Shape is not known.
type Shape struct {
	WidthM       float64 `json:"width_m"`
	LengthM      float64 `json:"length_m"`
	NotchWidthM  float64 `json:"notch_width_m,omitempty"` // of the corner that an L leaves out
	NotchLengthM float64 `json:"notch_length_m,omitempty"`
}

// IsZero reports whether the shape is not known.
func (s Shape) IsZero() bool { return s == Shape{} }

// L reports whether a corner is left out.
func (s Shape) L() bool { return s.NotchWidthM > 0 && s.NotchLengthM > 0 }

// AreaM2 gives the area.
func (s Shape) AreaM2() float64 { return s.WidthM*s.LengthM - s.NotchWidthM*s.NotchLengthM }

// String gives the shape as an import writes it in a cell: 5x4, or 5x4-2x1.5
// for an L; "" where it is not known.
func (s Shape) String() string {
	switch {
	case s.IsZero():
		return ""
	case s.L():
		return fmt.Sprintf("%.4gx%.4g-%.4gx%.4g", s.WidthM, s.LengthM, s.NotchWidthM, s.NotchLengthM)
	}
	return fmt.Sprintf("%.4gx%.4g", s.WidthM, s.LengthM)
}

// shapeSlack is the share by which a shape's area may miss the area that was
// given for the roof: sides are measured to some centimetres. A guess.
const shapeSlack = 0.05

// checkShape says what is wrong with a roof's shape.
func (r Roof) checkShape() error {
	s := r.Shape
	switch {
	case s.IsZero():
		return nil
	case (s.NotchWidthM > 0) != (s.NotchLengthM > 0):
		return fmt.Errorf("an L needs both notch_width_m and notch_length_m, the sides of the corner that it leaves out")
	case s.NotchWidthM >= s.WidthM || s.NotchLengthM >= s.LengthM:
		return fmt.Errorf("the corner left out, %.4g by %.4g m, must be smaller than the whole, %.4g by %.4g m", s.NotchWidthM, s.NotchLengthM, s.WidthM, s.LengthM)
	case r.AreaM2 > 0 && math.Abs(s.AreaM2()-r.AreaM2) > shapeSlack*r.AreaM2:
		return fmt.Errorf("this shape has %.4g m², but area_m2 says %.4g; mend one of them", s.AreaM2(), r.AreaM2)
	}
	return nil
}

// shape reads a roof's shape.
func (o *object) shape() Shape {
	var s Shape
	side := func(key string, required bool) float64 {
		v, _ := o.number(key, required, 0.1, 1000, "a side of a roof; give metres from 0.1 to 1000")
		return v
	}
	s.WidthM, s.LengthM = side("width_m", required), side("length_m", required)
	s.NotchWidthM, s.NotchLengthM = side("notch_width_m", optional), side("notch_length_m", optional)
	o.done()
	if s.WidthM == 0 || s.LengthM == 0 {
		return Shape{} // complained about
	}
	return s
}

// NewBoards reports whether the work lays new boards.
func (r Roof) NewBoards() bool {
	return r.Work == Overboard || r.Work == Replace && r.Deck != OldBoard
}

// Primed reports whether the work goes onto an old surface that must be
// prepared and primed: sound laminate, or a slab.
func (r Roof) Primed() bool { return r.Work == Relaminate || r.Work == Balcony }
