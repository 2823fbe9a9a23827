package plan

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// shared finds a folder of the data kept beside the repository.
func shared(t testing.TB, parts ...string) string {
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		p := filepath.Join(append([]string{dir, "shared"}, parts...)...)
		if _, err := os.Stat(p); err == nil {
			return p
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Skipf("no folder shared/%s beside the repository: the planning benchmark is not here", filepath.Join(parts...))
		}
		dir = up
	}
}

type known struct {
	name   string
	in     Input
	Base   int64 `json:"base"`
	Gain   int64 `json:"gain"`
	Upper  int64 `json:"gain_upper_bound"`
	Proven bool  `json:"proven"`
}

// instances reads the benchmark with the best plans known.
func instances(t testing.TB) []known {
	dir := shared(t, "planner", "instances")
	raw, err := os.ReadFile(filepath.Join(dir, "optima.json"))
	if err != nil {
		t.Fatal(err)
	}
	var optima map[string]known
	if err := json.Unmarshal(raw, &optima); err != nil {
		t.Fatal(err)
	}
	files, _ := filepath.Glob(filepath.Join(dir, "c*.json"))
	var out []known
	for _, f := range files {
		raw, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		in, err := ReadInstance(raw)
		if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimSuffix(filepath.Base(f), ".json")
		k, ok := optima[name]
		if !ok {
			t.Fatalf("%s has no entry in optima.json", name)
		}
		k.name, k.in = name, in
		out = append(out, k)
	}
	if len(out) == 0 {
		t.Fatal("the benchmark folder holds no instances")
	}
	return out
}

func TestBenchmarkInstances(t *testing.T) {
	for _, k := range instances(t) {
		t.Run(k.name, func(t *testing.T) {
			begin := time.Now()
			pl := Solve(k.in)
			took := time.Since(begin)
			if err := Check(k.in, pl); err != nil {
				t.Fatal(err)
			}
			if pl.Base != k.Base {
				t.Errorf("base %d, want %d", pl.Base, k.Base)
			}
			gain := pl.Objective - pl.Base
			if gain > k.Upper {
				t.Errorf("gain %d is above the proven bound %d", gain, k.Upper)
			}
			if pl.Bound-pl.Base < k.Gain {
				t.Errorf("bound %d is below a plan that exists, %d", pl.Bound-pl.Base, k.Gain)
			}
			if pl.Proven && gain < k.Gain {
				t.Errorf("claimed proven at %d, but %d exists", gain, k.Gain)
			}
			t.Logf("below best %.4f %%, printed gap %.4f %%, proven %t, %d ms",
				100*float64(k.Gain-gain)/float64(k.Gain), 100*pl.Gap(), pl.Proven, took.Milliseconds())
		})
	}
}

// The plans that come with the benchmark must be worth the same here as there.
func TestBenchmarkPlansRescored(t *testing.T) {
	for _, k := range instances(t) {
		raw, err := os.ReadFile(filepath.Join(shared(t, "planner", "instances", "plans"), k.name+".json"))
		if err != nil {
			t.Fatal(err)
		}
		var r Result
		if err := json.Unmarshal(raw, &r); err != nil {
			t.Fatal(err)
		}
		pl := planOf(t, k.in, r.Plan)
		pl.Base, pl.Objective, pl.Bound = k.Base, k.Base+k.Gain, k.Base+k.Upper
		if err := Check(k.in, pl); err != nil {
			t.Errorf("%s: %v", k.name, err)
		}
	}
}

// planOf makes a plan of bare placings, its gains from the column rules.
func planOf(t testing.TB, in Input, vs []ResultPlacing) Plan {
	p := newProblem(&in)
	var ps []placed
	var pl Plan
	done := make([]bool, len(in.Jobs))
	for _, v := range vs {
		w := in.Jobs[v.Job].Ways[in.Crews[v.Crew].Size]
		last, ok := in.run(v.Day, daysNeeded(w.HalfDays), in.Jobs[v.Job].NoGap)
		if !ok {
			t.Fatalf("job %d does not fit from day %d", v.Job, v.Day)
		}
		ps = append(ps, placed{job: v.Job, crew: v.Crew, first: v.Day, last: last, slot: v.Slot, way: &w})
	}
	for i, g := range in.gains(ps) {
		v := ps[i]
		done[v.job] = true
		pl.Placings = append(pl.Placings, Placing{Job: in.Jobs[v.job].ID, Crew: in.Crews[v.crew].ID, Day: v.first,
			Slot: v.slot, HalfDays: v.way.HalfDays, Days: in.daysBetween(v.first, v.last), Gain: g})
	}
	for j := range in.Jobs {
		if !done[j] {
			why := NoRoom
			if p.why[j] != "" {
				why = p.why[j]
			}
			pl.Left = append(pl.Left, Left{Job: in.Jobs[j].ID, Reason: why})
		}
	}
	return pl
}
