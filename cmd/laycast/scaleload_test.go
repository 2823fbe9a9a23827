package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"os/signal"
	"path/filepath"
	"runtime/pprof"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"

	"laycast/scheduler"
)

// scaleTables hold what is copied of a firm, in the order in which rows refer to
// one another. Mails of the past and links are left out.
var scaleTables = []string{"firms", "crews", "jobs", "visits", "weeks", "calls", "tasks", "published"}

// multiply makes so many firms of one that is there and copies of it, by COPY, with
// their sites elsewhere.
func (st *stage) multiply(like string, firms int) {
	st.t.Helper()
	ctx := st.t.Context()
	check := func(what string, err error) {
		if err != nil {
			st.t.Helper()
			st.t.Fatalf("%s: %v", what, err)
		}
	}
	c, err := st.raw.Conn(ctx)
	check("connect", err)
	defer func() { _ = c.Close() }()
	for _, table := range scaleTables {
		err := c.Raw(func(driver any) error {
			return copyTable(ctx, driver.(*stdlib.Conn).Conn(), table, like, firms)
		})
		check("copy "+table, err)
	}
	st.move(like, firms)
	_, err = st.raw.ExecContext(ctx, `ANALYZE`)
	check("analyze", err)
}

// move takes the sites of the first firm to where the others' may be.
func (st *stage) move(firm string, firms int) {
	st.t.Helper()
	ids, err := st.raw.QueryContext(st.t.Context(), `SELECT id, body FROM jobs WHERE firm = $1 ORDER BY id`, firm)
	if err != nil {
		st.t.Fatal(err)
	}
	defer func() { _ = ids.Close() }()
	var id, body string
	for nth := 0; ids.Next(); nth++ {
		if err := ids.Scan(&id, &body); err != nil {
			st.t.Fatal(err)
		}
		if body, err = moved(body, 0, firms, nth); err != nil {
			st.t.Fatal(err)
		}
		if _, err := st.raw.ExecContext(st.t.Context(), `UPDATE jobs SET body = $1 WHERE firm = $2 AND id = $3`, body, firm, id); err != nil {
			st.t.Fatal(err)
		}
	}
	if err := ids.Err(); err != nil {
		st.t.Fatal(err)
	}
}

// copyTable copies the rows of a firm once for each other firm.
func copyTable(ctx context.Context, c *pgx.Conn, table, like string, firms int) error {
	key := "firm"
	if table == "firms" {
		key = "uid"
	}
	found, err := c.Query(ctx, "SELECT * FROM "+table+" WHERE "+key+" = $1 ORDER BY 2", like)
	if err != nil {
		return err
	}
	var cols []string
	for _, f := range found.FieldDescriptions() {
		cols = append(cols, f.Name)
	}
	var rows [][]any
	for found.Next() {
		v, err := found.Values()
		if err != nil {
			return err
		}
		rows = append(rows, v)
	}
	if err := found.Err(); err != nil || len(rows) == 0 {
		return err
	}
	i := 0
	_, err = c.CopyFrom(ctx, pgx.Identifier{table}, cols, pgx.CopyFromFunc(func() ([]any, error) {
		if i == (firms-1)*len(rows) {
			return nil, nil
		}
		firm, nth := 1+i/len(rows), i%len(rows)
		i++
		return rowFor(table, cols, rows[nth], like, firm, firms, nth)
	}))
	return err
}

// rowFor gives a row as it is of another firm; a job's site lies elsewhere.
func rowFor(table string, cols []string, row []any, like string, firm, firms, nth int) ([]any, error) {
	row = slices.Clone(row)
	uid := fmt.Sprintf("firm-%05d", firm)
	for k, name := range cols {
		if name == "near" && table == "tasks" { // as the firm's last evening left it
			row[k] = scheduler.Near(scaleSites(firm, firms))
		}
		word, ok := row[k].(string)
		if !ok {
			continue
		}
		if name == "body" && table == "jobs" {
			var err error
			if word, err = moved(word, firm, firms, nth); err != nil {
				return nil, err
			}
		}
		row[k] = strings.ReplaceAll(word, like, uid)
	}
	return row, nil
}

// moved gives a booking with its site in another cell.
func moved(body string, firm, firms, nth int) (string, error) {
	var b map[string]any
	d := json.NewDecoder(strings.NewReader(body))
	d.UseNumber()
	if err := d.Decode(&b); err != nil {
		return "", err
	}
	site, ok := b["site"].(map[string]any)
	if !ok {
		return "", fmt.Errorf("a booking without a site: %.200s", body)
	}
	cell := scalePlace(firm, firms, nth)
	site["lat"], site["lon"] = cell.Lat, cell.Lon
	out, err := json.Marshal(b)
	return string(out), err
}

// usage is what the daemons and PostgreSQL take, read from /proc.
type usage struct {
	t              *testing.T
	daemons        []int
	postmaster     int
	daemon0, pg0   float64
	daemonMB, pgMB float64
}

// newUsage finds the processes; without a /proc the test is skipped.
func newUsage(t *testing.T, st *stage) *usage {
	t.Helper()
	if _, err := os.Stat("/proc/self/stat"); err != nil {
		t.Skip("there is no /proc here to read what processes take: run it on Linux")
	}
	u := &usage{t: t}
	for _, d := range st.daemons {
		u.daemons = append(u.daemons, d.cmd.Process.Pid)
	}
	backend := st.count(`SELECT pg_backend_pid()`)
	_, u.postmaster, _ = procStat(backend)
	if u.postmaster == 0 {
		t.Skip("PostgreSQL's processes cannot be looked at: run it as root or as the server's own user, the server on this machine")
	}
	return u
}

// ticks is how many of the kernel's clock ticks make a second: 100 on Linux
// (proc(5), sysconf(_SC_CLK_TCK)).
const ticks = 100

// procStat reads a process's processor seconds, its parent, and the seconds of
// its children that have ended; zeros for one that is gone.
func procStat(pid int) (own float64, parent int, ended float64) {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		return 0, 0, 0
	}
	_, rest, _ := bytes.Cut(b, []byte(") ")) // the name may hold anything
	f := strings.Fields(string(rest))
	if len(f) < 15 {
		return 0, 0, 0
	}
	num := func(i int) float64 { x, _ := strconv.ParseFloat(f[i], 64); return x }
	return (num(11) + num(12)) / ticks, int(num(1)), (num(13) + num(14)) / ticks
}

// procMB reads a line of a process's status, in MB.
func procMB(pid int, name string) float64 {
	b, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		return 0
	}
	for line := range strings.Lines(string(b)) {
		if f := strings.Fields(line); len(f) > 1 && f[0] == name+":" {
			kb, _ := strconv.ParseFloat(f[1], 64)
			return kb / 1024
		}
	}
	return 0
}

// backends gives PostgreSQL's processes below the first.
func (u *usage) backends() (out []int) {
	dirs, err := filepath.Glob("/proc/[0-9]*")
	if err != nil {
		u.t.Fatal(err)
	}
	for _, d := range dirs {
		pid, _ := strconv.Atoi(filepath.Base(d))
		if _, parent, _ := procStat(pid); parent == u.postmaster {
			out = append(out, pid)
		}
	}
	return out
}

// since gives the processor seconds since it was last asked, or since the
// processes began.
func (u *usage) since() (daemons, pg float64) {
	for _, pid := range u.daemons {
		own, _, _ := procStat(pid)
		daemons += own
	}
	own, _, ended := procStat(u.postmaster)
	pg = own + ended
	for _, pid := range u.backends() {
		own, _, _ := procStat(pid)
		pg += own
	}
	was, pgWas := u.daemon0, u.pg0
	u.daemon0, u.pg0 = daemons, pg
	return daemons - was, pg - pgWas
}

// sample notes what memory is taken now: of the daemons their resident memory, of
// PostgreSQL what each process has of its own and once what they share.
func (u *usage) sample() {
	d := 0.0
	for _, pid := range u.daemons {
		d += procMB(pid, "VmRSS")
	}
	own, shared := procMB(u.postmaster, "RssAnon"), procMB(u.postmaster, "RssShmem")
	for _, pid := range u.backends() {
		own += procMB(pid, "RssAnon")
		shared = max(shared, procMB(pid, "RssShmem"))
	}
	u.daemonMB, u.pgMB = max(u.daemonMB, d), max(u.pgMB, own+shared)
}

// most gives the greatest sums of memory that were seen, in MB.
func (u *usage) most() (daemons, pg float64) { return u.daemonMB, u.pgMB }

// profileEnv names the file that a daemon writes its processor profile to.
const profileEnv = "LAYCAST_TEST_PROFILE"

// profiled begins a profile of the calls where one is asked for: at SIGUSR1, which
// the test sends when they are due. It is written when the daemon is told to stop.
func profiled() {
	path := os.Getenv(profileEnv)
	if path == "" {
		return
	}
	f, err := os.Create(path)
	if err != nil {
		panic(err)
	}
	begin, told := make(chan os.Signal, 1), make(chan os.Signal, 1)
	signal.Notify(begin, syscall.SIGUSR1)
	signal.Notify(told, syscall.SIGTERM)
	go func() {
		<-begin
		if err := pprof.StartCPUProfile(f); err != nil {
			panic(err)
		}
		<-told
		pprof.StopCPUProfile()
		_ = f.Close()
		os.Exit(exitOK)
	}()
}

// profile begins the daemon's profile.
func (st *stage) profile() {
	st.t.Helper()
	if *scaleProf == "" {
		return
	}
	if err := st.daemons[0].cmd.Process.Signal(syscall.SIGUSR1); err != nil {
		st.t.Fatal(err)
	}
}
