package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/mail"
	"net/url"
	"path/filepath"
	"strings"
	"time"

	"github.com/dustin/go-humanize"

	"laycast/forecast"
	"laycast/job"
	"laycast/scheduler"
	"laycast/scheduler/ledger"
)

type doctorCmd struct {
	JSON bool `help:"Print JSON."`
}

// Help shows an example.
func (doctorCmd) Help() string {
	return "Tries out the configuration, the database, the clock, the disk, the weather source, the mail server and the links, " +
		"and names a remedy for whatever is wrong. Nothing is sent and nothing stored. Ends with 1 when something is wrong; a warning alone ends with 0.\n\n" +
		"Examples:\n  laycast doctor\n  laycast doctor --json"
}

// grade is how a thing was found.
type grade string

const (
	fine  grade = "ok"
	doubt grade = "warning"
	wrong grade = "wrong"
)

// observation is one thing that the doctor looked at.
type observation struct {
	About  string `json:"about"` // configuration, database, …
	Grade  grade  `json:"grade"`
	Found  string `json:"found"`
	Remedy string `json:"remedy"` // "" where nothing is to be done
}

// examination gathers what is found.
type examination struct{ found []observation }

func (e *examination) ok(about, format string, a ...any) {
	e.found = append(e.found, observation{about, fine, oneLine(fmt.Sprintf(format, a...)), ""})
}

// see notes something that is not as it should be; remedy says what to do.
func (e *examination) see(g grade, about, remedy, format string, a ...any) {
	e.found = append(e.found, observation{about, g, oneLine(fmt.Sprintf(format, a...)), remedy})
}

// Run examines the installation.
func (c *doctorCmd) Run(ctx context.Context, s *session) error {
	e := &examination{}
	s.examine(ctx, e)
	bad := 0
	for _, o := range e.found {
		if o.Grade == wrong {
			bad++
		}
	}
	if c.JSON {
		if err := s.printJSON(e.found); err != nil {
			return err
		}
	} else {
		for _, o := range e.found {
			s.printf("%-8s %-14s %s\n", o.Grade, o.About, o.Found)
			if o.Remedy != "" {
				s.printf("%-8s %-14s -> %s\n", "", "", o.Remedy)
			}
		}
	}
	switch bad {
	case 0:
		return nil
	case 1:
		return errors.New("one thing is wrong")
	}
	return fmt.Errorf("%d things are wrong", bad)
}

// examine looks at one thing after the other; what cannot be looked at for want
// of another is left out.
func (s *session) examine(ctx context.Context, e *examination) {
	cfg, err := LoadConfig(s.configPath, s.Env)
	if err != nil {
		e.badConfig(s.configPath, err)
		return
	}
	e.ok("configuration", "%s is right, for %s (%s)", s.configPath, cfg.Firm.Name, cfg.Firm.UID)
	h, book := s.examineDatabase(ctx, e, cfg)
	e.disk(cfg.Database)
	if h != nil {
		defer h.close()
		now := s.examineClock(ctx, e, h, book)
		e.source(ctx, h, book, now)
	} else {
		h = &house{cfg: cfg, firm: cfg.Firm} // enough to look at the rest
	}
	e.mail(ctx, h)
	e.links(h)
	e.metrics(cfg.MetricsListen)
}

func (e *examination) badConfig(path string, err error) {
	var bad *ConfigError
	if !errors.As(err, &bad) {
		e.see(wrong, "configuration", "write it with laycast init, or name it with --config FILE", "%v", err)
		return
	}
	for _, p := range bad.Problems {
		e.see(wrong, "configuration", "change it; laycast config --check reads the file again", "%v", (&ConfigError{File: path, Problems: []ConfigProblem{p}}).Error())
	}
}

// examineDatabase opens the database and writes what is there already.
func (s *session) examineDatabase(ctx context.Context, e *examination, cfg Config) (*house, ledger.Book) {
	const about = "database"
	h, err := s.openWith(ctx, cfg)
	if err != nil {
		e.see(wrong, about, "see that its folder is there and may be written, or that its server runs and lets laycast in; the setting is database in "+cfg.Path, "it cannot be opened: %v", err)
		return nil, ledger.Book{}
	}
	b, err := h.db.Book(ctx, h.firm.UID, job.Date{})
	if err != nil {
		e.see(wrong, about, "restore it from a copy", "it cannot be read: %v", err)
		return h, b
	}
	// setting the life that the firm has is a transaction that changes nothing
	if err := h.db.SetLife(ctx, h.firm.UID, b.Life, b.Mark); err != nil {
		e.see(wrong, about, "see that the disk is not full and that the file and its folder may be written by the one who runs laycast", "it cannot be written: %v", err)
		return h, b
	}
	e.ok(about, "opens, its schema is that of this laycast, it can be read and written; %d crews, %d jobs", len(b.Crews), len(b.Jobs))
	if len(b.Crews) == 0 || len(b.Jobs) == 0 {
		e.see(doubt, about, "take them in with laycast import FILE", "there are no crews or no jobs in it yet")
	}
	return h, b
}

// earliestNow is when this was written: a machine's clock before it is wrong.
var earliestNow = time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)

// backBy is how far behind the newest thing stored the clock may be.
const backBy = 2 * time.Minute

// examineClock looks at the clock that the firm lives by and gives its time.
func (s *session) examineClock(ctx context.Context, e *examination, h *house, b ledger.Book) time.Time {
	const about = "clock"
	now := realClock{}.Now()
	zone, err := job.LoadZone(h.firm.Zone)
	if err != nil {
		e.see(wrong, about, "set firm.zone", "the firm's zone does not load: %v", err)
		return now
	}
	if now.Before(earliestNow) {
		e.see(wrong, about, "set the machine's clock; let it be kept by NTP", "the machine says it is %s", now.Format(time.RFC3339))
	}
	const shown = "Monday 2 January 2006 15:04 MST"
	if b.Life == ledger.Virtual {
		e.see(doubt, about, "for real work use another database", "%s lives on a virtual clock for ever; it stands at %s", h.firm.Name, b.Mark.In(zone).Format(shown))
		return b.Mark
	}
	if last, err := h.newest(ctx, b); err != nil {
		e.see(wrong, about, "restore the database from a copy", "what is stored cannot be read: %v", err)
	} else if now.Add(backBy).Before(last) {
		e.see(wrong, about, "set the machine's clock; nothing is done while it is behind", "the machine's clock (%s) is behind what is stored (%s)", now.Format(time.RFC3339), last.Format(time.RFC3339))
		return now
	}
	e.ok(about, "in %s it is %s", h.firm.Zone, now.In(zone).Format(shown))
	return now
}

// newest gives the latest time at which something was stored.
func (h *house) newest(ctx context.Context, b ledger.Book) (time.Time, error) {
	var last time.Time
	note := func(t time.Time) {
		if t.After(last) {
			last = t
		}
	}
	ms, err := h.db.Messages(ctx, h.firm.UID)
	if err != nil {
		return last, err
	}
	for _, m := range ms {
		note(m.Created)
	}
	for _, k := range b.Calls {
		note(k.Made)
	}
	if b.Week != nil {
		note(b.Week.Made)
	}
	return last, nil
}

// How much room a database needs: a firm's year takes tens of megabytes.
// Common practice, no source.
const (
	roomNeeded  = 100 << 20
	roomWanted  = 1 << 30
	probeWithin = 30 * time.Second
)

// disk looks at the room left where a SQLite file lies.
func (e *examination) disk(dsn string) {
	const about = "disk"
	path, local := strings.CutPrefix(dsn, "sqlite:")
	if !local {
		e.ok(about, "the database server's disk cannot be seen from here; watch it there")
		return
	}
	folder := filepath.Dir(path)
	free, ok, err := freeBytes(folder)
	switch {
	case errors.Is(err, fs.ErrNotExist): // said of the database already
	case !ok:
		e.ok(about, "the room in %s cannot be seen on this system; watch it", folder)
	case err != nil:
		e.see(wrong, about, "see that the folder is there", "the room in %s cannot be seen: %v", folder, err)
	case free < roomNeeded:
		e.see(wrong, about, "make room", "only %s are free in %s", humanize.IBytes(free), folder)
	case free < roomWanted:
		e.see(doubt, about, "make room soon", "only %s are free in %s", humanize.IBytes(free), folder)
	default:
		e.ok(about, "%s are free in %s", humanize.IBytes(free), folder)
	}
}

// source asks every weather source once for one place, at each of its endpoints.
func (e *examination) source(ctx context.Context, h *house, b ledger.Book, now time.Time) {
	const about = "source"
	sources, err := h.sources(b.Life == ledger.Virtual)
	if err != nil {
		e.see(wrong, about, "set source in "+h.cfg.Path, "%v", err)
		return
	}
	// the first job's place; before there is one, Greenwich
	cell, place := forecast.CellOf(51.4779, -0.0015, 46), "Greenwich, as there are no jobs yet"
	if len(b.Jobs) > 0 {
		cell, place = scheduler.CellOf(b.Jobs[0].Site), "the site of "+b.Jobs[0].ID
	}
	bad := wrong
	for _, n := range sources {
		for _, ep := range []forecast.Endpoint{forecast.Deterministic, forecast.Ensemble} {
			if n.Source.Batch(ep) > 0 {
				e.probe(ctx, h, bad, n, ep, cell, place, now)
			}
		}
		e.terms(n)
		bad = doubt // the others only stand in for the first
	}
}

// probe asks one endpoint of a source for one place.
func (e *examination) probe(ctx context.Context, h *house, bad grade, n scheduler.NamedSource, ep forecast.Endpoint, cell forecast.Cell, place string, now time.Time) {
	const about = "source"
	ctx, cancel := context.WithTimeout(ctx, probeWithin)
	defer cancel()
	called := map[forecast.Endpoint]string{forecast.Deterministic: "deterministic", forecast.Ensemble: "ensemble"}[ep]
	begun := time.Now()
	if _, err := (budgeted{h, n, now}).Fetch(ctx, forecast.Ask{Endpoint: ep, Cells: []forecast.Cell{cell}, Now: now}); err != nil {
		e.see(bad, about, "see that the network lets laycast out and that source in "+h.cfg.Path+" is right; no forecast means no go", "%s gives no %s forecast for %s: %v", n.Name, called, place, err)
		return
	}
	e.ok(about, "%s gives a whole %s forecast for %s, in %.1f s", n.Name, called, place, time.Since(begun).Seconds())
}

// terms says on what terms a source gives its weather.
func (e *examination) terms(n scheduler.NamedSource) {
	const about = "source"
	e.ok(about, "%s: licence %s; credit, shown with the weather: %s", n.Name, n.Licence, n.Credit)
	if n.Free {
		e.see(doubt, about, "for work take a contract with the source and set source.forecast_url, ensemble_url and key_file, run a server of your own, or use a source that allows commercial use (docs/sources.md)",
			"the free hosts are asked, whose terms allow no commercial use")
	}
}

// mail looks at the sender and talks to the mail server, without a message.
func (e *examination) mail(ctx context.Context, h *house) {
	const about = "mail"
	m := h.cfg.Mail
	from, err := mail.ParseAddress(m.From)
	if err == nil {
		err = job.CheckEmail(from.Address)
	}
	if err != nil {
		e.see(wrong, about, "write mail.from as Name <name@example.org>", "mail.from %q is not a sender", m.From)
		return
	}
	domain := func(a string) string { return strings.ToLower(a[strings.LastIndexByte(a, '@')+1:]) }
	if domain(from.Address) != domain(h.firm.Email) {
		e.see(doubt, about, "send from an address at the firm's own domain, or see that SPF and DKIM of "+domain(from.Address)+" allow this server",
			"mails come from %s but the firm is at %s", from.Address, domain(h.firm.Email))
	} else {
		e.ok(about, "mails come from %s, the firm's own domain", from.Address)
	}
	if m.Host == "" {
		e.see(doubt, about, "set mail.smtp, mail.user and mail.password_file", "no mail server is set: mails can only be written to files (serve --mail-dir DIR)")
		return
	}
	if m.TLS == "off" && !loopback(m.Host) {
		e.see(wrong, about, "set mail.tls to mandatory", "TLS is off, though %s is another machine", m.Host)
		return
	}
	if m.User == "" && !loopback(m.Host) {
		e.see(doubt, about, "set mail.user and mail.password_file if the server asks for them", "laycast does not sign in at %s", m.Host)
	}
	e.alignment(ctx, m, net.DefaultResolver.LookupTXT)
	e.server(ctx, h)
}

// prober is a mail transport that can be tried without a message.
type prober interface {
	Probe(ctx context.Context) error
}

func (e *examination) server(ctx context.Context, h *house) {
	const about = "mail"
	m := h.cfg.Mail
	p, err := h.post()
	if err != nil {
		e.see(wrong, about, "set mail in "+h.cfg.Path, "%v", err)
		return
	}
	t, can := p.transport.(prober)
	if !can {
		e.see(doubt, about, "send a mail by it to see", "the server %s cannot be tried without a message", m.Host)
		return
	}
	ctx, cancel := context.WithTimeout(ctx, probeWithin)
	defer cancel()
	if err := t.Probe(ctx); err != nil {
		e.see(wrong, about, "see that mail.smtp, user and password_file are right and that the network lets laycast out to that port", "the server %s:%d: %v", m.Host, m.Port, err)
		return
	}
	how := "with TLS"
	if m.TLS == "off" {
		how = "without TLS, on this machine"
	}
	if m.User != "" {
		how += ", and signs laycast in"
	}
	e.ok(about, "the server %s:%d answers %s", m.Host, m.Port, how)
}

// links looks at how the secret links begin, and at the key behind them.
func (e *examination) links(h *house) {
	const about = "links"
	u, err := url.Parse(h.cfg.PublicURL)
	switch {
	case err != nil || u.Hostname() == "":
		e.see(wrong, about, "set public_url to https://name", "public_url is no address")
	case loopback(u.Hostname()):
		e.see(doubt, about, "set public_url to the address at which customers and crews reach laycast, https://name", "the links begin with %s, which leads to this machine only", h.cfg.PublicURL)
	case u.Scheme != "https":
		e.see(wrong, about, "put a web server with a certificate in front of laycast and set public_url to https://"+u.Host, "the links begin with %s: whoever listens on the way can read and use them", h.cfg.PublicURL)
	default:
		e.ok(about, "the links begin with %s", h.cfg.PublicURL)
	}
	e.linkKey(h.cfg.LinkKeyFile)
}

// linkKey looks at the key behind the links.
func (e *examination) linkKey(path string) {
	const about = "links"
	_, err := readLinkKey(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.ok(about, "the link key %s is not there yet; it is made when it is first needed", path)
	case err != nil:
		e.see(wrong, about, "mend "+path+" and run laycast doctor again", "%v", err)
	default:
		e.ok(about, "the link key %s is whole and for its owner alone; keep a copy of it with the backups", path)
	}
}
