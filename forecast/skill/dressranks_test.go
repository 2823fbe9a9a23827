package skill

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"laycast/forecast"
	"laycast/forecast/replay"
)

// A year of evenings: raw members that are too sure are dressed with what the
// first half-year taught, and the second half-year's truths are ranked among
// them. The truth is taken from the record alone, after the fact.

// tried is what a half-year of evenings shows of one lead day.
type tried struct {
	ranks            [NMeasures][]float64 // place of the truth among the members, 0 to 1
	rawRanks         [NMeasures][]float64
	hours, days      []Scored // wet hour; ten dry working hours
	rawDays, rawHour []Scored
}

var triedDays = []int{1, 2, 3, 5, 7}

// year lives through a record and fills in what the days show.
func year(t *testing.T, rec replay.Record, opt replay.Options, lon float64, out map[int]*tried) Stats {
	t.Helper()
	src, err := replay.New(rec, opt)
	if err != nil {
		t.Fatal(err)
	}
	l := NewLearner(lon)
	first := time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)
	evening := 18 - int(math.Round(lon/15))
	for k := range 365 - 9 {
		day := first.AddDate(0, 0, k)
		now := day.Add(hoursOf(evening))
		is := fetched(t, src, now)
		l.Evening(is)
		// the rows of the day whose last hour is just over
		l.Past(src.Truth(day.AddDate(0, 0, -1), 24), day.AddDate(0, 0, -1))
		if k < 181 || k%2 == 1 {
			continue
		}
		dressed := Dress(is, &l.Stats)
		for _, d := range triedDays {
			v := out[d]
			if v == nil {
				v = &tried{}
				out[d] = v
			}
			noon := now.Add(hoursOf(24*d - 6)) // noon of the day so many days on
			v.rank(is.Ens.Hours, dressed.Ens.Hours, src.Truth(noon.Add(-12*time.Hour), 24), noon, k)
		}
	}
	return l.Stats
}

func (v *tried) rank(raw, dressed, truth forecast.Hours, noon time.Time, k int) {
	for m := range NMeasures {
		at := noon.Add(hoursOf(-4 + 4*(k/2%3))) // morning, noon, afternoon in turn
		was := toScale(&truth, m, 0, truth.Slot(at))
		if was != was {
			continue
		}
		for pass, h := range []*forecast.Hours{&dressed, &raw} {
			var below, n float64
			for j := range h.Members {
				x := toScale(h, m, j, h.Slot(at))
				n++
				if x < was {
					below++
				} else if x == was {
					below += 0.5
				}
			}
			place := (below + 0.5) / (n + 1)
			if pass == 0 {
				v.ranks[m] = append(v.ranks[m], place)
			} else {
				v.rawRanks[m] = append(v.rawRanks[m], place)
			}
		}
	}
	dry := func(h *forecast.Hours, j int) (bool, bool) {
		for i := h.Slot(noon.Add(-4 * time.Hour)); i < h.Slot(noon.Add(6*time.Hour)); i++ {
			mm := h.At(forecast.Rain, j, i)
			if !forecast.Known(mm) {
				return false, false
			}
			if mm >= wetLeast {
				return false, true
			}
		}
		return true, true
	}
	was, ok := dry(&truth, 0)
	if !ok {
		return
	}
	share := func(h *forecast.Hours) float64 {
		n := 0
		for j := range h.Members {
			if d, _ := dry(h, j); d {
				n++
			}
		}
		return float64(n) / float64(h.Members)
	}
	v.days = append(v.days, Scored{Chance: share(&dressed), Happened: was})
	v.rawDays = append(v.rawDays, Scored{Chance: share(&raw), Happened: was})
	wet := truth.At(forecast.Rain, 0, truth.Slot(noon)) >= wetLeast
	wetOf := func(h *forecast.Hours) float64 {
		n := 0
		for j := range h.Members {
			if h.At(forecast.Rain, j, h.Slot(noon)) >= wetLeast {
				n++
			}
		}
		return float64(n) / float64(h.Members)
	}
	v.hours = append(v.hours, Scored{Chance: wetOf(&dressed), Happened: wet})
	v.rawHour = append(v.rawHour, Scored{Chance: wetOf(&raw), Happened: wet})
}

// chiSquare gives how far the places are from flat over so many bins.
func chiSquare(places []float64, bins int) float64 {
	n := make([]float64, bins)
	for _, p := range places {
		n[min(bins-1, int(p*float64(bins)))]++
	}
	want, sum := float64(len(places))/float64(bins), 0.0
	for _, k := range n {
		sum += (k - want) * (k - want) / want
	}
	return sum
}

// chiMost bounds chi-square of ten bins: 27.88 (nine degrees of freedom, one try
// in a thousand by tables of the distribution) times 1.5, since errors two days
// apart, and stations of one island, are not independent. Seen: members that are
// the truth's equals by construction (spread 1, undressed) came to 33.7 in this
// sample, with a mean of 13 over 30 tries.
const chiMost = 1.5 * 27.88

// flat fails where ranks are not flat within sampling error, or where rain and
// dry days do not come as often as the members say, and where the raw members
// would have passed as well.
func flat(t *testing.T, got map[int]*tried) {
	t.Helper()
	for _, d := range triedDays {
		v := got[d]
		for m := range NMeasures {
			chi, raw := chiSquare(v.ranks[m], 10), chiSquare(v.rawRanks[m], 10)
			t.Logf("day %d %-10s %d ranks: chi-square dressed %.1f, raw %.1f", d, m, len(v.ranks[m]), chi, raw)
			if chi > chiMost || raw < chiMost {
				t.Errorf("day %d, %s: chi-square %.1f (raw %.1f), want at most %g (raw far above)", d, m, chi, raw, chiMost)
			}
		}
		// an hour's rain loses a little in sharpness to the timing errors; the day,
		// which is what is called, has to gain
		for _, x := range []struct {
			name    string
			ss, raw []Scored
			loss    float64
		}{{"ten dry working hours", v.days, v.rawDays, 0}, {"wet hour", v.hours, v.rawHour, 0.015}} {
			reliable(t, fmt.Sprintf("day %d, %s", d, x.name), x.ss)
			if Brier(x.ss) > Brier(x.raw)+x.loss {
				t.Errorf("day %d, %s: Brier %.4f, the raw members' %.4f", d, x.name, Brier(x.ss), Brier(x.raw))
			}
		}
	}
}

// reliable fails where chances do not come true: in a class of chances by more
// than three standard errors and a bit for rain that comes in spells.
func reliable(t *testing.T, name string, ss []Scored) {
	t.Helper()
	const spells = 0.04
	var lines []string
	for _, b := range Reliability(ss, 5) {
		lines = append(lines, fmt.Sprintf("%d: %.2f %.2f", b.N, b.Chance, b.Freq))
		if se := math.Sqrt(b.Chance * (1 - b.Chance) / float64(b.N)); math.Abs(b.Freq-b.Chance) > 3*se+spells {
			t.Errorf("%s: said %.3f, came %.3f of %d", name, b.Chance, b.Freq, b.N)
		}
	}
	t.Logf("%s: Brier %.4f; said and came by class: %s", name, Brier(ss), strings.Join(lines, "; "))
}

func TestDressedRanksAreFlatOnInventedWeather(t *testing.T) {
	if raceOn {
		t.Skip("half a minute of arithmetic is five under the race detector: run without it (make test)")
	}
	all := map[int]*tried{}
	for seed := range uint64(2) {
		year(t, replay.Invent(seed+1, 53, -6, 2026), replay.Options{Seed: seed, Spread: 0.5}, -6, all)
	}
	flat(t, all)
}

// The stations lie beside the repository: Met Éireann 2017 (CC BY 4.0) and two
// New York airports 2013 (CC0), as their README there says.
func TestDressedRanksAreFlatOnRecordedYears(t *testing.T) {
	files, err := filepath.Glob("../../../shared/weather/stations/*.csv")
	if err != nil || len(files) == 0 {
		t.Skip("the recorded years are not here: lay the folder shared, with weather/stations, beside the repository")
	}
	if raceOn || testing.Short() {
		t.Skip("a minute of arithmetic is ten under the race detector: run without it and without -short (make test)")
	}
	all := map[int]*tried{}
	for _, name := range files {
		f, err := os.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		rec, err := replay.ReadCSV(f)
		f.Close()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		lon := -8.0
		if strings.HasPrefix(filepath.Base(name), "us_") {
			lon = -74
		}
		year(t, rec, replay.Options{Seed: 1, Spread: 0.5, ID: filepath.Base(name)}, lon, all)
	}
	flat(t, all)
}
