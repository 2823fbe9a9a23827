package forecast

import (
	"math"
	"slices"
	"testing"
	"time"
)

// TestSpread: the rain of a block stays the same, falls in hours that the seed
// alone decides, and never everywhere by rule.
func TestSpread(t *testing.T) {
	for _, hours := range []int{1, 2, 3, 4, 6, 12} {
		for _, mm := range []float64{0, 0.01, 0.04, 0.1, 0.2, 0.3, 0.99, 1.98, 5, 40, 300} {
			for seed := range uint64(200) {
				got := Spread(mm, hours, seed)
				if len(got) != hours || !slices.Equal(got, Spread(mm, hours, seed)) {
					t.Fatalf("%g mm over %d h, seed %d: %v, and not again", mm, hours, seed, got)
				}
				sum := 0
				for _, x := range got {
					c := int(math.Round(x * 100))
					if c != 0 && c < leastWet && mm >= 0.1 {
						t.Fatalf("%g mm over %d h: an hour of %g mm", mm, hours, x)
					}
					sum += c
				}
				if sum != int(math.Round(mm*100)) {
					t.Fatalf("%g mm over %d h became %v", mm, hours, got)
				}
			}
		}
	}
	for _, bad := range []float64{math.NaN(), -1, math.Inf(1)} {
		for _, x := range Spread(bad, 3, 1) {
			if known(x) {
				t.Errorf("a block of %g mm has an hour of %g", bad, x)
			}
		}
	}
}

// TestSpreadAsMeasured compares the mean number of wet hours with that of the
// records the table was counted on (comment of wetHours; bands of three standard
// errors of 4000 draws, and 0.03 for the table's rounding).
func TestSpreadAsMeasured(t *testing.T) {
	for _, tc := range []struct {
		mm    float64
		hours int
		mean  float64
	}{{0.4, 3, 1.48}, {0.9, 3, 1.94}, {1.9, 3, 2.28}, {7, 3, 2.79}, {0.4, 6, 1.67}, {0.9, 6, 2.43}, {1.9, 6, 3.28}, {3.5, 6, 3.96}, {20, 6, 5.23}} {
		const draws = 4000
		n, squares := 0, 0
		for seed := range uint64(draws) {
			k := 0
			for _, x := range Spread(tc.mm, tc.hours, seed*2654435761) {
				if x > 0 {
					k++
				}
			}
			n, squares = n+k, squares+k*k
		}
		mean := float64(n) / draws
		band := 3*math.Sqrt((float64(squares)/draws-mean*mean)/draws) + 0.03
		if math.Abs(mean-tc.mean) > band {
			t.Errorf("%g mm over %d h falls in %.2f hours, measured %.2f ± %.2f", tc.mm, tc.hours, mean, tc.mean, band)
		}
	}
}

// TestMoreRainMoreHours: a wetter block has no fewer wet hours by the same draw.
func TestMoreRainMoreHours(t *testing.T) {
	for _, hours := range []int{2, 3, 6, 12} {
		for percent := range 100 {
			last := 0
			for _, mm := range []float64{0.1, 0.4, 0.9, 1.9, 3.9, 7.9, 99} {
				k := drawWet(percent, mm, hours)
				if k < last || k < 1 || k > hours {
					t.Errorf("%d %%: %g mm over %d h falls in %d hours, less rain in %d", percent, mm, hours, k, last)
				}
				last = k
			}
		}
	}
}

// readings makes readings of one member with rain alone, from an hour on.
func rainReadings(start time.Time, mm ...float64) *Readings {
	r := &Readings{Start: start, N: len(mm), Members: 1}
	r.In[Rain] = [][]float64{mm}
	return r
}

func TestSpreadEven(t *testing.T) {
	six := time.Date(2027, 4, 20, 6, 0, 0, 0, time.UTC)
	cell := Cell{Lat: 53.45, Lon: -6.25, Elev: 50}
	sum := func(x []float64) (s float64) {
		for _, v := range x {
			s += v
		}
		return math.Round(s*100) / 100
	}
	for _, tc := range []struct {
		name   string
		start  time.Time
		from   int
		mm     []float64
		blocks int
	}{
		{"three equal hours", six, 0, []float64{0.4, 0.4, 0.4, 0, 0, 0}, 1},
		{"six equal hours", six, 0, []float64{0.2, 0.2, 0.2, 0.2, 0.2, 0.2}, 1},
		{"two blocks of three", six, 0, []float64{0.4, 0.4, 0.4, 0.1, 0.1, 0.1}, 2},
		{"not told evenly", six, 0, []float64{0.4, 0.4, 0.3, 0, 0, 0}, 0},
		{"dry", six, 0, []float64{0, 0, 0, 0, 0, 0}, 0},
		{"not known", six, 0, []float64{nan, nan, nan, 0.4, 0.4, nan}, 0},
		{"across the source's steps", six.Add(time.Hour), 0, []float64{0.4, 0.4, 0.4, 0, 0, 0}, 0},
		{"six from 09:00 are two of three", six.Add(3 * time.Hour), 0, []float64{0.4, 0.4, 0.4, 0.4, 0.4, 0.4}, 2},
		{"within the hours told by the hour", six, 3, []float64{0.4, 0.4, 0.4, 0.4, 0.4, 0.4}, 1},
		{"cut by the end", six, 0, []float64{0, 0, 0, 0.4, 0.4}, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			mm := slices.Clone(tc.mm)
			r := rainReadings(tc.start, mm...)
			if got := r.SpreadEven(cell, tc.from); got != tc.blocks {
				t.Errorf("%d blocks, want %d: %v", got, tc.blocks, r.In[Rain][0])
			}
			if !slices.Equal(r.In[Rain][0][:tc.from], tc.mm[:tc.from]) {
				t.Errorf("hours before %d changed: %v", tc.from, r.In[Rain][0])
			}
			if a, b := sum(r.In[Rain][0]), sum(tc.mm); tc.name != "not known" && a != b {
				t.Errorf("%g mm became %g", b, a)
			}
		})
	}
}

// TestOldContentStaysOld: over a source that died, the hours of a window roll
// on, and a block that comes near is drawn no more. That is no news.
func TestOldContentStaysOld(t *testing.T) {
	start := time.Date(2027, 4, 20, 6, 0, 0, 0, time.UTC)
	cell := Cell{Lat: 53.45, Lon: -6.25, Elev: 50}
	run := func(hour, from int) Run { // a window of 48 of the same hours, from slot `from` on in blocks
		r := &Readings{Start: start.Add(time.Duration(hour) * time.Hour), N: 48, Members: 1}
		for _, v := range []Var{Air, Dew, Wind, Rain} {
			col := Unread(48)
			for i := range col {
				col[i] = 3
				if v == Rain {
					col[i] = []float64{0, 0.4, 0.15}[(hour+i)/3%3]
				}
			}
			r.In[v] = [][]float64{col}
		}
		if r.SpreadEven(cell, from) == 0 {
			t.Fatal("no block was drawn")
		}
		return Run{Hours: Quantise(r.Hours(&Notes{}))}
	}
	first, _ := Carry(nil, run(0, 24), start)
	last := first
	for h := 1; h <= 18; h++ {
		now := start.Add(time.Duration(h) * time.Hour)
		var isNew bool
		last, isNew = Carry(&last, run(h, 24), now)
		if !isNew || !last.Changed.Equal(start) {
			t.Fatalf("after %d h the content counts as changed at %s", h, last.Changed)
		}
	}
	// The same test with other weather must see the change.
	other := run(19, 24)
	for i := 24; i < 48; i++ {
		other.Hours.Cols[Rain][i] += 0.02
	}
	now := start.Add(19 * time.Hour)
	if r, _ := Carry(&last, other, now); !r.Changed.Equal(now) {
		t.Error("more rain in blocks counts as nothing new")
	}
}

// TestCarryTellsWhenToAskAgain: the same content under new headers.
func TestCarryTellsWhenToAskAgain(t *testing.T) {
	now := time.Date(2027, 4, 20, 6, 0, 0, 0, time.UTC)
	h := NewHours(now, 3, 1, Air)
	prev, _ := Carry(nil, Run{Hours: h, Modified: "Mon", Expires: now.Add(time.Hour)}, now)
	later := now.Add(time.Hour)
	got, isNew := Carry(&prev, Run{Hours: h, Modified: "Tue", Expires: later.Add(time.Hour)}, later)
	if isNew || got.Modified != "Tue" || !got.Expires.Equal(later.Add(time.Hour)) || !got.LastSeen.Equal(later) || !got.Changed.Equal(now) {
		t.Errorf("%+v", got)
	}
}
