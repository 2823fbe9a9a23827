package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"github.com/rs/zerolog"

	"laycast/job"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
	"laycast/web"
)

type rehearseCmd struct {
	From    string `help:"Begin of the period (RFC 3339)." required:""`
	To      string `help:"End of the period (RFC 3339)." required:""`
	MailDir string `help:"Write every mail as a file into this folder." xor:"mail" required:"" placeholder:"DIR"`
	SMTP    string `name:"smtp" help:"Send every mail to this server on this machine instead." xor:"mail" required:"" placeholder:"URL"`
	Owner   string `help:"How the owner answers about new dates: yes, no or silent." enum:"yes,no,silent" default:"yes"`
	Verbose bool   `help:"Log every task."`
}

// Help shows an example.
func (rehearseCmd) Help() string {
	return "Runs the daemon's own tasks on a virtual clock, as fast as it goes. Run again with the same period it carries on where it was.\n\n" +
		"Example: laycast rehearse --from 2027-05-03T00:00:00Z --to 2027-05-14T12:00:00Z --mail-dir mail"
}

// Run rehearses a period.
func (c *rehearseCmd) Run(ctx context.Context, s *session) error {
	from, err := parseTime(c.From)
	if err != nil {
		return err
	}
	to, err := parseTime(c.To)
	if err != nil {
		return err
	}
	if !from.Before(to) {
		return usageError{errors.New("--from must lie before --to")}
	}
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	release, err := h.db.Hold(ctx, h.firm.UID)
	if err != nil {
		return fmt.Errorf("take hold of %s: %w", h.firm.Name, err)
	}
	defer release()
	var p post
	if c.SMTP != "" {
		p, err = postTo(c.SMTP, h.cfg.Mail.From)
	} else {
		p, err = postFiles(c.MailDir)
	}
	if err != nil {
		return err
	}
	return h.rehearse(ctx, from, to, p, scheduler.Owner(c.Owner), s.logger(c.Verbose))
}

// rehearse lives the period on a virtual clock. The caller holds the firm.
func (h *house) rehearse(ctx context.Context, from, to time.Time, p post, owner scheduler.Owner, log zerolog.Logger) error {
	b, err := h.db.Book(ctx, h.firm.UID, job.Date{Year: 9999, Month: 1, Day: 1})
	if err != nil {
		return err
	}
	if b.Life == ledger.New {
		if err := h.db.SetLife(ctx, h.firm.UID, ledger.Virtual, from); err != nil {
			return err
		}
	} else if b.Life == ledger.Live {
		return fmt.Errorf("%s runs on the real clock, so it cannot be rehearsed; use a database of its own", h.firm.Name)
	}
	if b.Mark.After(from) {
		from = b.Mark
	}
	if err := h.db.FreeLeases(ctx, h.firm.UID); err != nil {
		return err
	}
	clock := scheduler.NewVirtualClock(from)
	sched, err := h.scheduler(clock, true, p, log)
	if err != nil {
		return err
	}
	sched.Owner = owner
	if err := h.seed(ctx, sched, from); err != nil {
		return err
	}
	if err := sched.Rehearse(ctx, h.firm.UID, clock, to); err != nil {
		return err
	}
	return h.db.SetLife(ctx, h.firm.UID, ledger.Virtual, clock.Now())
}

type serveCmd struct {
	EveryFirm  bool   `help:"Serve every firm of the database, not the configuration's alone; several such daemons may run on one PostgreSQL."`
	PretendNow string `help:"Run on a shifted clock that begins at this time (RFC 3339); mail goes to files only." placeholder:"T"`
	MailDir    string `help:"Write every mail as a file into this folder." placeholder:"DIR"`
	Verbose    bool   `help:"Log every task."`
}

// Help shows examples.
func (serveCmd) Help() string {
	return "Examples:\n  laycast serve\n  laycast --config host.yaml serve --every-firm\n  laycast serve --mail-dir mail\n  laycast serve --pretend-now 2027-05-06T12:00:00Z --mail-dir mail"
}

// Run serves until it is told to stop.
func (c *serveCmd) Run(ctx context.Context, s *session) error {
	if c.PretendNow != "" && c.MailDir == "" {
		return usageError{errors.New("on a pretended clock mail goes to files only: give --mail-dir DIR")}
	}
	if c.PretendNow != "" && c.EveryFirm {
		return usageError{errors.New("a pretended clock is for one firm: leave out --every-firm")}
	}
	h, err := s.open(ctx)
	if err != nil {
		return err
	}
	defer h.close()
	h.many = c.EveryFirm
	clock, life, err := c.clock(s)
	if err != nil {
		return err
	}
	log := s.logger(c.Verbose)
	var p post
	if c.MailDir == "" {
		p, err = h.post()
	} else {
		p, err = postFiles(c.MailDir)
	}
	if err != nil {
		return err
	}
	sched, err := h.scheduler(clock, life == ledger.Virtual, p, log)
	if err != nil {
		return err
	}
	if s.Time != nil {
		sched.Wake = s.Time.Wake
	}
	ln, err := h.listen()
	if err != nil {
		return err
	}
	defer ln.Close()
	// last, for it is for ever: a daemon that cannot start decides nothing
	if err := h.db.SetLife(ctx, h.firm.UID, life, clock.Now()); err != nil {
		return err
	}
	if err := h.seed(ctx, sched, clock.Now()); err != nil {
		return err
	}
	return s.serve(ctx, h, ln, sched, nil, log)
}

// clock gives the clock to serve by, and which life that makes the firm's.
func (c *serveCmd) clock(s *session) (scheduler.Clock, ledger.Life, error) {
	if c.PretendNow == "" && s.Time != nil {
		return s.Time.Clock, ledger.Live, nil
	}
	if c.PretendNow == "" {
		return realClock{}, ledger.Live, nil
	}
	t, err := parseTime(c.PretendNow)
	if err != nil {
		return nil, "", err
	}
	fmt.Fprintf(s.Err, "*** PRETENDING that it is %s. Nothing leaves this machine; this firm lives on a virtual clock for ever. ***\n", t.Format(time.RFC3339))
	return shiftedClock{by: t.Sub(realClock{}.Now())}, ledger.Virtual, nil
}

// listen opens the address that the configuration names.
func (h *house) listen() (net.Listener, error) {
	ln, err := net.Listen("tcp", h.cfg.Listen)
	if err != nil {
		return nil, fmt.Errorf("listen on %s: %w; set another address with listen in the configuration", h.cfg.Listen, err)
	}
	return ln, nil
}

// serve runs the web server and the scheduler until ctx ends, and stops both in
// order.
func (s *session) serve(ctx context.Context, h *house, ln net.Listener, sched *scheduler.Scheduler, demo *web.DemoPages, log zerolog.Logger) error {
	health := web.NewHealth(watched{h, sched.Clock}, sched.Clock)
	handler, err := h.pages(ctx, health, sched, demo, log)
	if err != nil {
		return err
	}
	dog, err := newWatchdog(s.Env)
	if err != nil {
		return err
	}
	handler, endMetrics, err := s.measure(h, health, sched, handler, log)
	if err != nil {
		return err
	}
	defer endMetrics()
	srv := pageServer(handler)
	if s.Listening != nil {
		s.Listening(ln.Addr().String())
	}
	log.Info().Str("listen", ln.Addr().String()).Str("firm", h.firm.UID).Msg("laycast serves")
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	failed := make(chan error, 1)
	go func() { failed <- srv.Serve(ln) }()
	worked := make(chan error, 1)
	whose := h.firm.UID
	if h.many {
		whose = ""
	}
	watch := h.watch(health, sched, log)
	if s.Time != nil {
		watch.Rested = s.Time.Rested
	}
	go func() { worked <- sched.Serve(ctx, whose, watch) }()
	go dog.watch(ctx, health.Ready, func(err error) { log.Error().Err(err).Msg("systemd cannot be told") })
	if err := dog.tell("READY=1"); err != nil {
		log.Error().Err(err).Msg("systemd cannot be told")
	}
	defer func() { _ = dog.tell("STOPPING=1") }() // it sees the end itself
	select {
	case <-ctx.Done():
		<-worked
	case err = <-worked:
	case err = <-failed:
		err = fmt.Errorf("serve on %s: %w", h.cfg.Listen, err)
		stop()
		<-worked
	}
	stop()
	down, cancel := context.WithTimeout(context.WithoutCancel(ctx), 5*time.Second)
	defer cancel()
	if e := srv.Shutdown(down); e != nil && err == nil {
		err = fmt.Errorf("stop the web server: %w", e)
	}
	log.Info().Msg("laycast stopped")
	return err
}

// pageServer serves the pages to whoever asks, and waits for nobody long: who
// sends a header or a form a byte at a time, or never reads the answer, would hold
// a connection for ever.
func pageServer(h http.Handler) *http.Server {
	return &http.Server{
		Handler: h, ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second, WriteTimeout: 60 * time.Second,
		IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 32 << 10,
	}
}

// logger writes JSON lines to the error output: warnings, or all of it. Nobody is named in full.
func (s *session) logger(verbose bool) zerolog.Logger {
	level := zerolog.WarnLevel
	if verbose {
		level = zerolog.DebugLevel
	}
	return zerolog.New(masked{s.Err}).Level(level).With().Timestamp().Logger()
}

type configCmd struct {
	Check bool `help:"Only say whether it is right."`
}

// Run prints the configuration in force, or says that it is right.
func (c *configCmd) Run(s *session) error {
	cfg, err := LoadConfig(s.configPath, s.Env)
	if err != nil {
		return err
	}
	if c.Check {
		s.printf("%s is right.\n", s.configPath)
		return nil
	}
	return s.printJSON(cfg)
}
