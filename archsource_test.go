package laycast_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

// readsClock are the functions of package time that ask the machine's clock or
// wait on it.
var readsClock = []string{"Now", "Since", "Until"}

// waits are further functions of package time that pure packages do without.
var waits = []string{"Sleep", "After", "AfterFunc", "Tick", "NewTimer", "NewTicker", "Local"}

// seededRand is what pure packages may use of math/rand/v2: generators that are
// given a seed. Its other functions draw from a global, unseeded one.
var seededRand = []string{"New", "NewPCG", "NewChaCha8", "NewZipf", "Rand", "Source", "PCG", "ChaCha8", "Zipf"}

// mayReadClock are the packages in which one clock is read and handed down, or
// that only tests use.
var mayReadClock = map[string]bool{"cmd/laycast": true, "db/dbtest": true, "db/pgtest": true}

// mayCountHours are the places where 24 hours are 24 hours and not a day, and
// the helpers of tests.
func mayCountHours(pkg, file string) bool {
	_, helper := testOnly[pkg]
	return helper || pkg == "rules/physics" || pkg == "job" && file == "date.go"
}

func TestSourcesKeepToTheRules(t *testing.T) {
	files := 0
	for _, p := range listPackages(t) {
		for _, f := range slices.Concat(p.GoFiles, p.CgoFiles) {
			files++
			for _, fault := range sourceFaults(t, name(p.ImportPath), filepath.Join(p.Dir, f), nil) {
				t.Error(fault)
			}
		}
	}
	if files < 20 {
		t.Fatalf("only %d source files were looked at", files)
	}
}

// sourceFaults looks at one file (or at src, when given) of a package.
func sourceFaults(t *testing.T, pkg, path string, src any) []string {
	t.Helper()
	fset := token.NewFileSet()
	file, err := parser.ParseFile(fset, path, src, parser.SkipObjectResolution|parser.ParseComments)
	if err != nil {
		t.Fatalf("%s cannot be read: %v", path, err)
	}
	s := scanner{sockets: map[ast.Node]bool{}, pkg: pkg, file: filepath.Base(path), imports: importNames(file), elapsed: elapsedLines(fset, file), fset: fset}
	ast.Inspect(file, s.look)
	return s.faults
}

type scanner struct {
	pkg, file string
	imports   map[string]string // local name to path
	elapsed   map[int]bool      // lines whose comment says that hours are meant
	sockets   map[ast.Node]bool // readings of the clock for a socket's deadline
	fset      *token.FileSet
	faults    []string
}

func (s *scanner) fault(n ast.Node, format string, args ...any) {
	at := s.fset.Position(n.Pos())
	s.faults = append(s.faults, fmt.Sprintf("%s/%s:%d: %s", s.pkg, s.file, at.Line, fmt.Sprintf(format, args...)))
}

func (s *scanner) look(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.SelectorExpr:
		s.selector(n)
	case *ast.CallExpr:
		s.socket(n)
	case *ast.BinaryExpr:
		if !mayCountHours(s.pkg, s.file) && s.countsDay(n) && !s.elapsed[s.fset.Position(n.Pos()).Line] {
			s.fault(n, "24 hours are no day where clocks change: use job.Date.AddDays; if hours are meant, say so in a comment on this line or the one above, `// elapsed: why`")
		}
	case *ast.ImportSpec:
		if n.Name != nil && n.Name.Name == "." {
			s.fault(n, "a dot import hides where names come from")
		}
	}
	return true
}

func (s *scanner) selector(sel *ast.SelectorExpr) {
	path, member := s.member(sel)
	switch {
	case path == "time" && slices.Contains(readsClock, member) && !mayReadClock[s.pkg] && !s.sockets[sel]:
		s.fault(sel, "time.%s reads the machine's clock: take the time as an argument", member)
	case path == "time" && slices.Contains(waits, member) && pure[s.pkg]:
		s.fault(sel, "time.%s has no place in a pure package", member)
	case path == "math/rand/v2" && !slices.Contains(seededRand, member) && pure[s.pkg]:
		s.fault(sel, "rand.%s draws from a generator without a seed: hand in a *rand.Rand", member)
	}
}

// socket lets the deadline of a network connection be told in the machine's
// time: the operating system knows no other.
func (s *scanner) socket(call *ast.CallExpr) {
	fun, ok := call.Fun.(*ast.SelectorExpr)
	if !ok || !slices.Contains([]string{"SetDeadline", "SetReadDeadline", "SetWriteDeadline"}, fun.Sel.Name) {
		return
	}
	for _, arg := range call.Args {
		ast.Inspect(arg, func(n ast.Node) bool {
			if n != nil {
				s.sockets[n] = true
			}
			return true
		})
	}
}

// elapsedLines gives the lines to which a comment "elapsed: why" belongs: its
// own and the one below.
func elapsedLines(fset *token.FileSet, f *ast.File) map[int]bool {
	lines := map[int]bool{}
	for _, group := range f.Comments {
		for _, c := range group.List {
			if _, why, ok := strings.Cut(c.Text, "elapsed:"); ok && strings.TrimSpace(why) != "" {
				end := fset.Position(group.End()).Line
				lines[fset.Position(c.Pos()).Line], lines[end], lines[end+1] = true, true, true
			}
		}
	}
	return lines
}

// member gives the import path and name that a selector such as time.Now means,
// "" when it is no member of a package.
func (s *scanner) member(e ast.Expr) (path, name string) {
	sel, ok := e.(*ast.SelectorExpr)
	if !ok {
		return "", ""
	}
	id, ok := sel.X.(*ast.Ident)
	if !ok {
		return "", ""
	}
	return s.imports[id.Name], sel.Sel.Name
}

// countsDay finds 24 * time.Hour in any order and grouping, 168 for a week, and
// d.Hours() / 24.
func (s *scanner) countsDay(b *ast.BinaryExpr) bool {
	if b.Op == token.QUO {
		call, ok := b.X.(*ast.CallExpr)
		if !ok || !isDay(b.Y) {
			return false
		}
		sel, ok := call.Fun.(*ast.SelectorExpr)
		return ok && sel.Sel.Name == "Hours"
	}
	day, hour := false, false
	for _, f := range factors(b) {
		day = day || isDay(f)
		path, member := s.member(f)
		hour = hour || path == "time" && member == "Hour"
	}
	return day && hour
}

// factors takes a product apart, through brackets and conversions.
func factors(e ast.Expr) []ast.Expr {
	switch e := e.(type) {
	case *ast.ParenExpr:
		return factors(e.X)
	case *ast.CallExpr:
		if len(e.Args) == 1 {
			return factors(e.Args[0])
		}
	case *ast.BinaryExpr:
		if e.Op == token.MUL {
			return append(factors(e.X), factors(e.Y)...)
		}
	}
	return []ast.Expr{e}
}

func isDay(e ast.Expr) bool {
	lit, ok := e.(*ast.BasicLit)
	return ok && (lit.Value == "24" || lit.Value == "24.0" || lit.Value == "168")
}

func importNames(f *ast.File) map[string]string {
	names := map[string]string{}
	for _, imp := range f.Imports {
		path, err := strconv.Unquote(imp.Path.Value)
		if err != nil {
			continue // the parser has refused it already
		}
		local := path[strings.LastIndex(path, "/")+1:]
		if path == "math/rand/v2" {
			local = "rand"
		}
		if imp.Name != nil {
			local = imp.Name.Name
		}
		names[local] = path
	}
	return names
}

// The scan must be able to find a fault, and to leave alone what is none.
func TestSourceScanFindsMadeUpFaults(t *testing.T) {
	const head = "package x\nimport (\"time\"; clock \"time\"; \"math/rand/v2\"; \"strings\")\nvar d time.Duration; var n int\n"
	for _, c := range []struct {
		pkg, file, code string
		ok              bool
	}{
		{"web", "a.go", "var _ = time.Now()", false},
		{"web", "a.go", "var f = time.Now", false},
		{"web", "a.go", "var _ = clock.Since(time.Time{})", false},
		{"web", "a.go", "var time_ struct{ Now int }; var _ = time_.Now", true},
		{"cmd/laycast", "a.go", "var _ = time.Now()", true},
		{"rules", "a.go", "func f() { time.Sleep(d) }", false},
		{"web", "a.go", "func f() { time.Sleep(d) }", true},
		{"rules", "a.go", "var _ = rand.IntN(3)", false},
		{"rules", "a.go", "var _ = rand.New(rand.NewPCG(1, 2)).IntN(3)", true},
		{"web", "a.go", "const day = 24 * time.Hour", false},
		{"web", "a.go", "var _ = time.Duration(n) * (time.Hour * 24)", false},
		{"web", "a.go", "var _ = time.Duration(24*n) * clock.Hour", false},
		{"web", "a.go", "const week = 168 * time.Hour", false},
		{"web", "a.go", "var _ = d.Hours() / 24", false},
		{"web", "a.go", "var _ = int(d.Hours()) % 24", true},
		{"web", "a.go", "const day = 24 * time.Hour // elapsed: the page says 24 h", true},
		{"web", "a.go", "// elapsed: a lease lasts\n// that long\nconst day = 24 * time.Hour", true},
		{"web", "a.go", "const day = 24 * time.Hour // elapsed:", false},
		{"web", "a.go", "var c interface{ SetDeadline(time.Time) }; func f() { c.SetDeadline(time.Now().Add(d)) }", true},
		{"web", "a.go", "var c interface{ SetDue(time.Time) }; func f() { c.SetDue(time.Now().Add(d)) }", false},
		{"web", "a.go", "const h = 36 * time.Hour; const m = 24 * time.Minute", true},
		{"rules/physics", "a.go", "const day = 24 * time.Hour", true},
		{"job", "date.go", "const day = 24 * time.Hour", true},
		{"job", "job.go", "const day = 24 * time.Hour", false},
	} {
		faults := sourceFaults(t, c.pkg, c.file, head+c.code+"\nvar _ = strings.ToUpper\n")
		if (len(faults) == 0) != c.ok {
			t.Errorf("%s/%s %q: faults %q, want allowed = %v", c.pkg, c.file, c.code, faults, c.ok)
		}
	}
	if faults := sourceFaults(t, "web", "a.go", "package x\nimport . \"time\"\nvar _ = Now()\n"); len(faults) == 0 {
		t.Error("a dot import of time passes")
	}
}
