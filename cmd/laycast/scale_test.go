package main

import (
	"flag"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/db/pgtest"
	"laycast/forecast"
)

// The sizes of TestScale, and where it draws what they cost.
var (
	scale     = flag.String("scale", "3", "numbers of firms that TestScale tries, one after the other (make scale)")
	scalePlot = flag.String("scale-plot", "", "file for TestScale's picture of the cost (make scale)")
	scaleProf = flag.String("scale-profile", "", "file for the processor profile of one of TestScale's daemons")
)

// The evening of TestScale, in Dublin: scaleEve is 18:00, when the calls are made, in
// the season, so that a firm has roofs to call; scaleFrom is 17:14, a minute before
// the weather for the calls is fetched.
var (
	scaleEve  = time.Date(2027, 6, 14, 17, 0, 0, 0, time.UTC)
	scaleFrom = scaleEve.Add(-46 * time.Minute)
)

const (
	scaleJobs   = 20
	mostCells   = 1500 // as many as hold the sites of 10,000 firms
	cellsByFirm = 3    // of one firm: it works about town
)

// scaleCells gives how many grid cells hold the sites of so many firms.
func scaleCells(firms int) int {
	return min(max(int(math.Round(0.15*float64(firms))), 1), mostCells)
}

// cost is what an evening of so many firms took.
type cost struct {
	firms, cells     int
	plans, calls     phase
	requests, places int // asked of the source, and places in them
	made             int // calls of the evening
	daemonMB, pgMB   float64
}

// phase is a part of an evening: processor seconds, and by the machine's clock.
type phase struct {
	daemons, pg   float64
	decided, over time.Duration // nothing left to decide; nothing left to do
}

// cpu gives the processor seconds of the whole evening.
func (c cost) cpu() float64 { return c.plans.cpu() + c.calls.cpu() }

func (p phase) cpu() float64 { return p.daemons + p.pg }

// counter stands before the stand-in source and counts the places asked for.
type counter struct {
	mu       sync.Mutex
	to       http.Handler
	requests int
	places   map[string]int // by endpoint and place
}

func (c *counter) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	lats, lons := strings.Split(q.Get("latitude"), ","), strings.Split(q.Get("longitude"), ",")
	c.mu.Lock()
	c.requests++
	for i := range lats {
		c.places[r.URL.Path+" "+lats[i]+","+lons[min(i, len(lons)-1)]]++
	}
	c.mu.Unlock()
	c.to.ServeHTTP(w, r)
}

// Two daemons and one PostgreSQL make the calls of one evening for many firms of
// 20 jobs: no firm is left out, the source is asked by the cell and not by the
// firm, and what it costs is printed, fitted and drawn.
func TestScale(t *testing.T) {
	slowWhenRaced(t)
	var all []cost
	for _, word := range strings.Fields(*scale) {
		n, err := strconv.Atoi(word)
		if err != nil || n < 1 {
			t.Fatalf("-scale: %q is no number of firms", word)
		}
		t.Run(word, func(t *testing.T) {
			c := scaleEvening(t, n)
			t.Log("\n" + c.row())
			all = append(all, c)
		})
	}
	if len(all) < 2 || t.Failed() {
		return
	}
	t.Log("\n" + fitWords(all))
	if *scalePlot != "" {
		if err := plotScale(*scalePlot, all); err != nil {
			t.Fatal(err)
		}
	}
}

// row is a line of the table in docs/scale.md.
func (c cost) row() string {
	return fmt.Sprintf("| %d | %d | %d | %d in %d | %d | %.1f + %.1f | %.1f + %.1f | %.0f s | %.0f s | %.0f s | %.2f | %.0f, %.0f |",
		c.firms, c.firms*scaleJobs, c.cells, c.places, c.requests, c.made, c.plans.daemons, c.plans.pg, c.calls.daemons, c.calls.pg,
		c.plans.over.Seconds(), c.calls.decided.Seconds(), c.calls.over.Seconds(), c.cpu()/float64(c.firms), c.daemonMB, c.pgMB)
}

// scaleEvening lives one evening and says what it took.
func scaleEvening(t *testing.T, firms int) cost {
	st, src := openScale(t, firms)
	c := cost{firms: firms, cells: scaleCells(firms)}
	for _, d := range st.daemons {
		st.start(d)
	}
	use := newUsage(t, st)
	st.rest(use)
	c.plans = st.phase(use, scaleEve.Add(-45*time.Minute), "fetch-forecast", "fetch-ensemble", "replan")
	for st.clock.Now().Before(scaleEve.Add(-time.Minute)) { // a plan may wait for more weather
		st.step(scaleEve.Add(-time.Minute))
		st.rest(use)
	}
	c.plans.daemons, c.plans.pg = use.since()
	st.profile()
	c.calls = st.phase(use, scaleEve, "call")
	c.calls.daemons, c.calls.pg = use.since()
	c.daemonMB, c.pgMB = use.most()
	c.check(t, st, src)
	return c
}

// phase moves the clock to a time and waits until its tasks of these names, and
// then all else, are done.
func (st *stage) phase(use *usage, at time.Time, names ...string) (p phase) {
	st.t.Helper()
	begun := time.Now()
	st.clock.set(st.t, at)
	looks := 200*time.Millisecond + time.Duration(st.count(`SELECT count(*) FROM firms`))*100*time.Microsecond
	marks := "'" + strings.Join(names, "','") + "'"
	for p.decided == 0 {
		if st.count(`SELECT count(*) FROM tasks WHERE due <= $1 AND name IN (`+marks+`)`, at.UnixMilli()) == 0 {
			p.decided = time.Since(begun)
			break
		}
		use.sample()
		time.Sleep(looks) // each look reads all tasks
	}
	st.rest(use)
	p.over = time.Since(begun)
	return p
}

// rest waits, as long as it takes, until every daemon left nothing to do at the
// clock's time, and then a little for what one daemon left to the other after that
// had come to rest.
func (st *stage) rest(use *usage) {
	st.t.Helper()
	at := st.clock.Now().Unix()
	for _, d := range st.daemons {
		for d.rested.Load() != at {
			if !d.running() {
				st.t.Fatalf("a daemon ended: %s", d.errs)
			}
			use.sample()
			time.Sleep(200 * time.Millisecond)
		}
	}
	for range 50 {
		if st.undone() == 0 {
			return
		}
		time.Sleep(200 * time.Millisecond)
	}
}

// undone counts the tasks and the mails that are due.
func (st *stage) undone() int {
	now := st.clock.Now().UnixMilli()
	return st.count(`SELECT count(*) FROM tasks WHERE due <= $1`, now) +
		st.count(`SELECT count(*) FROM messages WHERE state IN ('pending', 'begun') AND not_before <= $1`, now)
}

func (st *stage) count(query string, args ...any) (n int) {
	st.t.Helper()
	if err := st.raw.QueryRowContext(st.t.Context(), query, args...).Scan(&n); err != nil {
		st.t.Fatalf("%s: %v", query, err)
	}
	return n
}

// check fails where somebody was left out or the source asked more than once for
// a place.
func (c *cost) check(t *testing.T, st *stage, src *counter) {
	t.Helper()
	now := st.clock.Now().UnixMilli()
	if n := st.count(`SELECT count(*) FROM tasks WHERE due <= $1`, now); n > 0 {
		t.Errorf("%d tasks are left undone", n)
	}
	if n := st.count(`SELECT count(*) FROM tasks WHERE note <> ''`); n > 0 {
		t.Errorf("%d tasks bear the note of a failure", n)
	}
	if n := st.count(`SELECT count(*) FROM messages WHERE state IN ('pending', 'begun') AND not_before <= $1`, now); n > 0 {
		t.Errorf("%d mails were not sent", n)
	}
	due := st.count(`SELECT count(*) FROM tasks WHERE name = 'call' AND due > $1`, now)
	if due != c.firms {
		t.Errorf("%d of %d firms have made their calls", due, c.firms)
	}
	c.made = st.count(`SELECT count(*) FROM calls WHERE made = $1`, now)
	called := st.count(`SELECT count(DISTINCT firm) FROM calls WHERE made = $1`, now)
	if called < c.firms*9/10 {
		t.Errorf("%d of %d firms called anything", called, c.firms)
	}
	told := st.count(`SELECT count(DISTINCT firm) FROM messages WHERE kind = 'call' AND audience = 'crew' AND state = 'sent'`)
	if told != called {
		t.Errorf("%d firms called, the crews of %d heard", called, told)
	}
	src.mu.Lock()
	defer src.mu.Unlock()
	c.requests = src.requests
	for at, n := range src.places {
		c.places += n
		if n > 1 {
			t.Errorf("%s was asked for %d times", at, n)
		}
	}
	if c.places > 2*c.cells || c.places < c.cells {
		t.Errorf("%d places asked for, of %d cells and two kinds of forecast", c.places, c.cells)
	}
}

// openScale sets up firms in a PostgreSQL of the test's own, as they stand at
// scaleFrom, and two daemons that do not run yet.
func openScale(t *testing.T, firms int) (*stage, *counter) {
	t.Helper()
	h := openHostIn(t, "", 1, scaleJobs, scaleEve.Add(-150*time.Minute))
	h.source.clock = h.clock.Now
	s, _ := h.daemon()
	s.Log = zerolog.Nop()
	h.live(s, scaleFrom)
	backup, key := []byte(h.must("backup", "-")), h.read(h.dir+"/"+defaultLinkKey)

	pg := pgtest.Own(t, "shared_buffers = 256MB", "max_wal_size = 4GB")
	st := openEmptyStage(t, "Europe/Dublin", pg.DSN, 2, scaleFrom)
	st.write(defaultLinkKey, key)
	st.restore(backup)
	src := &counter{to: st.source, places: map[string]int{}}
	front := httptest.NewServer(src)
	t.Cleanup(front.Close)
	for _, d := range st.daemons {
		text := strings.ReplaceAll(st.read(d.config), st.source.URL, front.URL)
		// as bought for so many places; a clock that stands still gives no new minute
		text = strings.Replace(text, "contact:", "per_minute: 1000000, per_hour: 1000000, per_day: 1000000, contact:", 1)
		if err := os.WriteFile(d.config, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if *scaleProf != "" {
		st.env = []string{profileEnv + "=" + *scaleProf}
	}
	begun := time.Now()
	st.multiply(h.firms[0], firms)
	t.Logf("%d firms, %d jobs loaded in %.1f s", firms, firms*scaleJobs, time.Since(begun).Seconds())
	return st, src
}

// scalePlace is where a job of a firm lies: firms that follow one another are far
// apart, so that work goes from place to place as it does among strangers.
func scalePlace(firm, firms, nth int) forecast.Cell {
	cells := scaleCells(firms)
	k := (firm*7919 + nth%cellsByFirm) % cells
	return forecast.Cell{Lat: 52 + 0.05*float64(k%40), Lon: -9 + 0.05*float64(k/40)}
}

// scaleSites gives the cells of a firm.
func scaleSites(firm, firms int) (out []forecast.Cell) {
	for nth := range cellsByFirm {
		out = append(out, scalePlace(firm, firms, nth))
	}
	return out
}

// fit is the line through the costs, by least squares, and how much of their
// variance it explains.
func fit(xs, ys []float64) (a, b, r2 float64) {
	n := float64(len(xs))
	var sx, sy, sxx, sxy, syy float64
	for i := range xs {
		sx, sy, sxx, sxy, syy = sx+xs[i], sy+ys[i], sxx+xs[i]*xs[i], sxy+xs[i]*ys[i], syy+ys[i]*ys[i]
	}
	vx, vy, cov := sxx-sx*sx/n, syy-sy*sy/n, sxy-sx*sy/n
	b = cov / vx
	return (sy - b*sx) / n, b, cov * cov / (vx * vy)
}

// fitWords tells the lines, and what they come to at 10,000 firms.
func fitWords(all []cost) string {
	var out strings.Builder
	for _, x := range scaleLines {
		xs, ys := x.points(all)
		a, b, r2 := fit(xs, ys)
		fmt.Fprintf(&out, "- %s: %.1f s + %.3f s a firm (R² %.3f); extrapolated to 10,000 firms: %.0f s\n", x.name, a, b, r2, a+10_000*b)
	}
	return out.String()
}

// scaleLine is a measure drawn over the number of firms.
type scaleLine struct {
	name string
	of   func(cost) float64
}

var scaleLines = []scaleLine{
	{"processor, the whole evening", cost.cpu},
	{"processor, weather and plans", func(c cost) float64 { return c.plans.cpu() }},
	{"processor, calls and mails", func(c cost) float64 { return c.calls.cpu() }},
	{"clock, until all calls are decided", func(c cost) float64 { return c.calls.decided.Seconds() }},
}

// points gives the measure's points in order of the number of firms.
func (l scaleLine) points(all []cost) (xs, ys []float64) {
	all = slices.Clone(all)
	slices.SortFunc(all, func(x, y cost) int { return x.firms - y.firms })
	for _, c := range all {
		xs, ys = append(xs, float64(c.firms)), append(ys, l.of(c))
	}
	return xs, ys
}

func TestFit(t *testing.T) {
	a, b, r2 := fit([]float64{10, 20, 40}, []float64{7, 9, 13})
	if math.Abs(a-5) > 1e-9 || math.Abs(b-0.2) > 1e-9 || math.Abs(r2-1) > 1e-9 {
		t.Errorf("%g + %g n, R² %g", a, b, r2)
	}
	if _, _, r2 = fit([]float64{1, 2, 3}, []float64{1, 9, 1}); r2 > 0.01 {
		t.Errorf("no line, and R² %g", r2)
	}
}
