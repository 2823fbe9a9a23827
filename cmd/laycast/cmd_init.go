package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"unicode"

	"laycast/job"
	"laycast/job/access"
)

type initCmd struct {
	Firm       string `help:"Name of the firm." required:"" placeholder:"NAME"`
	Zone       string `help:"Time zone of the firm, an IANA name such as Europe/London." required:""`
	OwnerEmail string `help:"Mail address of the owner: week mail, questions, trouble." required:"" placeholder:"ADDRESS"`
	Database   string `help:"Where the data lie: sqlite:PATH, or postgres://user@host/name. Without it laycast.db beside the configuration." placeholder:"D"`
	Dir        string `help:"Write into this folder instead of the present one." placeholder:"DIR"`
}

// Help shows examples.
func (initCmd) Help() string {
	return "Writes laycast.yaml (never over one that is there) and creates the database.\n\nExamples:\n" +
		"  laycast init --firm \"Saltbox Laminates\" --zone America/Halifax --owner-email office@saltbox.example\n" +
		"  laycast init --firm \"Saltbox Laminates\" --zone America/Halifax --owner-email office@saltbox.example --dir saltbox --database postgres://laycast@db.example/laycast"
}

// Run sets a firm up.
func (c *initCmd) Run(ctx context.Context, s *session) error {
	path := s.configPath
	if c.Dir != "" && !filepath.IsAbs(path) {
		path = filepath.Join(c.Dir, path)
	}
	text, err := c.text()
	if err != nil {
		return err
	}
	// read as it will be, so that what is written is known to load
	cfg, err := parseConfig(path, text, s.Env, os.ReadFile)
	if err != nil {
		return usageError{initProblems(err)}
	}
	if c.Dir != "" {
		if err := os.MkdirAll(c.Dir, 0o755); err != nil {
			return fmt.Errorf("make the folder %s: %w", c.Dir, err)
		}
	}
	if err := writeNew(path, text); err != nil {
		return err
	}
	h, err := s.openWith(ctx, cfg)
	if err != nil {
		// so that init can simply be run again
		return errors.Join(err, os.Remove(path))
	}
	defer h.close()
	link, err := h.signInLink(ctx, h.firm.Email, realClock{}.Now())
	if err != nil {
		return err
	}
	s.printf("%s", c.next(path, h.firm, link))
	return nil
}

// writeNew writes a file that must not be there yet.
func writeNew(path string, text []byte) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, os.ErrExist) {
		return fmt.Errorf("there is a %s already; change it by hand, or give another folder with --dir", path)
	}
	if err != nil {
		return fmt.Errorf("write the configuration: %w", err)
	}
	_, err = f.Write(text)
	if err = errors.Join(err, f.Close()); err != nil {
		return errors.Join(fmt.Errorf("write %s: %w", path, err), os.Remove(path))
	}
	return nil
}

// initProblems names what is wrong by the flags that were given.
func initProblems(err error) error {
	var bad *ConfigError
	if !errors.As(err, &bad) {
		return err
	}
	flags := map[string]string{"firm.name": "--firm", "firm.zone": "--zone", "firm.email": "--owner-email", "database": "--database"}
	lines := make([]string, len(bad.Problems))
	for i, p := range bad.Problems {
		name := flags[p.Key]
		if name == "" {
			name = p.Key
		}
		lines[i] = strings.TrimSpace(name + ": " + p.Reason)
	}
	return errors.New(strings.Join(lines, "\n"))
}

// text gives the configuration to be written.
func (c *initCmd) text() ([]byte, error) {
	for flag, v := range map[string]string{"--firm": c.Firm, "--zone": c.Zone, "--owner-email": c.OwnerEmail, "--database": c.Database} {
		if strings.ContainsFunc(v, unicode.IsControl) {
			return nil, usageError{fmt.Errorf("%s holds a line end or another control character; leave it out", flag)}
		}
	}
	database := c.Database
	if database == "" {
		database = defaultDatabase
		if c.Dir != "" { // wherever laycast is started from
			dir, err := filepath.Abs(c.Dir)
			if err != nil {
				return nil, fmt.Errorf("find the folder %s: %w", c.Dir, err)
			}
			database = "sqlite:" + filepath.ToSlash(filepath.Join(dir, "laycast.db"))
		}
	}
	return fmt.Appendf(nil, configTemplate, quoted(c.Firm), quoted(c.Zone), quoted(c.OwnerEmail), quoted(job.Slug(c.Firm)),
		quoted(database), defaultListen, defaultListen, quoted(c.OwnerEmail), quoted(formatAddress(c.Firm, c.OwnerEmail))), nil
}

// quoted gives a text in the double quotes of YAML, in which JSON's escapes
// mean the same.
func quoted(s string) string {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	_ = e.Encode(s) // a string can always be encoded
	return strings.TrimSpace(b.String())
}

// configTemplate is the configuration that init writes.
const configTemplate = `# The configuration of laycast. What is left out keeps its default;
# laycast config prints all that is in force, laycast config --check names
# everything wrong with this file, laycast doctor tries it out.

firm:
  name: %s
  zone: %s     # crew days, calls and dates are days in it
  email: %s    # the owner: week mail, questions, trouble
  # phone: 902 555 0100                # whom a crew rings; stands in its mails
  uid: %s      # part of every Message-ID and calendar: never change it

database: %s
listen: %s
public_url: http://%s   # how the links of customers and crews begin; https:// when others are to reach it

source:
  kind: open-meteo
  # Without the next two the free hosts are asked, whose terms allow no
  # commercial use: to try laycast out. For work take a contract with the
  # source, run a server of your own, or use kind: met-norway or us-nws
  # (docs/sources.md).
  # forecast_url: https://...
  # ensemble_url: https://...
  # geocoding_url: https://...         # its index of places, to look for towns where a job is booked
  # key_file: source.key             # a file with the key and nothing else, or LAYCAST_SOURCE_KEY
  contact: %s   # who the source may write to about our requests

mail:
  from: %s
  # smtp: smtp://mail.firm.example:587
  # user: office
  # password_file: mail.password     # a file with the password and nothing else, or LAYCAST_MAIL_PASSWORD
  tls: mandatory                     # off only for a server on this machine

# times:                             # minute hour day month weekday, in the firm's zone
#   call: "0 18 * * *"
#   second_look: "30 5 * * *"
#   week_mail: "0 6 * * 1"

# work:
#   days: [mon, tue, wed, thu, fri]
#   from: "07:30"
#   to: "18:00"
#   off: []                          # days on which nobody works, such as 2027-12-25

# costs:
#   currency: EUR
`

// next says what there is and how to go on.
func (c *initCmd) next(path string, f job.Firm, link string) string {
	flag := ""
	if path != "laycast.yaml" {
		flag = " --config " + path
	}
	return fmt.Sprintf(`%[1]s is written and the database is created, for %[2]s (%[3]s, %[4]s).

How to go on:
  1. In %[1]s set source: the free hosts asked by default allow no commercial use.
  2. In %[1]s set mail.smtp, mail.user and mail.password_file; without a server
     mails can only be written to files (serve --mail-dir DIR).
  3. laycast%[5]s import jobs.json      crews and jobs; jobs.csv does as well
  4. laycast%[5]s doctor                tries out database, source, mail and clock
  5. laycast%[5]s plan                  the week as it would be planned now
  6. laycast%[5]s serve                 the daemon: calls in the evening, mails, calendars

Sign in to the pages, once the daemon runs, by this link (once, within %[6]d minutes):
     %[7]s
A new one: ask for it on the first page, it comes by mail; or here, without any
mail: laycast%[5]s link sign-in
`, path, f.Name, f.Email, f.Zone, flag, int(access.SignInLasts.Minutes()), link)
}
