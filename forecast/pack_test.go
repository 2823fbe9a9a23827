package forecast

import (
	"bytes"
	"errors"
	"math"
	"math/rand"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var start = time.Date(2027, 4, 20, 5, 0, 0, 0, time.UTC)

// drawHours draws hours of any shape, with unknown values and absent columns.
func drawHours(t *rapid.T) Hours {
	n, members := rapid.IntRange(1, 30).Draw(t, "n"), rapid.IntRange(1, 5).Draw(t, "members")
	h := Hours{Start: start.Add(time.Duration(rapid.IntRange(-9000, 9000).Draw(t, "start")) * time.Hour), N: n, Members: members}
	value := rapid.OneOf(rapid.Float32Range(-60, 1500), rapid.Just(unknown), rapid.Float32())
	for v := range h.Cols {
		if rapid.Bool().Draw(t, "has column") {
			h.Cols[v] = rapid.SliceOfN(value, n*members, n*members).Draw(t, "column")
		}
	}
	return h
}

// same compares hours value by value, unknown being equal to unknown.
func same(a, b Hours) bool {
	if !a.Start.Equal(b.Start) || a.N != b.N || a.Members != b.Members {
		return false
	}
	for v := range a.Cols {
		if (a.Cols[v] == nil) != (b.Cols[v] == nil) || !slices.EqualFunc(a.Cols[v], b.Cols[v], func(x, y float32) bool {
			return x == y || !Known(x) && !Known(y)
		}) {
			return false
		}
	}
	return true
}

func TestUnpackGivesExactlyTheQuantisedHours(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := drawHours(t)
		b, err := Pack(h)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Unpack(b)
		if err != nil {
			t.Fatal(err)
		}
		q := Quantise(h)
		if !same(got, q) {
			t.Fatalf("unpacked %v\nquantised %v", got, q)
		}
		if !same(Quantise(q), q) {
			t.Fatal("quantising twice is not quantising once")
		}
		if Digest(h) != Digest(q) || Digest(q) != Digest(got) {
			t.Fatal("stored and fresh hours have different digests")
		}
		again, err := Pack(got)
		if err != nil || !bytes.Equal(again, b) {
			t.Fatalf("packing again gave other bytes (%v)", err)
		}
	})
}

func TestQuantiseStaysWithinHalfAStep(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := Var(rapid.IntRange(0, int(NVars)-1).Draw(t, "var"))
		x := rapid.Float32Range(-1000, 1500).Draw(t, "x")
		got := value(v, code(v, x))
		step := 1 / perUnit(v)
		if math.Abs(float64(got)-float64(x)) > step/2+1e-4 {
			t.Fatalf("%s: %v became %v", v, x, got)
		}
	})
}

func TestQuantiseRounds(t *testing.T) {
	inf := float32(math.Inf(1))
	h := NewHours(start, 4, 1, Air, RH, Cloud)
	copy(h.Cols[Air], []float32{9.454, -0.001, inf, 1e30})
	copy(h.Cols[RH], []float32{79.24, 100, 0, unknown})
	q := Quantise(h)
	if got := q.Cols[Air]; got[0] != 9.45 || got[1] != 0 || math.Signbit(float64(got[1])) || Known(got[2]) || Known(got[3]) {
		t.Errorf("air %v, want 9.45, 0, unknown, unknown", got)
	}
	if got := q.Cols[RH]; got[0] != 79.2 || got[1] != 100 || got[2] != 0 || Known(got[3]) {
		t.Errorf("rh %v, want 79.2, 100, 0, unknown", got)
	}
	if q.Cols[Cloud] != nil {
		t.Error("a column that knows nothing was kept")
	}
	if h.Cols[Air][0] != 9.454 {
		t.Error("Quantise changed its argument")
	}
}

func TestPackRefusesWhatIsNoForecast(t *testing.T) {
	short := NewHours(start, 3, 2, Air)
	short.Cols[Air] = short.Cols[Air][:5]
	half := NewHours(start, 3, 1, Air)
	half.Start = start.Add(30 * time.Minute)
	for name, tc := range map[string]struct {
		h    Hours
		want string
	}{
		"nothing":       {Hours{Start: start}, "out of bounds"},
		"too many":      {Hours{Start: start, N: 9000, Members: 900}, "out of bounds"},
		"short column":  {short, "column air has 5 values"},
		"half an hour":  {half, "not a whole hour"},
		"before 1970":   {NewHours(time.Date(1969, 1, 1, 0, 0, 0, 0, time.UTC), 3, 1, Air), "not a whole hour since 1970"},
		"no start time": {NewHours(time.Time{}, 3, 1, Air), "not a whole hour since 1970"},
	} {
		if _, err := Pack(tc.h); err == nil || !strings.Contains(err.Error(), tc.want) {
			t.Errorf("%s: error %v, want one with %q", name, err, tc.want)
		}
	}
}

// TestUnpackFindsDamage cuts, pads and flips every byte of packed hours.
func TestUnpackFindsDamage(t *testing.T) {
	b, err := Pack(ensembleLike(3, 24))
	if err != nil {
		t.Fatal(err)
	}
	for i := range b {
		if _, err := Unpack(b[:i]); err == nil {
			t.Errorf("the first %d of %d bytes were taken", i, len(b))
		}
		bad := bytes.Clone(b)
		bad[i] ^= 0x10
		if h, err := Unpack(bad); err == nil {
			t.Errorf("byte %d flipped was taken, as %v", i, h.Start)
		}
	}
	if _, err := Unpack(append(bytes.Clone(b), 0)); !errors.Is(err, errDamaged) {
		t.Errorf("a byte too many: %v", err)
	}
	other := bytes.Clone(b)
	other[2] = 9
	if _, err := Unpack(other); err == nil || !strings.Contains(err.Error(), "version 9") {
		t.Errorf("version 9: %v", err)
	}
}

// ensembleLike makes member hours that wander as forecasts do, seeded.
func ensembleLike(members, n int) Hours {
	rnd := rand.New(rand.NewSource(1))
	h := NewHours(start, n, members, Air, Dew, RH, Rain, Wind, Gust, Cloud, Solar)
	for m := range members {
		base, wind, cloud := 9.0, 4.0, 50.0
		for i := range n {
			base += rnd.NormFloat64() * 0.3
			wind = math.Max(0, wind+rnd.NormFloat64()*0.4)
			cloud = math.Min(100, math.Max(0, cloud+rnd.NormFloat64()*15))
			day := math.Max(0, math.Sin(float64(i-1)/24*2*math.Pi))
			at := m*n + i
			air := base + 5*day
			h.Cols[Air][at], h.Cols[Dew][at] = float32(air), float32(base-2)
			h.Cols[RH][at] = float32(math.Round(100 - 5*(air-base+2)))
			h.Cols[Rain][at] = float32(math.Max(0, math.Round(10*(rnd.NormFloat64()-1.5))/10))
			h.Cols[Wind][at], h.Cols[Gust][at] = float32(wind), float32(wind*1.5+0.5)
			h.Cols[Cloud][at], h.Cols[Solar][at] = float32(math.Round(cloud)), float32(600*day*(1-cloud/150))
		}
	}
	return h
}

// TestPackedSizeFitsTheStore holds the size that the doc comment of Pack tells:
// the wandering members of this test are rougher than a model's.
func TestPackedSizeFitsTheStore(t *testing.T) {
	b, err := Pack(ensembleLike(19, 169))
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("19 members × 169 h × 8 measures: %d bytes", len(b))
	if len(b) > 40_000 {
		t.Errorf("19 members × 169 h take %d bytes, want at most 40000", len(b))
	}
}

func FuzzUnpack(f *testing.F) {
	for _, h := range []Hours{ensembleLike(1, 5), ensembleLike(2, 12), {Start: start, N: 4, Members: 1}} {
		b, err := Pack(h)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b)
	}
	f.Add([]byte("LH"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		h, err := Unpack(b)
		if err != nil {
			return
		}
		if !same(Quantise(h), h) && knows(h) { // a column of unknowns is dropped by Quantise
			for v := range h.Cols {
				if q := quantiseColumn(Var(v), h.Cols[v]); q != nil && !slices.EqualFunc(q, h.Cols[v], func(x, y float32) bool { return x == y || !Known(x) }) {
					t.Fatalf("column %s is not quantised", Var(v))
				}
			}
		}
		p, err := Pack(h)
		if err != nil {
			t.Fatalf("what was unpacked does not pack: %v", err)
		}
		again, err := Unpack(p)
		if err != nil || !same(again, Quantise(h)) {
			t.Fatalf("packing and unpacking changed the hours (%v)", err)
		}
	})
}
