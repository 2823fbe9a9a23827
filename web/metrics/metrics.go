// Package metrics tells a monitoring system (Prometheus) how the daemon and its
// work stand. docs/metrics.md lists what it tells. It names no customer, crew or
// job, and no firm either: labels are words of ours and names of sources.
package metrics

import (
	"context"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/rs/zerolog"

	"laycast/scheduler/ledger"
)

// Book counts how the work stands.
type Book interface {
	// Status is read at each scrape.
	Status(ctx context.Context, now time.Time) (ledger.Status, error)
	// Unheard counts the evening calls for today or later, made before the given
	// time, whose crew has not been told.
	Unheard(ctx context.Context, madeBefore time.Time) (int, error)
	// Failures counts the errors of the database since the daemon began.
	Failures() int64
}

// Clock tells the time.
type Clock interface{ Now() time.Time }

// Config is what the metrics are made from; all of it is needed but Limits.
type Config struct {
	Book    Book
	Clock   Clock
	Ticked  func() time.Time         // when the scheduler last looked at its clock
	Limits  map[string]ledger.Limits // of each source, by its name
	Version string                   // of this program
	// HeardWithin is how long after a call its crew must have been told, as on the
	// health page.
	HeardWithin time.Duration
	Log         zerolog.Logger
}

// Metrics is what is counted. Its methods are safe for use by many goroutines.
type Metrics struct {
	registry *prometheus.Registry
	requests *prometheus.CounterVec
	sources  *prometheus.CounterVec
	pages    *prometheus.HistogramVec
}

// pageBuckets are the seconds within which pages are answered: a feed takes a
// millisecond, a week page made anew twenty, a plan for "why this day" a second
// (DEVELOPERS.md, Measured).
func pageBuckets() []float64 { return []float64{.005, .02, .1, .5, 1, 2.5, 10, 30} }

// New gives metrics that count from now.
func New(c Config) *Metrics {
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "laycast_http_requests_total", Help: "Requests answered, by route and status.",
		}, []string{"route", "method", "code"}),
		pages: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "laycast_http_request_duration_seconds", Help: "How long requests took to answer, by route.", Buckets: pageBuckets(),
		}, []string{"route"}),
		sources: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "laycast_source_requests_total", Help: "Requests made to a weather source, by what came of them: ok or the kind of failure.",
		}, []string{"source", "endpoint", "outcome"}),
	}
	m.registry.MustRegister(m.requests, m.pages, m.sources, &stand{Config: c},
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// atOnce is how many scrapes may run at once, and answerWithin how long one may
// take: Prometheus itself gives up after 10 s unless told otherwise.
const (
	atOnce       = 2
	answerWithin = 9 * time.Second
)

// Handler answers GET /metrics.
func (m *Metrics) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		// where the database does not answer the rest is told all the same
		ErrorHandling: promhttp.ContinueOnError, MaxRequestsInFlight: atOnce, Timeout: answerWithin,
	}))
	return mux
}
