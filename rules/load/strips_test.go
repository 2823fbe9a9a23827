package load

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"laycast/job"
)

// gaps walks lines across a roof, at right angles to the strips, and says where
// the strips leave the roof bare or overlap by less than 50 mm. It knows
// nothing of how they were laid.
func gaps(p Plan) (worst float64) {
	s := p.Shape
	type span struct{ from, to float64 }
	strips := make([]Strip, len(p.Strips))
	copy(strips, p.Strips)
	if p.Across { // look at it turned, so that the strips run along y
		s = turned(s)
		for i, x := range strips {
			strips[i] = Strip{X: x.Y, Y: x.X, W: x.L, L: x.W}
		}
	}
	worst = math.Inf(1)
	levels := []float64{0, s.LengthM / 3, s.LengthM - s.NotchLengthM - 1e-6, s.LengthM - s.NotchLengthM + 1e-6, s.LengthM - 1e-6}
	for _, y := range levels {
		if y < 0 || y >= s.LengthM {
			continue
		}
		end := s.WidthM
		if y > s.LengthM-s.NotchLengthM {
			end -= s.NotchWidthM
		}
		var on []span
		for _, x := range strips {
			if x.Y <= y && y <= x.Y+x.L && x.X < end {
				on = append(on, span{x.X, x.X + x.W})
			}
		}
		slices.SortFunc(on, func(a, b span) int { return int(math.Copysign(1, a.from-b.from)) })
		if len(on) == 0 || on[0].from > 1e-9 || on[len(on)-1].to < end-1e-6 {
			return -1
		}
		for i := 1; i < len(on); i++ {
			if on[i-1].to < end-1e-9 { // what is past the edge needs no neighbour
				worst = math.Min(worst, on[i-1].to-on[i].from)
			}
		}
	}
	return worst
}

func TestNoLapUnder50mm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := job.Shape{WidthM: rapid.Float64Range(0.1, 40).Draw(t, "width"), LengthM: rapid.Float64Range(0.1, 40).Draw(t, "length")}
		if rapid.Bool().Draw(t, "L") {
			s.NotchWidthM = s.WidthM * rapid.Float64Range(0.02, 0.98).Draw(t, "notch width")
			s.NotchLengthM = s.LengthM * rapid.Float64Range(0.02, 0.98).Draw(t, "notch length")
		}
		m := BuiltIn()
		for _, p := range []Plan{m.strips(s), m.layout(s, false), m.layout(s, true)} {
			w := gaps(p)
			if w < 0.05-1e-9 {
				t.Fatalf("%s across=%v: a lap of %g m: %v", sides(s), p.Across, w, p.Strips)
			}
			if len(p.Strips) > 1 && p.Lap < 0.05-1e-9 {
				t.Fatalf("%s: says a lap of %g", sides(s), p.Lap)
			}
			for _, x := range p.Strips {
				_, wide, _ := p.span(x)
				if wide > 1+1e-9 || len(p.Strips) > 1 && wide < 0.3-1e-9 {
					t.Fatalf("%s: a strip %g m wide", sides(s), wide)
				}
			}
			if p.LaidM2 < s.AreaM2()-1e-6 || p.RunM < p.LaidM2-1e-6 {
				t.Fatalf("%s: %g m² laid from %g m of roll on %g m²", sides(s), p.LaidM2, p.RunM, s.AreaM2())
			}
		}
		bay := m.bayShape(s, rapid.Float64Range(0, 0.9).Draw(t, "done"), rapid.Float64Range(0.05, 1).Draw(t, "share"))
		if w := gaps(m.strips(bay)); w < 0.05-1e-9 {
			t.Fatalf("bay %s: a lap of %g m", sides(bay), w)
		}
	})
}

// The checker must be able to find a fault.
func TestGapsFindsMadeUpFaults(t *testing.T) {
	s := job.Shape{WidthM: 1.9, LengthM: 3}
	for _, c := range []struct {
		strips []Strip
		worst  float64
	}{
		{[]Strip{{0, 0, 1, 3}, {0.95, 0, 0.95, 3}}, 0.05},
		{[]Strip{{0, 0, 1, 3}, {0.96, 0, 0.94, 3}}, 0.04},
		{[]Strip{{0, 0, 1, 3}, {1.01, 0, 0.89, 3}}, -0.01},
		{[]Strip{{0, 0, 1, 3}, {0.95, 0, 0.9, 3}}, -1},  // the edge is bare
		{[]Strip{{0, 0, 1, 3}, {0.95, 0, 0.95, 2}}, -1}, // and so is the end
	} {
		if w := gaps(Plan{Shape: s, Strips: c.strips}); math.Abs(w-c.worst) > 1e-9 {
			t.Errorf("%v: %g, want %g", c.strips, w, c.worst)
		}
	}
}

// A strip longer than the roll is joined with a lap: 160 m from rolls of 75 m
// takes three pieces and two laps.
func TestLongerThanTheRoll(t *testing.T) {
	if got := BuiltIn().cutLength(160); math.Abs(got-160.1) > 1e-9 {
		t.Errorf("%g m", got)
	}
}

func TestPlanInWords(t *testing.T) {
	m := BuiltIn()
	got := strings.Join(m.strips(job.Shape{WidthM: 4, LengthM: 5}).Words(), " ")
	want := "The mat on 4.00 by 5.00 m: 6 strips along the width. They begin at 0.00, 0.95, 1.90, 2.85, 3.80, 4.70 m from the first edge; the last is 0.30 m wide. They are 4.00 m long. Each lies at least 50 mm over its neighbour."
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got := strings.Join(m.strips(job.Shape{WidthM: 0.8, LengthM: 5}).Words(), " "); !strings.Contains(got, "one strip along the length") || strings.Contains(got, "neighbour") {
		t.Error(got)
	}
}

func TestSVGIsSound(t *testing.T) {
	m := BuiltIn()
	for _, s := range []job.Shape{{WidthM: 4, LengthM: 5}, {WidthM: 6, LengthM: 8, NotchWidthM: 3.5, NotchLengthM: 4}, {WidthM: 9, LengthM: 2, NotchWidthM: 4, NotchLengthM: 1}} {
		p := m.strips(s)
		svg := p.SVG()
		dec, strips := xml.NewDecoder(strings.NewReader(svg)), 0
		for {
			tok, err := dec.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", sides(s), err)
			}
			if el, ok := tok.(xml.StartElement); ok {
				for _, a := range el.Attr {
					if a.Name.Local == "style" {
						t.Errorf("%s has a style of its own, which strict pages refuse", el.Name.Local)
					}
					if a.Name.Local == "class" && a.Value == "strip" {
						strips++
					}
				}
			}
		}
		if strips != len(p.Strips) {
			t.Errorf("%s: %d strips drawn of %d", sides(s), strips, len(p.Strips))
		}
	}
}
