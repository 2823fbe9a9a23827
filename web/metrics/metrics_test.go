package metrics

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"laycast/forecast"
	"laycast/notify"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// fakeBook is a database that answers, or does not.
type fakeBook struct {
	status ledger.Status
	err    error
}

func (b fakeBook) Status(context.Context, time.Time) (ledger.Status, error) { return b.status, b.err }
func (b fakeBook) Unheard(context.Context, time.Time) (int, error)          { return 3, b.err }
func (b fakeBook) Failures() int64                                          { return 7 }

type still struct{ at time.Time }

func (s still) Now() time.Time { return s.at }

func noon() time.Time { return time.Date(2027, 4, 13, 12, 0, 0, 0, time.UTC) }

func told(t *testing.T, m *Metrics) string {
	t.Helper()
	w := httptest.NewRecorder()
	m.Handler().ServeHTTP(w, httptest.NewRequest(http.MethodGet, "/metrics", nil))
	if w.Code != http.StatusOK {
		t.Fatalf("status %d: %s", w.Code, w.Body)
	}
	return w.Body.String()
}

func expect(t *testing.T, text string, lines ...string) {
	t.Helper()
	for _, line := range lines {
		if !strings.Contains(text, "\n"+line+"\n") {
			t.Errorf("it does not tell %s", line)
		}
	}
}

func metricsOf(b fakeBook, log *bytes.Buffer) *Metrics {
	return New(Config{
		Book: b, Clock: still{noon()}, Ticked: func() time.Time { return noon().Add(-40 * time.Second) }, Version: "v1",
		Limits: map[string]ledger.Limits{"one": {Day: 100}}, Log: zerolog.New(log),
	})
}

// What the database says is told, of the sources that are configured alone, and
// what there is none of is 0.
func TestHowTheWorkStands(t *testing.T) {
	t.Parallel()
	state := func(source string) ledger.SourceState {
		return ledger.SourceState{Source: source, Endpoint: forecast.Ensemble, Failures: 2, Good: noon().Add(-2 * time.Hour), Until: noon().Add(time.Minute)}
	}
	text := told(t, metricsOf(fakeBook{status: ledger.Status{
		Firms: map[ledger.Life]int{ledger.Live: 4}, Waiting: noon().Add(-time.Minute),
		Tasks:    map[task.Name]ledger.TaskCount{task.Call: {Due: 5, Late: 2, Failed: 1, Oldest: noon().Add(-10 * time.Minute)}},
		Open:     map[notify.State]int{notify.Begun: 1},
		Settled:  map[notify.State]int{notify.Unknown: 6},
		Sources:  []ledger.SourceState{state("one"), state("another")},
		Calls:    []ledger.CallCount{{Occasion: "evening", Outcome: "go", N: 9}},
		Spending: []ledger.Spending{{Source: "one", Day: 130, Minute: 3}},
	}}, &bytes.Buffer{}))
	expect(t, text,
		"laycast_database_up 1", "laycast_tick_age_seconds 40", "laycast_database_errors_total 7", "laycast_calls_crew_untold 3",
		`laycast_firms{life="live"} 4`, `laycast_firms{life="virtual"} 0`,
		`laycast_tasks_due{task="call"} 5`, `laycast_tasks_late{task="call"} 2`, `laycast_tasks_failed{task="call"} 1`,
		`laycast_task_oldest_due_age_seconds{task="call"} 600`, `laycast_task_oldest_due_age_seconds{task="tell"} 0`,
		`laycast_messages_open{state="begun"} 1`, `laycast_messages_open{state="pending"} 0`,
		`laycast_messages_settled_last_day{state="unknown"} 6`, "laycast_message_oldest_wait_seconds 60",
		`laycast_calls{occasion="evening",outcome="go"} 9`, `laycast_calls{occasion="change",outcome="hold"} 0`,
		`laycast_forecast_age_seconds{endpoint="ensemble",source="one"} 7200`,
		`laycast_source_failures_in_a_row{endpoint="ensemble",source="one"} 2`,
		`laycast_source_blocked_seconds{endpoint="ensemble",source="one"} 60`,
		`laycast_source_quota_limit{source="one",window="day"} 100`, `laycast_source_quota_left{source="one",window="day"} 0`)
	for _, absent := range []string{`source="another"`, `window="minute"`} {
		if strings.Contains(text, absent) {
			t.Errorf("it tells of %s", absent)
		}
	}
}

// Where the database does not answer that is told, and nothing of it is made up.
func TestADatabaseThatDoesNotAnswer(t *testing.T) {
	t.Parallel()
	var log bytes.Buffer
	text := told(t, metricsOf(fakeBook{err: errors.New("no answer")}, &log))
	expect(t, text, "laycast_database_up 0", "laycast_tick_age_seconds 40", "laycast_database_errors_total 7")
	for _, name := range []string{"laycast_tasks_due", "laycast_calls_crew_untold", "laycast_messages_open", "laycast_forecast_age_seconds"} {
		if strings.Contains(text, name) {
			t.Errorf("%s is told", name)
		}
	}
	if !strings.Contains(log.String(), "no answer") {
		t.Errorf("the log does not say why: %s", log.String())
	}
}

// Pages are counted by their pattern, and methods of the client's own are one.
func TestPagesAreCountedByRoute(t *testing.T) {
	t.Parallel()
	m := metricsOf(fakeBook{}, &bytes.Buffer{})
	mux := http.NewServeMux()
	mux.HandleFunc("/p/{token}", func(w http.ResponseWriter, r *http.Request) {
		if r.PathValue("token") == "gone" {
			w.WriteHeader(http.StatusNotFound)
		}
		_, _ = w.Write([]byte("page"))
	})
	mux.HandleFunc("/", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusNotFound) })
	passed := time.Duration(0)
	pages := m.Count(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		passed += 300 * time.Millisecond
		if r.Header.Get("Origin") != "" {
			w.WriteHeader(http.StatusForbidden)
			return
		}
		mux.ServeHTTP(w, r)
	}), func() time.Duration { return passed })
	ask := func(method, path, origin string) {
		r := httptest.NewRequest(method, path, nil)
		if origin != "" {
			r.Header.Set("Origin", origin)
		}
		pages.ServeHTTP(httptest.NewRecorder(), r)
	}
	for _, token := range []string{"secret-a", "secret-b", "gone"} {
		ask(http.MethodGet, "/p/"+token, "")
	}
	ask("BREW", "/p/x", "")
	ask(http.MethodPost, "/p/x", "https://elsewhere.example")
	ask(http.MethodGet, "/etc/passwd", "")
	text := told(t, m)
	expect(t, text,
		`laycast_http_requests_total{code="200",method="GET",route="/p/{token}"} 2`,
		`laycast_http_requests_total{code="404",method="GET",route="/p/{token}"} 1`,
		`laycast_http_requests_total{code="200",method="other",route="/p/{token}"} 1`,
		`laycast_http_requests_total{code="403",method="POST",route="refused"} 1`,
		`laycast_http_requests_total{code="404",method="GET",route="none"} 1`,
		`laycast_http_request_duration_seconds_bucket{route="/p/{token}",le="0.1"} 0`,
		`laycast_http_request_duration_seconds_bucket{route="/p/{token}",le="0.5"} 4`)
	for _, hidden := range []string{"secret", "BREW", "passwd"} {
		if strings.Contains(text, hidden) {
			t.Errorf("it tells %q", hidden)
		}
	}
}

// fakeSource gives one outcome after the other.
type fakeSource struct{ outcomes []error }

func (f *fakeSource) Fetch(context.Context, forecast.Ask) ([]forecast.Run, error) {
	err := f.outcomes[0]
	f.outcomes = f.outcomes[1:]
	return nil, err
}

func (f *fakeSource) Batch(forecast.Endpoint) int { return 5 }

type weighing struct{ fakeSource }

func (*weighing) Weight(_ forecast.Endpoint, cells int) float64 { return 2.5 * float64(cells) }

// Requests are counted by what came of them, and a source is otherwise what it was.
func TestSourcesAreCounted(t *testing.T) {
	t.Parallel()
	m := metricsOf(fakeBook{}, &bytes.Buffer{})
	src := &fakeSource{outcomes: []error{nil, &forecast.Failure{Kind: forecast.Quota}, context.Canceled, nil}}
	c := m.CountSource("one", src)
	for len(src.outcomes) > 0 {
		want := src.outcomes[0]
		if _, err := c.Fetch(t.Context(), forecast.Ask{Endpoint: forecast.Ensemble}); !errors.Is(err, want) {
			t.Errorf("gives %v, not %v", err, want)
		}
	}
	expect(t, told(t, m),
		`laycast_source_requests_total{endpoint="ensemble",outcome="ok",source="one"} 2`,
		`laycast_source_requests_total{endpoint="ensemble",outcome="quota",source="one"} 1`,
		`laycast_source_requests_total{endpoint="ensemble",outcome="other",source="one"} 1`)
	if c.Batch(forecast.Ensemble) != 5 || c.Weight(forecast.Ensemble, 3) != 1 {
		t.Error("the source is not what it was")
	}
	if w := m.CountSource("two", &weighing{}).Weight(forecast.Ensemble, 3); w != 7.5 {
		t.Errorf("a source that weighs its requests weighs %g", w)
	}
}
