package main

import (
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
	"go.yaml.in/yaml/v4"

	"laycast/job"
)

func (l *configLoader) times(s *yamlSection, t *job.Times) {
	for _, f := range []struct {
		key  string
		into *string
	}{
		{"call", &t.Call}, {"absence", &t.Absence}, {"second_look", &t.SecondLook}, {"close", &t.Close}, {"unseen", &t.Unseen},
		{"week_mail", &t.WeekMail}, {"tell", &t.Tell}, {"evening_fetch", &t.EveningFetch}, {"morning_fetch", &t.MorningFetch},
	} {
		s.checked(f.key, f.into, checkCron)
	}
	s.done()
}

// checkCron accepts the five fields of a cron expression whose times no clock
// change can swallow or double.
func checkCron(expr string) error {
	if strings.Contains(expr, "TZ=") {
		return errors.New("leave the zone out: times are always in the firm's zone")
	}
	if strings.HasPrefix(expr, "@") {
		return fmt.Errorf("%q is not offered; write minute hour day month weekday, such as \"0 18 * * *\"", shorten(expr))
	}
	sched, err := parseCron(expr)
	if err != nil {
		return fmt.Errorf("%q is not a time; write minute hour day month weekday, such as \"0 18 * * *\" (%s)", shorten(expr), oneLine(err.Error()))
	}
	// robfig/cron gives the zero time for dates that never come (30 February)
	if sched.Next(time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return fmt.Errorf("%q never comes; check the day and the month", shorten(expr))
	}
	if spec, ok := sched.(*cron.SpecSchedule); ok && fixedHourInClockChange(spec) {
		return fmt.Errorf("%q lies between 01:00 and 02:59, which the clock change skips in spring and doubles in autumn; choose another hour", shorten(expr))
	}
	return nil
}

// parseCron wraps the library, which panics on some malformed input.
func parseCron(expr string) (s cron.Schedule, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("cannot be read: %v", r)
		}
	}()
	return cron.ParseStandard(expr)
}

// fixedHourInClockChange reports whether the expression names hour 1 or 2. One
// that runs at every hour ("*") names none.
func fixedHourInClockChange(s *cron.SpecSchedule) bool {
	const star = 1 << 63 // the library's mark of "*"
	return s.Hour&star == 0 && s.Hour&(1<<1|1<<2) != 0
}

func (l *configLoader) work(s *yamlSection, h *job.Hours) {
	if days, ok := s.list("days", "weekdays (mon, tue, wed, thu, fri, sat, sun)", yaml.ScalarNode); ok {
		h.Days = weekdays(s, days)
	}
	clock := func(key string, into *job.TimeOfDay) {
		v, ok := s.scalar(key, `a time of day such as "07:30"`)
		if !ok {
			return
		}
		t, err := job.ParseTimeOfDay(v)
		if err != nil {
			s.complain(key, "%v", err)
			return
		}
		*into = t
	}
	clock("from", &h.From)
	clock("to", &h.To)
	if h.To <= h.From {
		s.complain("to", "work ends (%s) before it begins (%s)", h.To, h.From)
	}
	if off, ok := s.list("off", "dates", yaml.ScalarNode); ok {
		h.Off = nil
		for _, n := range off {
			d, err := job.ParseDate(n.Value)
			if err != nil {
				s.at(n.Line, "off", "%v", err)
				continue
			}
			h.Off = append(h.Off, d)
		}
	}
	s.done()
}

func weekdays(s *yamlSection, nodes []*yaml.Node) []time.Weekday {
	names := []string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}
	var out []time.Weekday
	on := map[time.Weekday]bool{}
	for _, n := range nodes {
		found := false
		for i, name := range names {
			if n.Value == name && !on[time.Weekday(i)] {
				on[time.Weekday(i)], found = true, true
				out = append(out, time.Weekday(i))
			}
		}
		if !found {
			s.at(n.Line, "days", "%q is not a weekday, or stands twice; give mon, tue, wed, thu, fri, sat or sun", shorten(n.Value))
		}
	}
	if len(nodes) == 0 {
		s.complain("days", "is empty: nobody would ever work; give at least one weekday")
	}
	return out
}

func (l *configLoader) costs(s *yamlSection, c *job.Costs) {
	s.checked("currency", &c.Currency, func(v string) error {
		if len(v) != 3 || strings.Trim(v, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
			return fmt.Errorf("%q is not a currency; give three capital letters such as EUR", shorten(v))
		}
		return nil
	})
	s.number("later_share", &c.LaterShare, 0, 1)
	l.moveTiers(s, c)
	s.money("short_notice", &c.ShortNotice)
	s.money("km", &c.Km)
	s.number("pair_km", &c.PairKm, 0, 1000)
	s.money("return_cost", &c.ReturnCost)
	s.money("week_late", &c.WeekLate)
	s.done()
}

func (l *configLoader) moveTiers(s *yamlSection, c *job.Costs) {
	tiers, ok := s.list("move", "pairs [days, cost]", yaml.SequenceNode)
	if !ok {
		return
	}
	if len(tiers) == 0 {
		s.complain("move", "is empty; give pairs such as [[2, 200], [99, 10]]")
	}
	c.Move = nil
	last := -1
	for _, n := range tiers {
		if len(n.Content) != 2 || n.Content[0].Kind != yaml.ScalarNode || n.Content[1].Kind != yaml.ScalarNode {
			s.at(n.Line, "move", "each entry is a pair [days, cost]")
			continue
		}
		days, err := strconv.Atoi(n.Content[0].Value)
		cost, errCost := job.ParseMoney(n.Content[1].Value)
		switch {
		case err != nil || days < 0 || days > 999:
			s.at(n.Line, "move", "%q is not a number of days", shorten(n.Content[0].Value))
			continue
		case errCost != nil || cost < 0:
			s.at(n.Line, "move", "%q is not a cost; give 0 or more, with at most 2 decimals", shorten(n.Content[1].Value))
			continue
		case days <= last:
			s.at(n.Line, "move", "%d days come after %d; put the shortest notice first", days, last)
		}
		last = days
		c.Move = append(c.Move, job.MoveTier{Days: days, Cost: cost})
	}
}

func (l *configLoader) bounds(s *yamlSection, b *job.Bounds) {
	s.number("go", &b.Go, 0, 1)
	s.number("go_rain_open", &b.GoRainOpen, 0, 1)
	s.number("no_go", &b.NoGo, 0, 1)
	s.number("no_go_rain", &b.NoGoRain, 0, 1)
	s.number("tell", &b.Tell, 0, 1)
	s.number("after_hold", &b.AfterHold, 0, 1)
	if b.Go <= 0 {
		s.complain("go", "0 would call go in any weather; give a chance above 0")
	}
	if b.NoGo > b.Go {
		s.complain("no_go", "%g is above go (%g); make it smaller", b.NoGo, b.Go)
	}
	if b.NoGoRain < b.GoRainOpen {
		s.complain("no_go_rain", "%g is below go_rain_open (%g); make it larger", b.NoGoRain, b.GoRainOpen)
	}
	s.done()
}

// checkDatabase never repeats the value: it may hold a password.
func checkDatabase(v string) error {
	if p, ok := strings.CutPrefix(v, "sqlite:"); ok {
		if strings.Trim(p, "/") == "" {
			return errors.New("names no file; write sqlite:laycast.db")
		}
		return nil
	}
	if strings.HasPrefix(v, "postgres://") || strings.HasPrefix(v, "postgresql://") {
		u, err := url.Parse(v)
		if err != nil || strings.Trim(u.Path, "/") == "" {
			return errors.New("is not a PostgreSQL address; write postgres://user@host/name")
		}
		return nil
	}
	return errors.New("must be sqlite:PATH or postgres://user@host/name")
}

func checkListen(v string) error {
	host, port, err := net.SplitHostPort(v)
	if err == nil {
		_, err = strconv.ParseUint(port, 10, 16)
	}
	if err != nil || strings.ContainsAny(host, " /") {
		return fmt.Errorf("%q is not an address to listen on; write host:port, such as 127.0.0.1:8642", shorten(v))
	}
	return nil
}

func checkURL(v string) error {
	u, err := url.Parse(v)
	if err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" {
		return errors.New("is not an address; write https://host/path")
	}
	if u.User != nil {
		return errors.New("must not hold a user or password")
	}
	return nil
}

func checkPublicURL(v string) error {
	if err := checkURL(v); err != nil {
		return err
	}
	if strings.ContainsAny(v, "?#") {
		return errors.New("must not hold ? or #; links are made by adding to it")
	}
	return nil
}

func checkAddress(v string) error {
	a, err := mail.ParseAddress(v)
	if err == nil {
		err = job.CheckEmail(a.Address)
	}
	if err != nil {
		return fmt.Errorf("%q is not a sender; write Name <name@example.org>", shorten(v))
	}
	return nil
}

func formatAddress(name, addr string) string {
	return (&mail.Address{Name: name, Address: addr}).String()
}

// parseSMTP reads smtp://host:port.
func parseSMTP(v string) (host string, port int, err error) {
	u, err := url.Parse(v)
	switch {
	case err != nil || u.Hostname() == "":
		return "", 0, errors.New("is not a mail server; write smtp://host:587")
	case u.Scheme == "smtps":
		return "", 0, errors.New("smtps is not offered; write smtp://host:587, which encrypts with STARTTLS")
	case u.Scheme != "smtp":
		return "", 0, errors.New("is not a mail server; write smtp://host:587")
	case u.User != nil:
		return "", 0, errors.New("must not hold a user or password; they stand in user and password_file")
	case strings.Trim(u.Path, "/") != "" || u.RawQuery != "" || u.Fragment != "":
		return "", 0, errors.New("ends after the port; write smtp://host:587")
	}
	n, err := strconv.ParseUint(u.Port(), 10, 16)
	if err != nil || n == 0 {
		return "", 0, errors.New("has no port; write smtp://host:587")
	}
	return u.Hostname(), int(n), nil
}

// loopback reports whether a host is this machine by its very name: a name that
// merely resolves to it today does not count.
func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	ip := net.ParseIP(host)
	return ip != nil && ip.IsLoopback()
}
