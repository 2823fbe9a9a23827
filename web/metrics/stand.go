package metrics

import (
	"context"
	"runtime"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"laycast/notify"
	"laycast/scheduler/call"
	"laycast/scheduler/ledger"
	"laycast/scheduler/task"
)

// readWithin bounds the reading of the database for one scrape.
const readWithin = 5 * time.Second

// stand is what is read from the database at each scrape.
type stand struct{ Config }

// figure is one metric that stand gives: a gauge, or a count that only grows.
type figure struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
}

func gauge(name, help string, labels ...string) figure {
	return figure{prometheus.NewDesc("laycast_"+name, help, labels, nil), prometheus.GaugeValue}
}

// figures are the metrics of stand.
type figures struct {
	build, up, clock, dbErrors, tick, firms, due, late, failed, oldest, open, settled, waiting,
	calls, untold, age, streak, blocked, limit, left figure
}

func newFigures() figures {
	return figures{
		build:    gauge("build_info", "This program; always 1.", "version", "goversion"),
		up:       gauge("database_up", "1 where the database answered this scrape, else 0."),
		clock:    gauge("clock_timestamp_seconds", "The time that the daemon lives by."),
		dbErrors: figure{prometheus.NewDesc("laycast_database_errors_total", "Errors of the database, those mended by trying again among them.", nil, nil), prometheus.CounterValue},
		tick:     gauge("tick_age_seconds", "How long ago the slowest worker looked at its clock."),
		firms:    gauge("firms", "Firms in the database, by life: new, live or virtual.", "life"),
		due:      gauge("tasks_due", "Tasks that are due and not done.", "task"),
		late:     gauge("tasks_late", "Tasks that have been due for more than five minutes.", "task"),
		failed:   gauge("tasks_failed", "Tasks whose last try failed.", "task"),
		oldest:   gauge("task_oldest_due_age_seconds", "For how long the task that has been due longest has been due; 0 where none is.", "task"),
		open:     gauge("messages_open", "Messages that have not left: pending, or begun and without an answer yet.", "state"),
		settled:  gauge("messages_settled_last_day", "Messages settled within the last 24 hours, by what came of them.", "state"),
		waiting:  gauge("message_oldest_wait_seconds", "For how long the message that has waited longest could have gone; 0 where none waits."),
		calls:    gauge("calls", "Calls for yesterday (UTC) or later, by what was decided.", "occasion", "outcome"),
		untold:   gauge("calls_crew_untold", "Evening calls whose crew has not been told 20 minutes after."),
		age:      gauge("forecast_age_seconds", "How long ago a source's endpoint last answered; not there where it never did.", "source", "endpoint"),
		streak:   gauge("source_failures_in_a_row", "How often a source's endpoint has failed since it last answered.", "source", "endpoint"),
		blocked:  gauge("source_blocked_seconds", "For how long a source's endpoint will not be asked; 0 where it may be.", "source", "endpoint"),
		limit:    gauge("source_quota_limit", "What requests to a source may cost in a minute, hour or day of UTC, in its own calls; not there where there is no bound.", "source", "window"),
		left:     gauge("source_quota_left", "What is left of it now.", "source", "window"),
	}
}

// Describe tells which metrics there are.
func (s *stand) Describe(to chan<- *prometheus.Desc) {
	f := newFigures()
	for _, x := range []figure{
		f.build, f.up, f.clock, f.dbErrors, f.tick, f.firms, f.due, f.late, f.failed, f.oldest, f.open, f.settled, f.waiting,
		f.calls, f.untold, f.age, f.streak, f.blocked, f.limit, f.left,
	} {
		to <- x.desc
	}
}

// Collect reads them.
func (s *stand) Collect(to chan<- prometheus.Metric) {
	f := newFigures()
	put := func(x figure, v float64, labels ...string) {
		to <- prometheus.MustNewConstMetric(x.desc, x.kind, v, labels...)
	}
	ctx, cancel := context.WithTimeout(context.Background(), readWithin)
	defer cancel()
	now := s.Clock.Now()
	put(f.build, 1, s.Version, runtime.Version())
	put(f.clock, float64(now.UnixMilli())/1000)
	put(f.tick, now.Sub(s.Ticked()).Seconds())
	up := 1.0
	if st, err := s.Book.Status(ctx, now); err != nil {
		up = 0
		s.Log.Error().Err(err).Msg("the metrics cannot be read")
	} else {
		f.putWork(put, st, now)
		f.putSources(put, st, s.Limits, now)
	}
	if n, err := s.Book.Unheard(ctx, now.Add(-s.HeardWithin)); err != nil {
		up = 0
		s.Log.Error().Err(err).Msg("the calls not heard cannot be counted")
	} else {
		put(f.untold, float64(n))
	}
	put(f.up, up)
	put(f.dbErrors, float64(s.Book.Failures()))
}

// put gives one value.
type put = func(x figure, v float64, labels ...string)

// putWork tells of firms, tasks, messages and calls. What there is none of is 0,
// not left out: an alert must be able to tell "none" from "not read".
func (f figures) putWork(put put, st ledger.Status, now time.Time) {
	for _, l := range []ledger.Life{ledger.New, ledger.Live, ledger.Virtual} {
		put(f.firms, float64(st.Firms[l]), string(l))
	}
	for _, n := range task.Names() {
		c := st.Tasks[n]
		put(f.due, float64(c.Due), string(n))
		put(f.late, float64(c.Late), string(n))
		put(f.failed, float64(c.Failed), string(n))
		put(f.oldest, since(now, c.Oldest), string(n))
	}
	for _, s := range []notify.State{notify.Pending, notify.Begun} {
		put(f.open, float64(st.Open[s]), string(s))
	}
	for _, s := range []notify.State{notify.Sent, notify.Refused, notify.Withdrawn, notify.Expired, notify.Unknown} {
		put(f.settled, float64(st.Settled[s]), string(s))
	}
	put(f.waiting, since(now, st.Waiting))
	at := map[[2]string]int{}
	for _, c := range st.Calls {
		at[[2]string{c.Occasion, string(c.Outcome)}] = c.N
	}
	for _, o := range []string{string(call.Evening), string(call.SecondLook), "change"} {
		for _, out := range []call.Outcome{call.Go, call.NoGo, call.Hold} {
			put(f.calls, float64(at[[2]string{o, string(out)}]), o, string(out))
		}
	}
}

// putSources tells of the weather sources that are configured here.
func (f figures) putSources(put put, st ledger.Status, limits map[string]ledger.Limits, now time.Time) {
	for _, s := range st.Sources {
		if _, ours := limits[s.Source]; !ours {
			continue
		}
		if !s.Good.IsZero() {
			put(f.age, now.Sub(s.Good).Seconds(), s.Source, string(s.Endpoint))
		}
		put(f.streak, float64(s.Failures), s.Source, string(s.Endpoint))
		put(f.blocked, max(0, s.Until.Sub(now).Seconds()), s.Source, string(s.Endpoint))
	}
	spent := map[string]ledger.Spending{}
	for _, s := range st.Spending {
		spent[s.Source] = s
	}
	for name, l := range limits {
		s := spent[name]
		for _, w := range []struct {
			window      string
			limit, used float64
		}{{"minute", l.Minute, s.Minute}, {"hour", l.Hour, s.Hour}, {"day", l.Day, s.Day}} {
			if w.limit > 0 {
				put(f.limit, w.limit, name, w.window)
				put(f.left, max(0, w.limit-w.used), name, w.window)
			}
		}
	}
}

// since gives the seconds since t, 0 where t is zero or yet to come.
func since(now, t time.Time) float64 {
	if t.IsZero() || t.After(now) {
		return 0
	}
	return now.Sub(t).Seconds()
}
