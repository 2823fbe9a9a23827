package pgtest

import (
	"bufio"
	"database/sql"
	"errors"
	"net"
	"net/url"
	"os"
	osexec "os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestMain(m *testing.M) {
	code := m.Run()
	Stop()
	os.Exit(code)
}

func query(t *testing.T, dsn, q string) string {
	t.Helper()
	db, err := sql.Open("pgx", dsn)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var s string
	if err := db.QueryRow(q).Scan(&s); err != nil {
		t.Fatalf("%s: %v", q, err)
	}
	return s
}

func TestEachCallGivesAnEmptyDatabaseOfOneCluster(t *testing.T) {
	a, b := Start(t), Start(t)
	if a == b {
		t.Fatalf("two calls gave one database, %s", a)
	}
	db, err := sql.Open("pgx", a)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if _, err := db.Exec("CREATE TABLE roof (id TEXT)"); err != nil {
		t.Fatal(err)
	}
	if n := query(t, b, "SELECT count(*)::text FROM pg_tables WHERE tablename = 'roof'"); n != "0" {
		t.Errorf("a table of one database shows in the other")
	}
	if query(t, a, "SHOW data_directory") != query(t, b, "SHOW data_directory") {
		t.Errorf("two clusters were started")
	}
	if enc := query(t, a, "SHOW server_encoding"); enc != "UTF8" {
		t.Errorf("encoding %s", enc)
	}
}

func TestADatabaseIsDroppedWithItsTest(t *testing.T) {
	outer := Start(t)
	var inner string
	t.Run("inner", func(t *testing.T) { inner = Start(t) })
	u, err := url.Parse(inner)
	if err != nil {
		t.Fatal(err)
	}
	if n := query(t, outer, "SELECT count(*)::text FROM pg_database WHERE datname = '"+strings.TrimPrefix(u.Path, "/")+"'"); n != "0" {
		t.Errorf("database %s outlived its test", u.Path)
	}
}

func TestThePasswordIsAskedFor(t *testing.T) {
	u, err := url.Parse(Start(t))
	if err != nil {
		t.Fatal(err)
	}
	u.User = url.UserPassword("postgres", "wrong")
	if err := exec(u.String(), "SELECT 1"); err == nil {
		t.Error("anybody on this machine may use the cluster")
	}
}

// recorder is a testing.TB that notes how it was ended.
type recorder struct {
	testing.TB
	skipped string
}

func (r *recorder) Helper() {}
func (r *recorder) Skipf(format string, args ...any) {
	r.skipped = format
	panic(r)
}

func TestWithoutPostgreSQLTheTestIsSkippedWithTheRemedy(t *testing.T) {
	t.Setenv(EnvDSN, "")
	l := &lazyCluster{find: func() (binaries, error) { return binaries{}, errors.New("none here") }}
	r := &recorder{TB: t}
	func() {
		defer func() {
			if p := recover(); p != nil && p != any(r) {
				panic(p)
			}
		}()
		l.database(r)
	}()
	if !strings.Contains(r.skipped, "install the package named postgresql") {
		t.Errorf("skipped with %q", r.skipped)
	}
}

func TestAClusterThatCannotStartLeavesNothingBehind(t *testing.T) {
	tmp := t.TempDir()
	t.Setenv("TMPDIR", tmp)
	// open to the server's user, who is not root
	if err := errors.Join(os.Chmod(filepath.Dir(tmp), 0o755), os.Chmod(tmp, 0o755)); err != nil {
		t.Fatal(err)
	}
	if _, err := startCluster(binaries{initdb: "/bin/false", postgres: "/bin/false"}); err == nil || !strings.Contains(err.Error(), "initdb") {
		t.Errorf("got %v", err)
	}
	if left, _ := filepath.Glob(filepath.Join(os.TempDir(), "*")); len(left) > 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestATakenPortIsRecognised(t *testing.T) {
	bin, err := findBinaries()
	if err != nil {
		t.Skipf("PostgreSQL is not installed (%v): install the package named postgresql", err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	c, err := startAt(bin, settings, l.Addr().(*net.TCPAddr).Port)
	if err == nil {
		c.stop()
	}
	if !errors.Is(err, errPortTaken) {
		t.Errorf("got %v", err)
	}
}

// What was committed before the server was stopped, in either way, is there when
// it is started again.
func TestAServerIsStoppedAndStarted(t *testing.T) {
	s := Own(t)
	if err := exec(s.DSN, "CREATE TABLE roof (id TEXT)"); err != nil {
		t.Fatal(err)
	}
	for i, fast := range []bool{true, false} {
		if err := exec(s.DSN, "INSERT INTO roof VALUES ('a')"); err != nil {
			t.Fatal(err)
		}
		s.Halt(t, fast)
		if err := exec(s.DSN, "SELECT 1"); err == nil {
			t.Error("it still answers")
		}
		s.Resume(t)
		if n := query(t, s.DSN, "SELECT count(*)::text FROM roof"); n != string(rune('1'+i)) {
			t.Errorf("%s rows after stop %d", n, i+1)
		}
	}
}

// TestMain of a process that is killed has no say: the cluster must end anyway.
func TestAKilledProcessLeavesNoCluster(t *testing.T) {
	if os.Getenv("PGTEST_VICTIM") != "" {
		os.Stdout.WriteString("DIR " + filepath.Dir(query(t, Start(t), "SHOW data_directory")) + "\n")
		select {} // until killed
	}
	Start(t) // skips where there is no PostgreSQL
	if shared.cluster == nil {
		t.Skipf("the server named by %s is not ours to end; unset it to run this test", EnvDSN)
	}
	victim := osexec.Command(os.Args[0], "-test.run=^TestAKilledProcessLeavesNoCluster$")
	victim.Env = append(os.Environ(), "PGTEST_VICTIM=1")
	out, err := victim.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := victim.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(out).ReadString('\n')
	dir, ok := strings.CutPrefix(strings.TrimSpace(line), "DIR ")
	if err != nil || !ok {
		t.Fatalf("the victim said %q, %v", line, err)
	}
	if err := victim.Process.Kill(); err != nil {
		t.Fatal(err)
	}
	victim.Wait() //nolint:errcheck // killed, as was meant
	awaitGone(t, filepath.Join(dir, "data"))
	os.RemoveAll(dir)
}

func awaitGone(t *testing.T, path string) {
	t.Helper()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for range 400 {
		if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
			return
		}
		<-tick.C
	}
	t.Fatalf("%s is still there 20 s after its process was killed", path)
}
