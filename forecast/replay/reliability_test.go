package replay

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// The generator's promise: the truth is one more member. These tests issue a
// run every other day of a year and look where the truth stands among control
// and members, and whether members have the record's climate.

var testedDays = []int{1, 3, 5}

// verdictOn is what a year of runs shows of one lead day.
type verdictOn struct {
	fifths [4][5]float64 // share of ranks: air, depression, wind, rain
	ends   [4]float64    // share in the lowest and the highest rank
	truth  texture
	member texture
}

// texture is how a record of slices of a day looks.
type texture struct {
	hours, wet, spells, single, long float64
	days, wetDays                    float64
	wind, windSquare, strong         float64
}

// add takes a day of hourly rain (mm) and wind (m/s).
func (x *texture) add(day []point) {
	run, mm := 0.0, 0.0
	end := func() {
		if run > 0 {
			x.spells++
		}
		if run == 1 {
			x.single++
		}
		if run >= 6 {
			x.long++
		}
		run = 0
	}
	for _, p := range day {
		x.hours++
		x.wind += float64(p.wind)
		x.windSquare += float64(p.wind) * float64(p.wind)
		if p.wind > 10 {
			x.strong++
		}
		mm += float64(p.rain)
		if p.rain < wetLeast-1e-3 {
			end()
			continue
		}
		x.wet++
		run++
	}
	end()
	x.days++
	if mm >= 0.2 {
		x.wetDays++
	}
}

// judgeYear makes the runs of a year and sums them up by lead day.
func judgeYear(t *testing.T, rec Record, opt Options) map[int]*verdictOn {
	t.Helper()
	s, err := New(rec, opt)
	if err != nil {
		t.Fatal(err)
	}
	out := map[int]*verdictOn{}
	for _, d := range testedDays {
		out[d] = &verdictOn{}
	}
	ties := rand.New(rand.NewPCG(1, 2))
	members := s.opt.Members + 1
	first := time.Date(2026, 1, 1, 6, 0, 0, 0, time.UTC)
	for k := 0; k < 364; k += 2 {
		run := s.issue(first.AddDate(0, 0, k))
		for _, d := range testedDays {
			v := out[d]
			from := 24 * (d - 1)
			var truth []point
			for l := from; l < from+24; l++ {
				o := s.recorded(run.start.Add(time.Duration(l+1) * time.Hour))
				truth = append(truth, o)
				if l%3 == 0 {
					v.rank(o, run, members, l, ties)
				}
			}
			if !math.IsNaN(float64(sum(truth))) {
				v.truth.add(truth)
			}
			for m := range members {
				v.member.add(run.points[m][from : from+24])
			}
		}
	}
	for _, v := range out {
		v.shares()
	}
	return out
}

// sum is unknown where any hour's rain or wind is.
func sum(day []point) (s float32) {
	for _, p := range day {
		s += p.rain + p.wind
	}
	return s
}

// rank finds the truth's rank among the members at a lead, ties by lot.
func (v *verdictOn) rank(o point, run *issued, members, lead int, ties *rand.Rand) {
	get := func(p point) [4]float32 { return [4]float32{p.air, p.air - p.dew, p.wind, p.rain} }
	truth := get(o)
	for i, x := range truth {
		if x != x {
			continue
		}
		below, same := 0, 0
		for m := range members {
			switch y := get(run.points[m][lead])[i]; {
			case y < x-1e-4:
				below++
			case y <= x+1e-4:
				same++
			}
		}
		r := below + ties.IntN(same+1)
		v.fifths[i][min(4, 5*r/(members+1))]++
		if r == 0 || r == members {
			v.ends[i]++
		}
	}
}

// shares turns counts into shares.
func (v *verdictOn) shares() {
	for i := range v.fifths {
		var n float64
		for _, x := range v.fifths[i] {
			n += x
		}
		for k := range v.fifths[i] {
			v.fifths[i][k] /= n
		}
		v.ends[i] /= n
	}
}

var measures = [4]string{"air", "depression", "wind", "rain"}

// flat fails where the ranks of a year are not flat. A year has some 60
// independent weathers, so a fifth of the ranks wanders by about ±0.05.
func flat(t *testing.T, got map[int]*verdictOn) {
	t.Helper()
	for _, d := range testedDays {
		for i, name := range measures {
			for _, x := range got[d].fifths[i] {
				if math.Abs(x-0.2) > 0.075 {
					t.Errorf("day %d, %s: ranks by fifths %.3f, want 0.2 each", d, name, got[d].fifths[i])
					break
				}
			}
			if e := got[d].ends[i]; e < 0.06 || e > 0.16 {
				t.Errorf("day %d, %s: %.3f of the truths at an end of the ranks, want 0.10 ± 0.05", d, name, e)
			}
		}
	}
}

func TestTruthIsOneMoreMember(t *testing.T) {
	for seed := range uint64(3) {
		t.Run(fmt.Sprint("seed ", seed+1), func(t *testing.T) {
			flat(t, judgeYear(t, inventedYear(seed+1), Options{Seed: seed + 7}))
		})
	}
}

func TestRawLikeMembersAreTooSure(t *testing.T) {
	got := judgeYear(t, inventedYear(1), Options{Seed: 7, Spread: 0.5})
	for _, d := range testedDays {
		for i, name := range measures {
			f := got[d].fifths[i]
			if name == "rain" { // most truths are dry and tied: only the wet end shows it
				if got[d].ends[i] < 0.12 || f[4] < f[2]+0.03 {
					t.Errorf("day %d, rain: ends %.3f, fifths %.3f, want more truths wetter than all", d, got[d].ends[i], f)
				}
				continue
			}
			if got[d].ends[i] < 0.2 || f[0] < f[2] || f[4] < f[2] {
				t.Errorf("day %d, %s: ends %.3f, fifths %.3f, want a U", d, name, got[d].ends[i], f)
			}
		}
	}
}

// climateAgrees fails where members are not as windy and as wet as the record,
// or their rain comes in spells of other lengths.
func climateAgrees(t *testing.T, got map[int]*verdictOn) {
	t.Helper()
	near := func(d int, what string, member, truth, tolerance float64) {
		t.Logf("day %d: %s: members %.3f, record %.3f", d, what, member, truth)
		if !(math.Abs(member-truth) <= tolerance) {
			t.Errorf("day %d: %s of the members is %.3f, of the record %.3f, want within %.3f", d, what, member, truth, tolerance)
		}
	}
	for _, d := range testedDays {
		m, o := got[d].member, got[d].truth
		near(d, "mean wind, m/s", m.wind/m.hours, o.wind/o.hours, 0.03*o.wind/o.hours)
		near(d, "mean square wind", m.windSquare/m.hours, o.windSquare/o.hours, 0.06*o.windSquare/o.hours)
		near(d, "share of hours above 10 m/s", m.strong/m.hours, o.strong/o.hours, 0.012)
		near(d, "share of wet hours", m.wet/m.hours, o.wet/o.hours, 0.15*o.wet/o.hours)
		near(d, "mean rain spell, h", m.wet/m.spells, o.wet/o.spells, 0.3*o.wet/o.spells)
		near(d, "share of spells of one hour", m.single/m.spells, o.single/o.spells, 0.12)
		near(d, "share of spells of six hours or more", m.long/m.spells, o.long/o.spells, 0.06)
		near(d, "share of days with rain", m.wetDays/m.days, o.wetDays/o.days, 0.11)
	}
}

func TestMembersHaveTheRecordsClimate(t *testing.T) {
	for seed := range uint64(3) {
		t.Run(fmt.Sprint("seed ", seed+1), func(t *testing.T) {
			climateAgrees(t, judgeYear(t, inventedYear(seed+1), Options{Seed: seed + 7}))
		})
	}
}

func TestMembersOnRecordedYears(t *testing.T) {
	for _, name := range []string{"ie_malin_head_2017", "us_lga_2013"} {
		t.Run(name, func(t *testing.T) {
			got := judgeYear(t, station(t, name), Options{Seed: 7})
			flat(t, got)
			climateAgrees(t, got)
		})
	}
}

// station reads a recorded year from the folder that stands beside the
// project, or skips.
func station(t *testing.T, name string) Record {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		path := filepath.Join(dir, "shared", "weather", "stations", name+".csv")
		if f, err := os.Open(path); err == nil {
			defer f.Close()
			rec, err := ReadCSV(f)
			if err != nil {
				t.Fatal(err)
			}
			return rec
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Skipf("recorded year %s is not here: lay the folder shared, with weather/stations, beside the repository", name)
		}
		dir = up
	}
}
