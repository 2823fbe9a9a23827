package skill

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"
)

// near fails where got is further from want than tol, or not a number.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.6f, want %.6f within %g", what, got, want, tol)
	}
}

// given is how often a chance was issued and how often it then happened.
type given struct {
	chance    float64
	n, events int
}

func spread(gs []given) (out []Scored) {
	for _, g := range gs {
		for k := range g.n {
			out = append(out, Scored{g.chance, k < g.events})
		}
	}
	return out
}

// rain24 are the 24-hour chances of more than 0.2 mm of rain of the Finnish
// Meteorological Institute for Tampere in 2003, n = 346, tallied by chance: data
// set and scores of the WWRP/WGNE joint working group's verification site.
var rain24 = []given{
	{0, 46, 1}, {0.1, 55, 1}, {0.2, 59, 5}, {0.3, 41, 5}, {0.4, 19, 4}, {0.5, 22, 8},
	{0.6, 22, 6}, {0.7, 34, 16}, {0.8, 24, 16}, {0.9, 11, 8}, {1, 13, 11},
}

// published are the scores printed there, to three decimals; the tolerance is
// what recomputing them from the data set left.
var published = BrierParts{Score: 0.144, Reliability: 0.025, Resolution: 0.060, Uncertainty: 0.179}

const publishedSkill, publishedTol = 0.194, 0.0006

func TestBrierPartsOfPublishedRainChances(t *testing.T) {
	ss := spread(rain24)
	if len(ss) != 346 {
		t.Fatalf("%d days, want 346", len(ss))
	}
	p := PartsOf(ss, 0)
	near(t, "Brier", p.Score, published.Score, publishedTol)
	near(t, "reliability", p.Reliability, published.Reliability, publishedTol)
	near(t, "resolution", p.Resolution, published.Resolution, publishedTol)
	near(t, "uncertainty", p.Uncertainty, published.Uncertainty, publishedTol)
	near(t, "skill", p.Skill(), publishedSkill, publishedTol)
	// chances of tenths fall one to a class: classes hide nothing but the last, which holds .9 and 1
	q := PartsOf(ss, 10)
	if w := math.Abs(q.Within); w == 0 || w > 0.001 {
		t.Errorf("within-class part %g, want little and not 0", q.Within)
	}
	near(t, "sum of the parts", q.Reliability-q.Resolution+q.Uncertainty+q.Within, q.Score, 1e-12)
}

// Every score of the shared table of check values, and all four sets of chances.
func TestSharedVerificationValues(t *testing.T) {
	rows := sharedCSV(t, "verification.csv")
	sets := sharedChances(t)
	seen := 0
	for _, r := range rows[1:] {
		want, err := strconv.ParseFloat(r[3], 64)
		if err != nil {
			t.Fatalf("%s: expected %q", r[0], r[3])
		}
		got, tol, ok := 0.0, publishedTol, false
		switch {
		case strings.HasPrefix(r[0], "pop"):
			words := strings.SplitN(r[0], "_", 3) // pop24, POP, what
			quantity := strings.TrimPrefix(words[2], "_")
			p := PartsOf(sets[words[0]+"_"+words[1]], 0)
			got, ok = map[string]float64{"Brier_score": p.Score, "reliability": p.Reliability, "resolution": p.Resolution,
				"uncertainty": p.Uncertainty, "Brier_skill_score": p.Skill()}[quantity]
		case strings.HasPrefix(r[0], "finley_"):
			got, ok = tableScore(Table{28, 72, 23, 2680}.Scores(), strings.TrimPrefix(r[0], "finley_"))
			tol = 5e-4
			if strings.HasSuffix(r[0], "odds_ratio") {
				tol = 5e-2
			}
		case strings.HasPrefix(r[0], "crps_ens_"):
			y, xs, _ := strings.Cut(strings.TrimPrefix(r[0], "crps_ens_"), "_")
			got, tol, ok = CRPS(floats(t, strings.Split(strings.Trim(xs, "[]"), ",")), floats(t, []string{y})[0]), 1e-9, true
		case strings.HasPrefix(r[0], "crps_norm_"):
			v := floats(t, strings.Split(strings.TrimPrefix(r[0], "crps_norm_"), "_"))
			got, tol, ok = CRPSNormal(v[0], v[1], v[2]), 1e-6, true
		}
		if !ok {
			t.Errorf("%s: no score of that name here", r[0])
			continue
		}
		seen++
		near(t, r[0], got, want, tol)
	}
	if seen != len(rows)-1 || seen < 42 {
		t.Errorf("%d values compared, want all of at least 42", seen)
	}
}

func tableScore(s TableScores, name string) (float64, bool) {
	v, ok := map[string]float64{"PC": s.Right, "frequency_bias": s.Bias, "POD": s.Detected, "FAR": s.FalseSaid, "POFD": s.FalseRate,
		"threat_score_CSI": s.Threat, "ETS_GSS": s.Equitable, "Hanssen-Kuipers_Peirce": s.Peirce, "Heidke": s.Heidke, "odds_ratio": s.OddsRatio}[name]
	return v, ok
}

func sharedCSV(t *testing.T, name string) [][]string {
	t.Helper()
	path := "../../../shared/checks/" + name
	f, err := os.Open(path)
	if err != nil {
		t.Skipf("the shared check values are not here: lay the folder shared beside the repository (%v)", err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return rows
}

func sharedChances(t *testing.T) map[string][]Scored {
	t.Helper()
	sets := map[string][]Scored{}
	for _, r := range sharedCSV(t, "pop_bins.csv")[1:] {
		v := floats(t, r[2:5])
		name := "pop" + r[0] + "_" + r[1]
		sets[name] = append(sets[name], spread([]given{{v[0], int(v[1]), int(v[2])}})...)
	}
	return sets
}

func floats(t *testing.T, cells []string) (out []float64) {
	t.Helper()
	for _, c := range cells {
		x, err := strconv.ParseFloat(strings.TrimSpace(c), 64)
		if err != nil {
			t.Fatalf("%q is not a number", c)
		}
		out = append(out, x)
	}
	return out
}

// Finley's tornado forecasts of 1884 as worked on the WWRP/WGNE site (Murphy
// 1996); the site prints two digits, further ones follow from the counts.
func TestFinleysTable(t *testing.T) {
	s := Table{Hits: 28, FalseAlarms: 72, Misses: 23, Rejections: 2680}.Scores()
	for name, want := range map[string]float64{"PC": 0.9661, "frequency_bias": 1.9608, "POD": 0.5490, "FAR": 0.7200, "POFD": 0.0262,
		"threat_score_CSI": 0.2276, "ETS_GSS": 0.2160, "Hanssen-Kuipers_Peirce": 0.5229, "Heidke": 0.3553} {
		got, _ := tableScore(s, name)
		near(t, name, got, want, 5e-4)
	}
	near(t, "odds ratio", s.OddsRatio, 45.314, 5e-2)
}

// Exact cases, from the tests of properscoring (public code).
func TestCRPSExactCases(t *testing.T) {
	for _, c := range []struct {
		y    float64
		x    []float64
		want float64
	}{
		{0, []float64{0}, 0}, {0, []float64{1}, 1}, {0, []float64{0, 1}, 0.25}, {2, []float64{0, 1}, 1.25}, {0, []float64{-1, 1}, 0.5},
		{0, []float64{1, 0, 0}, 1. / 9}, {1, []float64{0, 0, 1}, 4. / 9}, {0, []float64{-1, 0, 1, 0}, 0.125},
	} {
		near(t, "CRPS", CRPS(c.x, c.y), c.want, 1e-12)
	}
	near(t, "normal at the middle", CRPSNormal(0, 1, 0), (math.Sqrt2-1)/math.Sqrt(math.Pi), 1e-12)
	if x := CRPS(nil, 1); !math.IsNaN(x) {
		t.Errorf("CRPS of no members is %g", x)
	}
	// fair: E|X-y| - the mean distance of two different members, halved: (2+1)/2 - 1/2
	near(t, "fair CRPS", FairCRPS([]float64{0, 1}, 2), 1.5-0.5, 1e-12)
	if x := FairCRPS([]float64{3}, 1); !math.IsNaN(x) {
		t.Errorf("fair CRPS of one member is %g", x)
	}
}

// The sum over sorted members is the sum over pairs; small samples of a normal
// are fair on the mean.
func TestCRPSAgainstPairsAndTheNormal(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var fair, exact float64
	const times = 4000
	for range times {
		x := make([]float64, 5)
		for i := range x {
			x[i] = 2 + 3*rng.NormFloat64()
		}
		y := 2 + 3*rng.NormFloat64()
		var off, pairs float64
		for _, a := range x {
			off += math.Abs(a-y) / 5
			for _, b := range x {
				pairs += math.Abs(a-b) / 25
			}
		}
		near(t, "CRPS by pairs", CRPS(x, y), off-pairs/2, 1e-9)
		fair += FairCRPS(x, y) / times
		exact += CRPSNormal(2, 3, y) / times
	}
	near(t, "mean fair CRPS", fair, exact, 0.05) // two standard errors of the mean, near enough
}

func TestRanks(t *testing.T) {
	x := []float64{1, 2, 2, 3}
	for _, c := range []struct {
		y, u float64
		want int
	}{{0, 0.9, 0}, {1, 0, 0}, {1, 0.6, 1}, {2, 0, 1}, {2, 0.5, 2}, {2, 0.99, 3}, {2.5, 0.5, 3}, {9, 0, 4}} {
		if got := Rank(x, c.y, c.u); got != c.want {
			t.Errorf("rank of %g, u %g = %d, want %d", c.y, c.u, got, c.want)
		}
	}
	if got := RankCounts([]int{0, 1, 2, 3, 4, 4, 5, -1}, 4, 5); got[4] != 2 || got[0]+got[1]+got[2]+got[3] != 4 {
		t.Errorf("counts %v", got)
	}
}
