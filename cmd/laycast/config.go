package main

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"net/netip"
	"os"
	"path/filepath"
	"slices"
	"strings"
	_ "time/tzdata" // zones must load on machines that carry none

	"go.yaml.in/yaml/v4"

	"laycast/job"
	"laycast/notify"
	"laycast/notify/webhook"
)

// Config is the configuration of one host: a firm, where its data lie and how
// it reaches the world.
type Config struct {
	Firm      job.Firm
	Database  string // sqlite:PATH or postgres://…
	Listen    string // host:port
	PublicURL string // without a slash at the end
	// MetricsListen is where /metrics is told, host:port; "" = nowhere.
	MetricsListen string
	// LinkKeyFile holds the key behind the secret links; made on first use.
	LinkKeyFile string
	// ProfilesDir is the folder of the firm's own laying limits, "" = none.
	ProfilesDir string
	// SeasonFile is what laycast season --json said of the firm's place, "" = none.
	SeasonFile string
	// MaterialsFile is the firm's own file of materials, "" = the built-in one.
	MaterialsFile string
	// TrustedProxies are the networks of proxies of ours: what they say in
	// X-Forwarded-For about whom they speak for is believed.
	TrustedProxies []netip.Prefix
	Sources        []SourceConfig
	Mail           MailConfig
	Webhook        WebhookConfig
	// AskStrict: a new date is never told without the owner's yes. Otherwise it
	// is told in the morning unless the owner says no.
	AskStrict bool

	Path string   // of the file
	Set  []string // dotted keys that the file sets: they show as locked in the pages
}

// SourceConfig is one source of forecasts.
type SourceConfig struct {
	Kind         string // open-meteo, met-norway, us-nws or replay
	Name         string // by which its forecasts are kept and told of; the kind unless set
	ForecastURL  string // open-meteo only; "" = the source's own address
	EnsembleURL  string // open-meteo only
	GeocodingURL string // open-meteo only: of the index of places, "" = none is asked
	PreviousURL  string // open-meteo only: of past forecasts, "" = the one that belongs to ForecastURL
	Model        string // open-meteo only: the ensemble's model, "" = the usual one
	IPv4         bool   // for a network whose IPv6 route is broken
	URL          string // met-norway and us-nws only; "" = the source's own address
	Key          Secret
	Contact      string // who to write to about our requests
	Weather      string // replay only: the recorded year, "" = the built-in one
	// What requests may cost in each minute, hour and day of UTC, in the source's
	// own calls; 0 = its own bounds where they are known, else none.
	PerMinute, PerHour, PerDay float64
}

// WebhookConfig is a program of the firm's own that is told what crews and the
// owner are told by mail.
type WebhookConfig struct {
	URL    string // "" = none
	Secret Secret
	For    []notify.Audience // whose messages; crew and owner unless set
}

// MailConfig is how mail leaves.
type MailConfig struct {
	From     string // "Name <address>"
	Host     string // "" = no mail server is set
	Port     int
	User     string
	Password Secret
	TLS      string // mandatory or off
}

// Secret is a password or key that never shows itself when printed.
type Secret string

// String tells only whether there is a secret.
func (s Secret) String() string {
	if s == "" {
		return ""
	}
	return "(set, not shown)"
}

// GoString hides the secret from %#v.
func (s Secret) GoString() string { return fmt.Sprintf("%q", s.String()) }

// MarshalText hides the secret from JSON and YAML.
func (s Secret) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Reveal gives the secret itself.
func (s Secret) Reveal() string { return string(s) }

// ConfigProblem is one thing wrong with the configuration.
type ConfigProblem struct {
	Line   int    // in the file; 0 = the file as a whole or the environment
	Key    string // "times.call" or the name of an environment variable
	Reason string // what is wrong and what to do about it
}

// ConfigError is everything wrong with a configuration, a line each.
type ConfigError struct {
	File     string
	Problems []ConfigProblem
}

// Error gives one line a problem: file:line: key: reason.
func (e *ConfigError) Error() string {
	lines := make([]string, len(e.Problems))
	for i, p := range e.Problems {
		at, key := e.File, p.Key
		if p.Line > 0 {
			at = fmt.Sprintf("%s:%d", e.File, p.Line)
		}
		if p.Line == 0 && strings.HasPrefix(key, envPrefix) {
			at = "environment"
		}
		if key != "" {
			key += ": "
		}
		lines[i] = at + ": " + key + p.Reason
	}
	return strings.Join(lines, "\n")
}

const (
	envPrefix      = "LAYCAST_"
	maxConfigBytes = 1 << 20
	// used where the file is silent
	defaultDatabase = "sqlite:laycast.db"
	defaultListen   = "127.0.0.1:8642"
)

// LoadConfig reads the configuration file and the LAYCAST_… environment, which
// wins. Everything wrong is reported at once, as a *ConfigError. Files of
// secrets are named relative to the configuration file. env may be nil.
func LoadConfig(path string, env func(string) string) (Config, error) {
	f, err := os.Open(path)
	if errors.Is(err, os.ErrNotExist) {
		return Config{}, fmt.Errorf("no configuration at %s; write one with `laycast init`, or name another with --config", path)
	}
	if err != nil {
		return Config{}, fmt.Errorf("read configuration: %w", err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxConfigBytes+1))
	if err != nil {
		return Config{}, fmt.Errorf("read configuration %s: %w", path, err)
	}
	return parseConfig(path, data, env, os.ReadFile)
}

// parseConfig reads the text of a configuration. readFile fetches secrets.
func parseConfig(path string, data []byte, env func(string) string, readFile func(string) ([]byte, error)) (Config, error) {
	if env == nil {
		env = func(string) string { return "" }
	}
	l := &configLoader{env: env, readFile: readFile, dir: filepath.Dir(path)}
	c := l.load(data)
	c.Path, c.Set = path, l.set
	if len(l.problems) > 0 {
		slices.SortStableFunc(l.problems, func(a, b ConfigProblem) int { return cmp.Compare(a.Line, b.Line) })
		return Config{}, &ConfigError{File: path, Problems: l.problems}
	}
	return c, nil
}

// configLoader gathers problems while a configuration is read.
type configLoader struct {
	env      func(string) string
	readFile func(string) ([]byte, error)
	dir      string
	problems []ConfigProblem
	set      []string
}

func (l *configLoader) load(data []byte) Config {
	c := Config{Firm: job.DefaultFirm()}
	root, ok := l.root(data)
	if !ok {
		return c
	}
	l.firm(root.section("firm", true), &c.Firm)
	c.Database = l.topText(root, "database", defaultDatabase, checkDatabase)
	c.Listen = l.topText(root, "listen", defaultListen, checkListen)
	c.PublicURL = strings.TrimRight(l.topText(root, "public_url", "http://"+c.Listen, checkPublicURL), "/")
	c.MetricsListen = l.topText(root, "metrics_listen", "", checkListen)
	if c.MetricsListen != "" && c.MetricsListen == c.Listen && !strings.HasSuffix(c.Listen, ":0") {
		root.complain("metrics_listen", "is the same as listen, which the world reaches; give it a port of its own, such as 127.0.0.1:9642")
	}
	c.LinkKeyFile = l.linkKeyPath(root)
	c.TrustedProxies = l.proxies(root)
	l.users(root.section("users", false), &c.Firm)
	root.text("profiles", &c.ProfilesDir, false)
	if c.ProfilesDir != "" && !filepath.IsAbs(c.ProfilesDir) {
		c.ProfilesDir = filepath.Join(l.dir, c.ProfilesDir)
	}
	root.text("materials", &c.MaterialsFile, false)
	if c.MaterialsFile != "" && !filepath.IsAbs(c.MaterialsFile) {
		c.MaterialsFile = filepath.Join(l.dir, c.MaterialsFile)
	}
	root.text("season", &c.SeasonFile, false)
	if c.SeasonFile != "" && !filepath.IsAbs(c.SeasonFile) {
		c.SeasonFile = filepath.Join(l.dir, c.SeasonFile)
	}
	c.Sources = l.sources(root)
	c.Mail = l.mail(root.section("mail", false), c.Firm)
	c.Webhook = l.webhook(root.section("webhook", false))
	l.times(root.section("times", false), &c.Firm.Times)
	l.work(root.section("work", false), &c.Firm.Work)
	l.costs(root.section("costs", false), &c.Firm.Costs)
	l.bounds(root.section("bounds", false), &c.Firm.Bounds)
	root.whole("tell_ahead", &c.Firm.TellAhead, 0, 14)
	root.whole("notice", &c.Firm.Notice, 0, 14)
	if c.Firm.Notice > c.Firm.TellAhead {
		root.complain("notice", "%d is more than tell_ahead (%d): a date would be frozen before it is told; make it smaller", c.Firm.Notice, c.Firm.TellAhead)
	}
	ask := "until-morning"
	root.oneOf("ask_before_move", &ask, "until-morning", "strict")
	c.AskStrict = ask == "strict"
	standBy := "yes"
	root.oneOf("stand_by", &standBy, "yes", "no")
	c.Firm.StandBy = standBy == "yes"
	root.done()
	return c
}

// topText reads a top-level text that the environment may override.
func (l *configLoader) topText(root *yamlSection, key, fallback string, check func(string) error) string {
	v := fallback
	root.text(key, &v, false)
	name := envPrefix + strings.ToUpper(key)
	if e := l.env(name); e != "" {
		if err := check(e); err != nil {
			l.problems = append(l.problems, ConfigProblem{Key: name, Reason: err.Error()})
		}
		return e
	}
	if !root.has(key) {
		return v
	}
	if err := check(v); err != nil {
		root.complain(key, "%v", err)
	}
	return v
}

func (l *configLoader) firm(s *yamlSection, f *job.Firm) {
	s.text("name", &f.Name, true)
	s.text("zone", &f.Zone, true)
	s.text("email", &f.Email, true)
	s.text("phone", &f.Phone, false)
	f.UID = job.Slug(f.Name)
	s.text("uid", &f.UID, false)
	if f.UID != job.Slug(f.UID) || len(f.UID) > 64 {
		s.complain("uid", "%q may hold lower-case letters, digits and single dashes only, at most 64; try %q", f.UID, job.Slug(f.UID))
	}
	if f.Zone != "" {
		if _, err := job.LoadZone(f.Zone); err != nil {
			s.complain("zone", "%v", err)
		}
	}
	if f.Email != "" {
		if err := job.CheckEmail(f.Email); err != nil {
			s.complain("email", "%v", err)
		}
	}
	s.done()
}

func (l *configLoader) mail(s *yamlSection, f job.Firm) MailConfig {
	m := MailConfig{TLS: "mandatory"}
	smtp, passwordFile := "", ""
	if f.Name != "" && f.Email != "" {
		m.From = formatAddress(f.Name, f.Email)
	}
	s.checked("from", &m.From, checkAddress)
	s.text("smtp", &smtp, false)
	s.text("user", &m.User, false)
	s.text("password_file", &passwordFile, false)
	s.oneOf("tls", &m.TLS, "mandatory", "off")
	if smtp != "" {
		host, port, err := parseSMTP(smtp)
		if err != nil {
			s.complain("smtp", "%v", err)
		}
		m.Host, m.Port = host, port
		if err == nil && m.TLS == "off" && !loopback(host) {
			s.complain("tls", "off sends mail and password readable over the network to %s; it is allowed only for a server on this machine; write mandatory", host)
		}
	}
	m.Password = l.secret(s, "password_file", passwordFile, envPrefix+"MAIL_PASSWORD")
	if m.User != "" && m.Password == "" && !s.complained("password_file") {
		s.complain("user", "has no password; name a file in password_file, or set %sMAIL_PASSWORD", envPrefix)
	}
	s.hint("password", "does not stand in this file; write it into a file of its own and name that in password_file, or set "+envPrefix+"MAIL_PASSWORD")
	s.done()
	return m
}

func (l *configLoader) webhook(s *yamlSection) WebhookConfig {
	var c WebhookConfig
	secretFile := ""
	s.checked("url", &c.URL, webhook.Check)
	s.text("secret_file", &secretFile, false)
	c.Secret = l.secret(s, "secret_file", secretFile, envPrefix+"WEBHOOK_SECRET")
	if c.URL != "" && len(c.Secret) < webhook.LeastSecret && !s.complained("secret_file") {
		s.complain("url", "has no secret of at least %d characters; name a file in secret_file, or set %sWEBHOOK_SECRET", webhook.LeastSecret, envPrefix)
	}
	c.For = []notify.Audience{notify.ToCrew, notify.ToOwner}
	if nodes, ok := s.list("for", "crew, owner", yaml.ScalarNode); ok {
		c.For = nil
		for _, n := range nodes {
			a := notify.Audience(n.Value)
			if a != notify.ToCrew && a != notify.ToOwner {
				s.at(n.Line, "for", "%q is not known; write crew, owner or both: customers are written to by mail alone", n.Value)
				continue
			}
			c.For = append(c.For, a)
		}
	}
	s.hint("secret", "does not stand in this file; write it into a file of its own and name that in secret_file, or set "+envPrefix+"WEBHOOK_SECRET")
	s.done()
	return c
}

// secret gives the content of the environment variable or of the file.
func (l *configLoader) secret(s *yamlSection, key, file, envName string) Secret {
	if envName != "" {
		if v := l.env(envName); v != "" {
			return Secret(v)
		}
	}
	if file == "" {
		return ""
	}
	path := file
	if !filepath.IsAbs(path) {
		path = filepath.Join(l.dir, path)
	}
	b, err := l.readFile(path)
	if err != nil {
		s.complain(key, "cannot be read: %v", err)
		return ""
	}
	v := strings.TrimSpace(string(b))
	if v == "" || len(v) > 4096 || strings.ContainsAny(v, "\r\n\x00") {
		s.complain(key, "%s must hold one line with the secret and nothing else", file)
		return ""
	}
	return Secret(v)
}
