package plan

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"sort"
	"strings"
	"testing"
	"time"
)

// `make plan-table`: what Solve finds, bounds and proves on the problem files in
// the folder that PLAN_TABLE names, beside what a general solver (CBC, of the
// system's packages; a test tool only) takes for the same columns in the same
// run. It fails where the two contradict each other.
func TestPlanTable(t *testing.T) {
	dir := os.Getenv("PLAN_TABLE")
	if dir == "" {
		t.Skip("PLAN_TABLE names no folder of problem files; make plan-table does")
	}
	cbc, err := exec.LookPath("cbc")
	if err != nil {
		t.Skip("cbc is not installed (apt-get install coinor-cbc)")
	}
	files, err := filepath.Glob(filepath.Join(dir, "c*_j*.json"))
	if err != nil || len(files) == 0 {
		t.Skipf("no problem files in %s: run make plan-table, which names a folder that has them", dir)
	}
	sort.Slice(files, func(a, b int) bool { return sizeOf(files[a]) < sizeOf(files[b]) })
	fmt.Println("| file | columns | found | bound | gap | proven | time | CBC's best | CBC proven | CBC's time |\n|---|---|---|---|---|---|---|---|---|---|")
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		in, err := ReadInstance(data)
		if err != nil {
			t.Fatal(err)
		}
		begin := time.Now()
		pl := Solve(in)
		took := time.Since(begin)
		p := newProblem(&in)
		best, proven, cbcTook := runCBC(t, cbc, p)
		fmt.Printf("| %s | %d | %d | %d | %.3f %% | %t | %.2f s | %s | %t | %.2f s |\n", strings.TrimSuffix(filepath.Base(f), ".json"), p.model.cols.len(),
			pl.Objective, pl.Bound, 100*pl.Gap(), pl.Proven, took.Seconds(), best.words(), proven, cbcTook.Seconds())
		if best.found && (best.value > pl.Bound || proven && pl.Objective > best.value) {
			t.Errorf("%s: CBC reached %d (proven %t), Solve found %d of at most %d", f, best.value, proven, pl.Objective, pl.Bound)
		}
	}
}

// sizeOf orders files by their number of jobs.
func sizeOf(file string) (n int) {
	_, rest, _ := strings.Cut(filepath.Base(file), "_j")
	_, _ = fmt.Sscanf(rest, "%d", &n)
	return n
}

type cbcBest struct {
	found bool
	value int64
}

func (b cbcBest) words() string {
	if !b.found {
		return "none"
	}
	return fmt.Sprint(b.value)
}

// cbcSeconds is how long CBC may try one file.
const cbcSeconds = 120

// runCBC has CBC pack the columns of p: each job at most once, each class's
// crews on each day.
func runCBC(t *testing.T, cbc string, p *problem) (cbcBest, bool, time.Duration) {
	t.Helper()
	lp, out := filepath.Join(t.TempDir(), "p.lp"), filepath.Join(t.TempDir(), "p.sol")
	if err := writeLP(lp, p.model); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 2*cbcSeconds*time.Second)
	defer cancel()
	begin := time.Now()
	said, err := exec.CommandContext(ctx, cbc, lp, "ratio", "0", "allow", "0", "sec", fmt.Sprint(cbcSeconds), "timemode", "elapsed", "solve", "solu", out).CombinedOutput()
	took := time.Since(begin)
	if err != nil {
		t.Fatalf("cbc: %v\n%s", err, said)
	}
	sol, err := os.Open(out)
	if err != nil {
		return cbcBest{}, false, took
	}
	defer sol.Close()
	lines := bufio.NewScanner(sol)
	if !lines.Scan() {
		return cbcBest{}, false, took
	}
	proven := strings.HasPrefix(lines.Text(), "Optimal")
	best := cbcBest{found: true, value: p.base + p.frozenAt}
	for lines.Scan() {
		var row, c int
		var x float64
		if n, _ := fmt.Sscanf(strings.TrimPrefix(strings.TrimSpace(lines.Text()), "**"), "%d x%d %g", &row, &c, &x); n == 3 && x > 0.5 && c < p.model.cols.len() {
			best.value += p.model.cols.gain[c]
		}
	}
	return best, proven, took
}

// writeLP writes the packing as CBC reads it.
func writeLP(file string, m *model) error {
	f, err := os.Create(file)
	if err != nil {
		return err
	}
	w := bufio.NewWriter(f)
	fmt.Fprintln(w, "Maximize\n obj:")
	for c, g := range m.cols.gain {
		fmt.Fprintf(w, " + %d x%d\n", g, c)
	}
	fmt.Fprintln(w, "Subject To")
	list, at := m.byJob()
	for j := range m.jobs {
		if at[j] == at[j+1] {
			continue
		}
		fmt.Fprintf(w, " j%d:", j)
		for _, c := range list[at[j]:at[j+1]] {
			fmt.Fprintf(w, " + x%d\n", c)
		}
		fmt.Fprintln(w, " <= 1")
	}
	rows := map[[2]int][]int{}
	for c := range m.cols.gain {
		for d := m.cols.first[c]; d <= m.cols.last[c]; d++ {
			k := [2]int{int(m.cols.class[c]), int(d)}
			rows[k] = append(rows[k], c)
		}
	}
	for k := range m.crews {
		for d := range m.days {
			cs := rows[[2]int{k, d}]
			if len(cs) == 0 {
				continue
			}
			fmt.Fprintf(w, " k%d_%d:", k, d)
			for _, c := range cs {
				fmt.Fprintf(w, " + x%d\n", c)
			}
			fmt.Fprintf(w, " <= %d\n", m.crews[k])
		}
	}
	fmt.Fprintln(w, "Binaries")
	for c := range m.cols.gain {
		fmt.Fprintf(w, " x%d\n", c)
	}
	fmt.Fprintln(w, "End")
	if err := w.Flush(); err != nil {
		return err
	}
	return f.Close()
}
