package load

import (
	"fmt"
	"math"
	"strings"

	"laycast/job"
)

// Strip is one strip of mat: a rectangle on the roof, whose edges run along the
// width (X) and the length (Y) of its shape, in metres from the corner that
// lies across from the notch of an L. What of it lies over the notch is cut
// away.
type Strip struct{ X, Y, W, L float64 }

// Plan is how the mat's strips lie on a roof.
type Plan struct {
	Shape  job.Shape
	Across bool    // the strips run along the width; else along the length
	Lap    float64 // m, the least by which neighbours overlap
	Strips []Strip
	LaidM2 float64 // glass that lies on the roof, laps counted twice
	RunM   float64 // length cut off the roll
}

// shapeOf gives the roof's shape; where it is not told, a near square of its
// area is assumed.
func shapeOf(r job.Roof) (s job.Shape, assumed bool) {
	if !r.Shape.IsZero() {
		return r.Shape, false
	}
	w := math.Max(math.Round(math.Sqrt(r.AreaM2)*10)/10, 0.1)
	return job.Shape{WidthM: w, LengthM: r.AreaM2 / w}, true
}

// sides says how large a shape is: "4.5 by 4.4 m".
func sides(s job.Shape) string {
	t := fmt.Sprintf("%.2f by %.2f m", s.WidthM, s.LengthM)
	if s.L() {
		t += fmt.Sprintf(" without a corner of %.2f by %.2f m", s.NotchWidthM, s.NotchLengthM)
	}
	return t
}

// turned swaps width and length.
func turned(s job.Shape) job.Shape {
	return job.Shape{WidthM: s.LengthM, LengthM: s.WidthM, NotchWidthM: s.NotchLengthM, NotchLengthM: s.NotchWidthM}
}

// bayShape gives the shape of the bay that comes after `done` of the roof and
// takes `share` of it (both shares of the area): roofs are cut across their
// longer side, from the side away from an L's notch. A bay after the first laps
// onto the one before it.
func (m Materials) bayShape(s job.Shape, done, share float64) job.Shape {
	if s.WidthM > s.LengthM {
		return turned(m.bayShape(turned(s), done, share))
	}
	if done <= 0 && share >= 1 {
		return s
	}
	from, to := along(s, done*s.AreaM2()), along(s, math.Min(done+share, 1)*s.AreaM2())
	if done > 0 {
		from = math.Max(from-m.NightLap, 0)
	}
	narrow := s.LengthM - s.NotchLengthM // from here on an L is as wide as its notch leaves it
	switch {
	case !s.L() || to <= narrow:
		return job.Shape{WidthM: s.WidthM, LengthM: to - from}
	case from >= narrow:
		return job.Shape{WidthM: s.WidthM - s.NotchWidthM, LengthM: to - from}
	}
	return job.Shape{WidthM: s.WidthM, LengthM: to - from, NotchWidthM: s.NotchWidthM, NotchLengthM: to - narrow}
}

// along gives how far along its length a shape has so much area before it.
func along(s job.Shape, area float64) float64 {
	wide := s.WidthM * (s.LengthM - s.NotchLengthM)
	if !s.L() || area <= wide {
		return math.Min(area/s.WidthM, s.LengthM)
	}
	return math.Min(s.LengthM-s.NotchLengthM+(area-wide)/(s.WidthM-s.NotchWidthM), s.LengthM)
}

// stripWorth is how many metres of roll a strip the fewer is worth: each is one
// more to cut, wet and roll out along its lap. A guess.
const stripWorth = 0.5

// strips lays the mat out in the direction that takes less of the roll, strips
// counted in; along the length where both are equal.
func (m Materials) strips(s job.Shape) Plan {
	cost := func(p Plan) float64 { return p.RunM + stripWorth*float64(len(p.Strips)) }
	a, b := m.layout(s, false), m.layout(s, true)
	if cost(b) < cost(a)-1e-9 {
		return b
	}
	return a
}

// layout lays strips side by side, each one lap over the one before it. A last
// one that would be too narrow to handle is laid wider, and laps the more.
func (m Materials) layout(s job.Shape, across bool) Plan {
	p := Plan{Shape: s, Across: across, Lap: math.Inf(1)}
	if across {
		s = turned(s)
	}
	notch := s.WidthM - s.NotchWidthM
	end := 0.0 // of the strip before
	for at := 0.0; ; {
		last := at+m.MatWidth >= s.WidthM-1e-9
		if last {
			at = math.Max(0, math.Min(at, s.WidthM-m.LeastStrip))
		}
		st := Strip{X: at, W: math.Min(m.MatWidth, s.WidthM-at), L: s.LengthM}
		if s.L() && at >= notch-1e-9 {
			st.L = s.LengthM - s.NotchLengthM
		}
		cut := 0.0
		if s.L() && st.L == s.LengthM {
			cut = math.Max(0, at+st.W-notch) * s.NotchLengthM
		}
		p.LaidM2 += st.W*st.L - cut
		p.RunM += m.cutLength(st.L)
		if end > 0 {
			p.Lap = math.Min(p.Lap, end-at)
		}
		end = at + st.W
		if across {
			st = Strip{X: 0, Y: st.X, W: st.L, L: st.W}
		}
		p.Strips = append(p.Strips, st)
		if last {
			return p
		}
		at += m.MatWidth - m.Lap
	}
}

// cutLength gives the metres of roll that a strip takes: one that is longer
// than the roll is joined end to end with a lap.
func (m Materials) cutLength(l float64) float64 {
	if l <= m.MatRoll {
		return l
	}
	pieces := math.Ceil((l - m.Lap) / (m.MatRoll - m.Lap))
	return l + (pieces-1)*m.Lap
}

// span gives where a strip begins across the plan, how wide and how long it is.
func (p Plan) span(s Strip) (at, wide, long float64) {
	if p.Across {
		return s.Y, s.L, s.W
	}
	return s.X, s.W, s.L
}

// Words tells the plan to a crew, a sentence each.
func (p Plan) Words() []string {
	if len(p.Strips) == 0 {
		return nil
	}
	run := "length"
	if p.Across {
		run = "width"
	}
	out := []string{fmt.Sprintf("The mat on %s: %s along the %s.", sides(p.Shape), counted(len(p.Strips), "strip"), run)}
	var at, lengths []string
	for i, s := range p.Strips {
		from, wide, long := p.span(s)
		at = append(at, fmt.Sprintf("%.2f", from))
		if i == 0 || fmt.Sprintf("%.2f", long) != lengths[len(lengths)-1] {
			lengths = append(lengths, fmt.Sprintf("%.2f", long))
		}
		if i == len(p.Strips)-1 && i > 0 {
			out = append(out, fmt.Sprintf("They begin at %s m from the first edge; the last is %.2f m wide.", strings.Join(at, ", "), wide))
		}
	}
	out = append(out, fmt.Sprintf("They are %s m long.", strings.Join(lengths, ", then ")))
	if len(p.Strips) > 1 {
		// rounded down: what is promised is had
		out = append(out, fmt.Sprintf("Each lies at least %.0f mm over its neighbour.", math.Floor(p.Lap*1000+1e-6)))
	}
	if p.Shape.L() {
		out = append(out, "What lies over the corner left out is cut away.")
	}
	return out
}

func counted(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
