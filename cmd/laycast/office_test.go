package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"laycast/db/pgtest"
)

// childEnv makes the test binary be laycast itself, so that a test can kill a
// real process.
const childEnv = "LAYCAST_TEST_BE_LAYCAST"

func TestMain(m *testing.M) {
	if os.Getenv(childEnv) != "" {
		w := world{Out: os.Stdout, Err: os.Stderr, Env: func(string) string { return "" }}
		if path := os.Getenv(clockEnv); path != "" {
			w.Time = clockOf(path)
		}
		profiled()
		boundMemory(os.Getenv)
		os.Exit(run(context.Background(), os.Args[1:], w))
	}
	code := m.Run()
	pgtest.Stop()
	os.Exit(code)
}

// office is a firm in a folder of its own: a configuration, a database and a
// forecast source that stands in for the real one.
type office struct {
	t      testing.TB
	dir    string
	config string
	mail   string
	source *standIn
	zone   *time.Location
	// metrics is where the daemon that serves tells its metrics, "" = nowhere.
	metrics string
}

// openOffice writes the configuration of a firm in a zone. more is appended to
// it; the database is SQLite unless more names one.
func openOffice(t testing.TB, zone, more string) *office {
	t.Helper()
	loc, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	o := &office{t: t, dir: dir, config: filepath.Join(dir, "laycast.yaml"), mail: filepath.Join(dir, "mail"), source: newStandIn(t), zone: loc}
	text := fmt.Sprintf(`firm: {name: Quay Roofs, zone: %s, email: office@quay.example}
listen: 127.0.0.1:0
public_url: http://quay.example
source: {kind: open-meteo, forecast_url: "%s", ensemble_url: "%s", contact: office@quay.example}
`, zone, o.source.URL, o.source.URL)
	if !strings.Contains(more, "database:") {
		text += "database: sqlite:" + filepath.Join(dir, "laycast.db") + "\n"
	}
	o.write("laycast.yaml", text+more)
	return o
}

func (o *office) write(name, text string) string {
	o.t.Helper()
	path := filepath.Join(o.dir, name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		o.t.Fatal(err)
	}
	return path
}

func (o *office) read(path string) string {
	o.t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		o.t.Fatal(err)
	}
	return string(b)
}

// run runs one command line to its end.
func (o *office) run(ctx context.Context, args ...string) (code int, out, errs string) {
	o.t.Helper()
	var a, b bytes.Buffer
	code = run(ctx, append([]string{"--config", o.config}, args...), world{Out: &a, Err: &b, Env: func(string) string { return "" }})
	return code, a.String(), b.String()
}

// must runs a command line that has to succeed.
func (o *office) must(args ...string) string {
	o.t.Helper()
	code, out, errs := o.run(context.Background(), args...)
	if code != exitOK {
		o.t.Fatalf("laycast %s: exit %d: %s", strings.Join(args, " "), code, errs)
	}
	return out
}

// fails runs a command line that has to end with this code, saying each of the
// words on its error output.
func (o *office) fails(want int, words []string, args ...string) string {
	o.t.Helper()
	code, out, errs := o.run(context.Background(), args...)
	if code != want {
		o.t.Errorf("laycast %s: exit %d, want %d\n%s%s", strings.Join(args, " "), code, want, out, errs)
	}
	for _, w := range words {
		if !strings.Contains(errs, w) {
			o.t.Errorf("laycast %s says\n%s\nwithout %q", strings.Join(args, " "), errs, w)
		}
	}
	return errs
}

// keyOf gives o the link key of another office, so that the links in the mails
// of both are the same.
func (o *office) keyOf(other *office) {
	o.t.Helper()
	o.write(defaultLinkKey, other.read(filepath.Join(other.dir, defaultLinkKey)))
}

// house opens the database, for a look at what is stored.
func (o *office) house() *house {
	o.t.Helper()
	s := session{configPath: o.config, world: world{Env: func(string) string { return "" }}}
	h, err := s.open(context.Background())
	if err != nil {
		o.t.Fatal(err)
	}
	return h
}

func decode[T any](t testing.TB, text string) T {
	t.Helper()
	var v T
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatalf("%v in\n%s", err, text)
	}
	return v
}

// told is a call as a reader of the JSON sees it.
type told struct {
	Job, Crew, Date, Occasion, Outcome, Basis string
	Chance                                    *float64
	RainOpen                                  *float64 `json:"p_rain_open"`
	Made                                      time.Time
	Late                                      bool
	Members                                   int
	Reasons                                   []string
}

func (o *office) calls() []told { o.t.Helper(); return decode[[]told](o.t, o.must("calls", "--json")) }

// sent is a message as a reader of the JSON sees it.
type sent struct {
	ID, To, Kind, Job, Date, State, Subject, Reason, Note string
	MessageID                                             string `json:"message_id"`
	Created                                               time.Time
	Sent                                                  *time.Time
}

func (o *office) messages() []sent {
	o.t.Helper()
	return decode[[]sent](o.t, o.must("messages", "--json"))
}

// rehearse lives a period that has to succeed.
func (o *office) rehearse(from, to string) {
	o.t.Helper()
	o.must("rehearse", "--from", from, "--to", to, "--mail-dir", o.mail)
}

// everything is all that can be read of what happened: equal texts mean the
// same calls, messages, jobs, scored chances and mails.
func (o *office) everything() string {
	o.t.Helper()
	var b strings.Builder
	for _, args := range [][]string{{"calls", "--json"}, {"messages", "--json"}, {"job", "list", "--json"}, {"skill", "--json"}} {
		b.WriteString(o.must(args...))
	}
	for _, name := range o.mails() {
		text, err := os.ReadFile(filepath.Join(o.mail, name))
		if err != nil {
			o.t.Fatal(err)
		}
		fmt.Fprintf(&b, "== %s\n%s\n", name, text)
	}
	return b.String()
}

// mails gives the names of the mail files, in order.
func (o *office) mails() []string {
	o.t.Helper()
	es, err := os.ReadDir(o.mail)
	if err != nil {
		o.t.Fatal(err)
	}
	var names []string
	for _, e := range es {
		names = append(names, e.Name())
	}
	return names
}

func sameText(t testing.TB, what, got, want string) {
	t.Helper()
	if got == want {
		return
	}
	g, w := strings.Split(got, "\n"), strings.Split(want, "\n")
	for i := range min(len(g), len(w)) {
		if g[i] != w[i] {
			t.Fatalf("%s: line %d is\n%s\nwant\n%s", what, i+1, g[i], w[i])
		}
	}
	t.Fatalf("%s: %d lines, want %d", what, len(g), len(w))
}

// bookOf gives an import file of two crews and n small jobs around Dublin bay,
// open from a day on.
func bookOf(n int, from string) map[string]any {
	jobs := []any{}
	for i := range n {
		jobs = append(jobs, map[string]any{
			"id": fmt.Sprintf("Q-%02d", i+1), "title": fmt.Sprintf("Roof %d, Pier Road", i+1),
			"customer": map[string]any{"name": fmt.Sprintf("Customer %d", i+1), "email": fmt.Sprintf("customer%d@mail.example", i+1)},
			"site":     map[string]any{"address": fmt.Sprintf("%d Pier Road", i+1), "lat": 53.35 + 0.06*float64(i%2), "lon": -6.26, "elevation_m": 20},
			"roof": map[string]any{"area_m2": 9 + i, "work": "replace", "deck": "new-board", "outlets": 1,
				"edges": []any{map[string]any{"kind": "drip", "length_m": 4}, map[string]any{"kind": "wall", "length_m": 5}}},
			"value": 1800 + 100*i, "abort_cost": 500, "late_cost_per_day": 80, "earliest": from, "deadline": "2027-12-31",
		})
	}
	return map[string]any{
		"crews": []any{
			map[string]any{"id": "gull", "name": "Gull", "size": 2, "email": "gull@quay.example", "depot": map[string]any{"lat": 53.34, "lon": -6.25}},
			map[string]any{"id": "tern", "name": "Tern", "size": 3, "email": "tern@quay.example", "depot": map[string]any{"lat": 53.34, "lon": -6.25}},
		},
		"jobs": jobs,
	}
}

// takeIn imports a book.
func (o *office) takeIn(book map[string]any) {
	o.t.Helper()
	o.must("import", o.file("jobs.json", book))
}

func (o *office) file(name string, v any) string {
	o.t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		o.t.Fatal(err)
	}
	return o.write(name, string(b))
}
