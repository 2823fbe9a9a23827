package laycast_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

const module = "laycast"

// levels is where each package stands. Imports go only downwards, never within
// a level save as kin says. A new package is put here on purpose, or the test
// fails.
var levels = map[string]int{
	"":                   0, // this package: nothing in it
	"job":                0,
	"job/access":         0,
	"job/aslaid":         0,
	"job/photo":          0,
	"rules/physics":      0,
	"rules/datafile":     0,
	"forecast":           0,
	"forecast/attempt":   0,
	"forecast/openmeteo": 0,
	"forecast/metno":     0,
	"forecast/nws":       0,
	"forecast/skill":     0,
	"forecast/replay":    0,
	"scheduler/task":     0,
	"db/archive":         0,
	"rules":              1,
	"rules/mix":          2,
	"rules/load":         2,
	"rules/site":         2,
	"scheduler/plan":     2,
	"scheduler/call":     2,
	"notify":             3,
	"notify/calendar":    3,
	"notify/smtp":        3,
	"notify/file":        3,
	"notify/webhook":     3,
	"notify/ribbon":      3,
	"notify/sheet":       3,
	"scheduler/season":   3,
	"scheduler/verify":   3,
	"scheduler/ledger":   4,
	"scheduler":          5,
	"scheduler/replay":   5,
	"web":                5,
	"web/metrics":        5,
	"web/served":         5, // for tests only
	"db":                 5,
	"db/dbtest":          5, // for tests of db only
	"db/pgtest":          5, // for tests only
	"cmd/laycast":        6,

	"cmd/laycast/browser": 6, // tests from outside only
}

// kin are the imports allowed within a level: importer to imported.
var kin = map[string][]string{
	"forecast/attempt":   {"forecast"},
	"forecast/openmeteo": {"forecast", "forecast/attempt"},
	"forecast/metno":     {"forecast", "forecast/attempt"},
	"forecast/nws":       {"forecast", "forecast/attempt"},
	"forecast/skill":     {"forecast"},
	"forecast/replay":    {"forecast"},
	"rules/datafile":     {"job"},
	"job/aslaid":         {"job"},
	"rules/load":         {"rules/mix"},
	"rules/site":         {"rules/mix"},
	"notify":             {"notify/ribbon"},
	"notify/smtp":        {"notify"},
	"notify/sheet":       {"notify"},
	"notify/calendar":    {"notify"},
	"notify/file":        {"notify"},
	"notify/webhook":     {"notify"},
	"db/dbtest":          {"db"},
	"scheduler/replay":   {"scheduler"}, // it drives the daemon's own tasks
}

// barred are imports that the levels would allow.
var barred = map[string]map[string]string{
	"scheduler/plan": {"rules": "plan.Input holds numbers only; scheduler maps verdicts to it"},
}

// testOnly are packages that only tests may import, and whose: "" = anybody's.
var testOnly = map[string]string{"db/dbtest": "db", "db/pgtest": "", "web/served": ""}

// pure packages compute from their arguments alone.
var pure = map[string]bool{
	"job": true, "rules": true, "rules/physics": true, "scheduler/plan": true, "scheduler/call": true, "forecast": true,
	"forecast/skill": true, "scheduler/task": true, "job/access": true, "job/aslaid": true, "job/photo": true,
	"scheduler/season": true, "rules/datafile": true, "rules/mix": true, "rules/load": true, "rules/site": true, "scheduler/verify": true,
}

// impure are the imports (with all below them) that pure packages keep away from.
var impure = []string{"net", "os", "database/sql", "log", "context", "github.com/rs/zerolog", "math/rand", "crypto/rand", "syscall"}

// pkg is what `go list -json` says of a package.
type pkg struct {
	ImportPath string
	Dir        string
	GoFiles    []string
	CgoFiles   []string
	Imports    []string

	TestImports  []string
	XTestImports []string
}

// name gives the path within the module, "" for its root.
func name(importPath string) string {
	return strings.TrimPrefix(strings.TrimPrefix(importPath, module), "/")
}

func ours(importPath string) bool {
	return importPath == module || strings.HasPrefix(importPath, module+"/")
}

func listPackages(t *testing.T) []pkg {
	t.Helper()
	var stderr bytes.Buffer
	cmd := exec.Command("go", "list", "-e", "-json=ImportPath,Dir,GoFiles,CgoFiles,Imports,TestImports,XTestImports", "./...")
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v: %s", err, stderr.String())
	}
	var pkgs []pkg
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("go list gave something else than JSON: %v", err)
		}
		pkgs = append(pkgs, p)
	}
	if len(pkgs) < 5 {
		t.Fatalf("go list found only %d packages: is this the module's root?", len(pkgs))
	}
	return pkgs
}

func TestImportRule(t *testing.T) {
	for _, p := range listPackages(t) {
		for _, fault := range importFaults(p) {
			t.Error(fault)
		}
	}
}

func TestPurePackagesImportNothingImpure(t *testing.T) {
	for _, p := range listPackages(t) {
		for _, fault := range purityFaults(p) {
			t.Error(fault)
		}
	}
}

// importFaults says which of a package's imports break the rule.
func importFaults(p pkg) (faults []string) {
	from := name(p.ImportPath)
	if _, placed := levels[from]; !placed {
		return []string{fmt.Sprintf("package %s has no level: decide where it stands and add it to levels in arch_test.go", p.ImportPath)}
	}
	for _, imp := range p.Imports {
		if !ours(imp) {
			continue
		}
		if why := edgeFault(from, name(imp)); why != "" {
			faults = append(faults, fmt.Sprintf("%s imports %s: %s", from, name(imp), why))
		}
	}
	for _, imp := range slices.Concat(p.TestImports, p.XTestImports) {
		owner, special := testOnly[name(imp)]
		if ours(imp) && special && owner != "" && owner != from {
			faults = append(faults, fmt.Sprintf("the tests of %s import %s: only those of %s may", from, name(imp), owner))
		}
	}
	return faults
}

// edgeFault says why one package must not import another, "" when it may.
func edgeFault(from, to string) string {
	high, okFrom := levels[from]
	low, okTo := levels[to]
	_, onlyTests := testOnly[to]
	switch {
	case !okFrom || !okTo:
		return "one of them has no level in arch_test.go"
	case onlyTests:
		return "it is for tests only"
	case barred[from][to] != "":
		return barred[from][to]
	case low < high:
		return ""
	case low > high:
		return fmt.Sprintf("imports go downwards only, and %s stands at level %d, %s at level %d", from, high, to, low)
	}
	if slices.Contains(kin[from], to) {
		return ""
	}
	return fmt.Sprintf("both stand at level %d, and packages of a level never import each other", high)
}

// purityFaults says which of a pure package's direct imports are impure.
func purityFaults(p pkg) (faults []string) {
	from := name(p.ImportPath)
	if !pure[from] {
		return nil
	}
	for _, imp := range p.Imports {
		if ours(imp) {
			if !pure[name(imp)] {
				faults = append(faults, fmt.Sprintf("pure package %s imports %s, which is not pure", from, name(imp)))
			}
			continue
		}
		for _, bad := range impure {
			seeded := bad == "math/rand" && imp == "math/rand/v2" // archsource_test.go sees to its seeds
			if (imp == bad || strings.HasPrefix(imp, bad+"/")) && !seeded {
				faults = append(faults, fmt.Sprintf("pure package %s imports %s", from, imp))
			}
		}
	}
	return faults
}

// The checkers must be able to find a fault.
func TestImportRuleFindsMadeUpFaults(t *testing.T) {
	for _, c := range []struct {
		from, to string
		ok       bool
	}{
		{"rules", "job", true}, {"rules", "rules/physics", true}, {"cmd/laycast", "web", true}, {"scheduler", "scheduler/ledger", true},
		{"forecast/openmeteo", "forecast", true}, {"notify", "notify/ribbon", true}, {"notify/smtp", "notify", true}, {"scheduler/plan", "job", true},
		{"job", "rules", false}, {"scheduler", "db", false}, {"db", "web", false}, {"web", "scheduler", false}, {"scheduler/plan", "rules", false},
		{"scheduler/plan", "scheduler/call", false}, {"forecast", "forecast/openmeteo", false}, {"notify/ribbon", "notify", false},
		{"notify/smtp", "notify/calendar", false}, {"forecast/skill", "job", false}, {"db", "db/dbtest", false}, {"db/dbtest", "db", true}, {"cmd/laycast", "db/pgtest", false},
		{"web", "cmd/laycast", false}, {"rules", "newcomer", false},
	} {
		p := pkg{ImportPath: module + "/" + c.from, Imports: []string{"fmt", module + "/" + c.to}}
		if faults := importFaults(p); (len(faults) == 0) != c.ok {
			t.Errorf("%s imports %s: faults %q, want allowed = %v", c.from, c.to, faults, c.ok)
		}
	}
	if faults := importFaults(pkg{ImportPath: module + "/util"}); len(faults) != 1 || !strings.Contains(faults[0], "add it to levels") {
		t.Errorf("a package without a level passes: %q", faults)
	}
	if faults := importFaults(pkg{ImportPath: module + "/web", TestImports: []string{module + "/db/dbtest"}}); len(faults) != 1 {
		t.Errorf("web's tests may import db/dbtest: %q", faults)
	}
	if faults := importFaults(pkg{ImportPath: module + "/db", XTestImports: []string{module + "/db/dbtest", module + "/db/pgtest"}}); len(faults) != 0 {
		t.Errorf("db's own tests may not import its test suite: %q", faults)
	}
}

func TestPurityFindsMadeUpFaults(t *testing.T) {
	for imp, ok := range map[string]bool{
		"fmt": true, "time": true, "math/rand/v2": true, module + "/job": true, "net/netip": false, "os": false, "os/exec": false, "database/sql": false,
		"log/slog": false, "context": false, "math/rand": false, "github.com/rs/zerolog/log": false, module + "/forecast/openmeteo": false,
	} {
		if faults := purityFaults(pkg{ImportPath: module + "/rules", Imports: []string{imp}}); (len(faults) == 0) != ok {
			t.Errorf("rules imports %s: faults %q, want allowed = %v", imp, faults, ok)
		}
	}
	if faults := purityFaults(pkg{ImportPath: module + "/web", Imports: []string{"net/http"}}); len(faults) != 0 {
		t.Errorf("web is held to purity: %q", faults)
	}
}
