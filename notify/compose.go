package notify

import (
	"errors"
	"fmt"
	"net/mail"
	"net/url"
	"strings"
	"time"

	"golang.org/x/net/idna"

	"laycast/job"
)

// ErrAddress marks a message that cannot be composed because its recipient has
// no mail address that could be written to. The caller records it as untold.
var ErrAddress = errors.New("no usable mail address")

// ComposerConfig is what every message of one firm has in common.
type ComposerConfig struct {
	Firm      job.Firm
	From      string // "Name <address>"; its domain is the domain of every Message-ID
	PublicURL string // where the firm's pages are, or ""
	Credit    string // who made the weather, shown where weather is shown; or ""
}

// Composer writes one firm's messages. It is a value without state: the same
// letter gives the same bytes.
type Composer struct {
	firm      job.Firm
	zone      *time.Location
	from      mail.Address
	reply     mail.Address
	publicURL string
	credit    string
}

// NewComposer checks the configuration and gives a Composer. It refuses a From
// or firm address that mail could not be sent from, an unknown zone and a
// public URL that is not http or https.
func NewComposer(cfg ComposerConfig) (*Composer, error) {
	from, err := mail.ParseAddress(cfg.From)
	if err != nil {
		return nil, fmt.Errorf("read mail.from %q: %w; write it as \"Name <office@firm.example>\"", cfg.From, err)
	}
	addr, err := plainAddress(from.Address)
	if err != nil {
		return nil, fmt.Errorf("read mail.from %q: %w", cfg.From, err)
	}
	if !strings.Contains(domainOf(addr), ".") {
		return nil, fmt.Errorf("mail.from %q has no whole domain; write it as \"Name <office@firm.example>\"", cfg.From)
	}
	reply, err := plainAddress(cfg.Firm.Email)
	if err != nil {
		return nil, fmt.Errorf("read firm.email %q: %w", cfg.Firm.Email, err)
	}
	zone, err := zoneOf(cfg.Firm.Zone)
	if err != nil {
		return nil, fmt.Errorf("read firm.zone: %w", err)
	}
	if cfg.PublicURL != "" && !isWebLink(cfg.PublicURL) {
		return nil, fmt.Errorf("public_url %q is not a web address; write it as https://lay.firm.example", cfg.PublicURL)
	}
	return &Composer{
		firm: cfg.Firm, zone: zone,
		from:      mail.Address{Name: shorten(clean(from.Name), 60), Address: addr},
		reply:     mail.Address{Name: shorten(clean(cfg.Firm.Name), 60), Address: reply},
		publicURL: strings.TrimSuffix(cfg.PublicURL, "/"), credit: clean(cfg.Credit),
	}, nil
}

// zoneOf loads an IANA zone. "" and "Local" would silently mean the machine's
// own, so they are refused.
func zoneOf(name string) (*time.Location, error) {
	if name == "" || name == "Local" {
		return nil, fmt.Errorf("%q is not a time zone; write one such as America/Halifax", name)
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		return nil, fmt.Errorf("%q is not a time zone: %w", name, err)
	}
	return loc, nil
}

// siteZone gives the zone in which a site's times are printed: its own, or the
// firm's where it names none that exists.
func (c *Composer) siteZone(s job.Site) *time.Location {
	if loc, err := zoneOf(s.Zone); err == nil {
		return loc
	}
	return c.zone
}

// plainAddress checks a bare mail address and gives it with an ASCII domain.
// Local parts that would need quoting or UTF-8 in the envelope are refused: few
// servers take them and none of the trade's customers has one.
func plainAddress(s string) (string, error) {
	s = strings.TrimSpace(s)
	at := strings.LastIndexByte(s, '@')
	if at < 1 || at == len(s)-1 || at > 64 {
		return "", fmt.Errorf("%q: %w; write it as name@firm.example", s, ErrAddress)
	}
	local, domain := s[:at], s[at+1:]
	for _, r := range local {
		if r > 126 || r <= ' ' || strings.ContainsRune(`"(),:;<>@[\]`, r) {
			return "", fmt.Errorf("%q: %w; the part before the @ may hold plain letters, digits and signs only", s, ErrAddress)
		}
	}
	ascii, err := idna.Lookup.ToASCII(domain)
	if err != nil {
		return "", fmt.Errorf("%q: %w: %w", s, ErrAddress, err)
	}
	out := local + "@" + strings.ToLower(ascii)
	if a, err := mail.ParseAddress(out); err != nil || a.Address != out {
		return "", fmt.Errorf("%q: %w; write it as name@firm.example", s, ErrAddress)
	}
	return out, nil
}

func domainOf(addr string) string { return addr[strings.LastIndexByte(addr, '@')+1:] }

// isWebLink reports whether s may stand in a mail as a link.
func isWebLink(s string) bool {
	u, err := url.Parse(s)
	return err == nil && (u.Scheme == "https" || u.Scheme == "http") && u.Host != "" && s == clean(s) && !strings.Contains(s, " ")
}

// draft is a message before it is rendered.
type draft struct {
	name     Name // without firm, recipient and channel
	audience Audience
	toName   string
	to       string
	subject  string
	reason   string
	letter   letter
	stop     string   // a link by which the reader stops mails of this kind, or ""
	thread   []string // Message-IDs of the mails it follows, oldest first

	now       time.Time
	notBefore time.Time // zero: at once
	expires   time.Time
}

// finish names the draft and renders it.
func (c *Composer) finish(d draft) (Message, error) {
	to, err := plainAddress(d.to)
	if err != nil {
		return Message{}, fmt.Errorf("compose %s for %s: %w", d.name.Kind, clean(d.toName), err)
	}
	name := d.name
	name.Firm, name.Channel = c.firm.UID, Mail
	// upper and lower case reach the same box, so they are the same recipient
	name.Recipient = strings.ToLower(to)
	id := name.ID()
	m := Message{
		ID: id, Name: name, Audience: d.audience,
		MessageID: id + "@" + domainOf(c.from.Address),
		Subject:   clean(d.subject), Reason: clean(d.reason),
		Created: d.now, NotBefore: d.notBefore, Expires: d.expires, State: Pending,
	}
	if m.NotBefore.IsZero() {
		m.NotBefore = d.now
	}
	d.letter.Foot = append(d.letter.Foot, c.foot(m.Reason, d.letter.Weather)...)
	wire, err := c.render(m, mail.Address{Name: shorten(clean(d.toName), 60), Address: to}, d)
	if err != nil {
		return Message{}, fmt.Errorf("render %s for %s: %w", name.Kind, to, err)
	}
	m.Wire, m.Plain = wire, d.letter.text()
	return m, nil
}

// foot gives the last lines of every mail: why it came, where an answer goes,
// and whose weather it is.
func (c *Composer) foot(reason string, weather bool) []string {
	lines := []string{
		"You get this mail because " + reason + ". It was written by a program; an answer reaches " + c.reply.Address + ".",
	}
	if weather && c.credit != "" {
		lines = append(lines, c.credit)
	}
	return lines
}

// Crediting gives a Composer that credits the weather to somebody else.
func (c *Composer) Crediting(credit string) *Composer {
	x := *c
	x.credit = clean(credit)
	return &x
}

// today gives the firm's civil date at t.
func (c *Composer) today(t time.Time) job.Date { return job.DateOf(t.In(c.zone)) }

// startOf gives the first moment of a civil day of the firm.
func (c *Composer) startOf(d job.Date) time.Time { return job.Instant(d, 0, c.zone) }
