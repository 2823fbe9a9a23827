package load

import (
	"math"
	"strings"
	"testing"

	"laycast/job"
	"laycast/rules"
)

func garage(area, width, length float64, edges ...job.Edge) job.Roof {
	return job.Roof{AreaM2: area, Shape: job.Shape{WidthM: width, LengthM: length}, Work: job.Replace, Deck: job.NewBoard, Edges: edges}
}

type line struct{ need, qty float64 }

// Three roofs by hand. The ratios are those of materials.yaml (common practice,
// no source); the joints those of the built-in profile.
func TestThreeRoofsByHand(t *testing.T) {
	for name, c := range map[string]struct {
		roof  job.Roof
		hands int
		days  int
		want  map[string]line
	}{
		"8 m², a porch of 2 by 4": {garage(8, 2, 4, job.Edge{Kind: job.Drip, LengthM: 4}, job.Edge{Kind: job.Wall, LengthM: 4}, job.Edge{Kind: job.Raised, LengthM: 2}, job.Edge{Kind: job.Raised, LengthM: 2}), 2, 1, map[string]line{
			"board":         {5.9444, 6}, // 8 x 1.07 / (2.4 x 0.6) = 8.56 / 1.44
			"screw":         {144, 200},  // 8 x 18, in 200s
			"drip trim":     {1.4667, 2}, // 4 x 1.1 / 3
			"wall trim":     {1.4667, 2},
			"raised trim":   {1.4667, 2}, // 2 + 2 m
			"trim nail":     {60, 100},   // 12 m x 5
			"trim adhesive": {1.2, 2},    // 12 m / 10
			// joints: 8 x 2.08 = 16.64 of boards, less half of the 12 m of edge,
			// and the 12 m along the trims: 22.64 m, / 65
			"bandage": {0.34831, 1},
			// across: strips of 2 m at 0, 0.95, 1.90, 2.85 and 3.70 (at 3.80 the last
			// would be 0.20 wide, under 0.30): 5 x 2 = 10 m; along: 0, 0.95, 1.70: 3 x
			// 4 = 12 m. 10 x 1.05 / 75
			"mat": {0.14, 1},
			// glass 2 x (4 x 1 + 0.3) = 8.6 m² x 0.45 = 3.87 kg; bandage 22.64 x 0.075 x
			// 0.225 = 0.38205 kg; 4.25205 x 2.5 x 1.1
			"resin":    {11.69314, 20},
			"topcoat":  {4.4, 5},        // 8 x 0.5 x 1.1
			"catalyst": {0.48279, 0.5},  // (11.69314 + 4.4) x 3 %
			"gloves":   {8, 8},          // 2 hands x 1 day x 4
			"acetone":  {2.5, 5},        // 2 x 1 x 1.25
			"roller":   {math.NaN(), 0}, // no such item
			"goggles":  {2, 2},          // one a hand
			"brush":    {4.4, 5},        // 2 x 2 + 8 x 0.05
		}},
		"20 m², a garage of 4 by 5": {garage(20, 4, 5, job.Edge{Kind: job.Drip, LengthM: 5}, job.Edge{Kind: job.Wall, LengthM: 5}, job.Edge{Kind: job.Raised, LengthM: 8}), 2, 2, map[string]line{
			"board":         {14.8611, 15}, // 20 x 1.07 / 1.44: "about 15", common practice
			"screw":         {360, 400},
			"drip trim":     {1.8333, 2}, // 5 x 1.1 / 3
			"wall trim":     {1.8333, 2},
			"raised trim":   {2.9333, 3}, // 8 x 1.1 / 3
			"trim nail":     {90, 100},   // 18 x 5
			"trim adhesive": {1.8, 2},
			"bandage":       {0.77846, 1}, // 20 x 2.08 - 9 + 18 = 50.6 m, / 65
			// across: 4 m strips over 5 m at 0, 0.95, 1.90, 2.85, 3.80 and 4.70: 6 x 4 =
			// 24 m; along: 5 m strips over 4 m at 0, 0.95, 1.90, 2.85 and 3.70: 25 m
			"mat": {0.336, 1}, // 24 x 1.05 / 75
			// glass 4 x (5 + 0.3) = 21.2 m² x 0.45 = 9.54; bandage 50.6 x 0.075 x 0.225
			// = 0.853875; 10.393875 x 2.75
			"resin":    {28.58316, 30},
			"topcoat":  {11, 15},
			"catalyst": {1.18749, 1.5}, // 39.58316 x 3 %
			"gloves":   {16, 16},       // 2 x 2 x 4
			"acetone":  {5, 5},         // 2 x 2 x 1.25
		}},
		"64 m², a hall of 8 by 8": {garage(64, 8, 8, job.Edge{Kind: job.Drip, LengthM: 8}, job.Edge{Kind: job.Raised, LengthM: 24}), 3, 5, map[string]line{
			"board":         {47.5556, 48}, // 64 x 1.07 / 1.44
			"screw":         {1152, 1200},
			"drip trim":     {2.9333, 3},
			"raised trim":   {8.8, 9}, // 24 x 1.1 / 3
			"trim nail":     {160, 200},
			"trim adhesive": {3.2, 4},
			"bandage":       {2.29415, 3}, // 64 x 2.08 - 16 + 32 = 149.12 m, / 65
			// strips at 0, 0.95 … 6.65 (the eighth, to 7.65), 7.60: 9 x 8 = 72 m, the last
			// 0.40 wide
			"mat": {1.008, 2}, // 72 x 1.05 = 75.6 m, / 75
			// glass 8 x (8 + 0.4) = 67.2 m² x 0.45 = 30.24; bandage 149.12 x 0.075 x 0.225
			// = 2.5164; 32.7564 x 2.75
			"resin":    {90.0801, 100},
			"topcoat":  {35.2, 40},
			"catalyst": {3.758403, 4}, // 125.2801 x 3 %
			"gloves":   {60, 60},      // 3 x 5 x 4
		}},
	} {
		l := BuiltIn().Whole(c.roof, rules.Polyester(), c.hands, c.days)
		got := map[string]Item{}
		for _, i := range l.Items {
			if _, twice := got[i.Item]; twice || i.Unit == "" || i.Qty < i.Need-1e-6 {
				t.Errorf("%s: %+v", name, i)
			}
			got[i.Item] = i
		}
		for item, w := range c.want {
			if math.IsNaN(w.need) {
				if _, there := got[item]; there {
					t.Errorf("%s: there is a %s", name, item)
				}
				continue
			}
			if g := got[item]; math.Abs(g.Need-w.need) > 2e-4*w.need || math.Abs(g.Qty-w.qty) > 1e-9 {
				t.Errorf("%s, %s: needs %.5f, loads %g; want %.5f and %g", name, item, g.Need, g.Qty, w.need, w.qty)
			}
		}
	}
}

// What other kinds of work leave out and add.
func TestKindsOfWork(t *testing.T) {
	has := func(l List, item string) bool {
		for _, i := range l.Items {
			if i.Item == item {
				return true
			}
		}
		return false
	}
	for _, c := range []struct {
		work           job.Work
		deck           job.Deck
		boards, primer bool
	}{
		{job.Replace, job.NewBoard, true, false}, {job.Replace, job.OldBoard, false, false}, {job.Overboard, job.Felt, true, false},
		{job.Relaminate, job.GRP, false, true}, {job.Balcony, job.Concrete, false, true},
	} {
		r := garage(20, 4, 5, job.Edge{Kind: job.Valley, LengthM: 4})
		r.Work, r.Deck = c.work, c.deck
		l := BuiltIn().Whole(r, rules.Polyester(), 2, 1)
		if has(l, "board") != c.boards || has(l, "screw") != c.boards || has(l, "primer") != c.primer || !has(l, "valley trim") || !has(l, "resin") {
			t.Errorf("%s on %s: %+v", c.work, c.deck, l.Items)
		}
	}
}

// A bay takes its share; with a night joint it laps onto the bay before it.
// The topcoat's own visit takes no glass.
func TestBays(t *testing.T) {
	m, p := BuiltIn(), rules.Polyester()
	b := job.Booking{Job: job.Job{Roof: garage(64, 8, 8, job.Edge{Kind: job.Raised, LengthM: 32})}}
	need := func(l List, item string) float64 {
		for _, i := range l.Items {
			if i.Item == item {
				return i.Need
			}
		}
		return 0
	}
	first := m.Bay(b, rules.Bay{Task: rules.Lay, AreaM2: 16, Of: 4}, p, 2)
	if math.Abs(need(first, "board")-16*1.07/1.44) > 1e-9 || first.Strips.Shape != (job.Shape{WidthM: 8, LengthM: 2}) {
		t.Errorf("first bay: %g boards on %v", need(first, "board"), first.Strips.Shape)
	}
	if got := need(first, "raised trim"); math.Abs(got-8*1.1/3) > 1e-9 { // 32 m / 4
		t.Errorf("a quarter of the edge takes %g lengths", got)
	}
	b.LaidM2 = 16
	second := m.Bay(b, rules.Bay{Task: rules.Lay, AreaM2: 16, Of: 3}, p, 2)
	if s := second.Strips.Shape; math.Abs(s.LengthM-2.15) > 1e-9 || s.WidthM != 8 {
		t.Errorf("the second bay is %v, want 8 by 2.15: 0.15 over the night joint", s)
	}
	b.LaidM2 = 64
	coat := m.Bay(b, rules.Bay{Task: rules.Coat, AreaM2: 64, Late: true}, p, 2)
	if need(coat, "topcoat") != 64*.5*1.1 || need(coat, "resin")+need(coat, "mat")+need(coat, "board") != 0 || need(coat, "moisture meter") == 0 || need(coat, "cover sheet") != 0 {
		t.Errorf("topcoat alone: %+v", coat.Items)
	}
	if !strings.Contains(strings.Join(coat.Notes, " "), "abrade") || len(coat.Strips.Strips) != 0 {
		t.Errorf("notes %q, strips %v", coat.Notes, coat.Strips)
	}
}

// An L of 6 by 8 without a corner of 3 by 4 has 36 m²; its halves by area are
// 18 m²: 6 by 3, then an L of 6 by 5 without 3 by 4, then 3 m wide only.
func TestBaysOfAnL(t *testing.T) {
	s := job.Shape{WidthM: 6, LengthM: 8, NotchWidthM: 3, NotchLengthM: 4}
	m := BuiltIn()
	for _, c := range []struct {
		done, share float64
		want        job.Shape
	}{
		{0, 1, s},
		{0, 0.5, job.Shape{WidthM: 6, LengthM: 3}},
		{0.5, 0.5, job.Shape{WidthM: 6, LengthM: 5.15, NotchWidthM: 3, NotchLengthM: 4}},
		{5.0 / 6, 1.0 / 6, job.Shape{WidthM: 3, LengthM: 2.15}}, // 30 m² done: 24 at 6 m wide, 6 at 3 m: from 6 on
	} {
		got := m.bayShape(s, c.done, c.share)
		if math.Abs(got.WidthM-c.want.WidthM)+math.Abs(got.LengthM-c.want.LengthM)+math.Abs(got.NotchWidthM-c.want.NotchWidthM)+math.Abs(got.NotchLengthM-c.want.NotchLengthM) > 1e-9 {
			t.Errorf("%.3g of it after %.3g: %+v, want %+v", c.share, c.done, got, c.want)
		}
		if back := turned(m.bayShape(turned(s), c.done, c.share)); back != got {
			t.Errorf("turned round it is %+v", back)
		}
	}
}

func TestShapeAssumedIsSaid(t *testing.T) {
	r := garage(20, 0, 0)
	r.Shape = job.Shape{}
	l := BuiltIn().Whole(r, rules.Polyester(), 2, 1)
	if s := l.Strips.Shape; s.WidthM != 4.5 || math.Abs(s.AreaM2()-20) > 1e-9 || !strings.Contains(strings.Join(l.Notes, " "), "near square of 4.50 by 4.44 m is assumed") {
		t.Errorf("%v %q", s, l.Notes)
	}
}

func TestPrices(t *testing.T) {
	s := strings.Replace(string(YAML()), "resin: {pack: 10}", "resin: {pack: 10, price: 49.50}", 1)
	m, err := Decode("mine.yaml", []byte(s))
	if err != nil {
		t.Fatal(err)
	}
	l := m.Whole(garage(20, 4, 5), rules.Polyester(), 2, 1)
	if l.Priced != 1 || l.Price != 3*49_50 { // without edges it takes 21.2 x .45 + 41.6 x .016875 = 10.242 kg of glass, 28.2 kg of resin
		t.Errorf("%d priced, %s", l.Priced, l.Price)
	}
}
