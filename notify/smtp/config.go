package smtp

import (
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/mail"
	"net/url"
	"strings"
	"time"
)

// TLS says how the connection is protected.
type TLS string

// The kinds of protection. Mandatory is the default; there is no "try it and
// else go on in the clear", which anybody on the way could force.
const (
	Mandatory TLS = "mandatory" // STARTTLS, or TLS from the first byte on port 465 and for smtps://
	Off       TLS = "off"       // in the clear, to a loopback address only
)

// Config names the submission server of a firm and how to reach it.
type Config struct {
	URL      string // smtp://host:port or smtps://host:port; the ports default to 587 and 465
	TLS      TLS    // "" is Mandatory
	User     string // "" sends without signing in
	Password string // never logged, never part of an error
	From     string // envelope sender, "Name <address>" or an address alone

	Hello       string         // the name given to the server; "" takes the sender's domain
	Timeout     time.Duration  // for connecting and for each answer; 0 is a minute
	BodyTimeout time.Duration  // for the text and the answer to it; 0 is five minutes
	Roots       *x509.CertPool // trusted certificates; nil takes the system's
}

// Transport delivers messages to one server. It keeps no connection between
// messages: a firm sends a few dozen a day.
type Transport struct {
	cfg      Config
	host     string
	port     string
	implicit bool // TLS from the first byte
}

// New checks the configuration and gives a Transport.
func New(cfg Config) (*Transport, error) {
	t := &Transport{cfg: cfg}
	if err := t.readURL(cfg.URL); err != nil {
		return nil, err
	}
	switch cfg.TLS {
	case "", Mandatory:
		t.cfg.TLS = Mandatory
	case Off:
		if !loopbackName(t.host) {
			return nil, fmt.Errorf("mail.tls is off, but %s is another machine; set mail.tls to mandatory", t.host)
		}
		if t.implicit {
			return nil, fmt.Errorf("mail.tls is off, but %s asks for TLS; drop one of the two", cfg.URL)
		}
	default:
		return nil, fmt.Errorf("mail.tls %q is not known; write mandatory, or off for this machine", cfg.TLS)
	}
	from, err := mail.ParseAddress(cfg.From)
	if err != nil {
		return nil, fmt.Errorf("read mail.from %q: %w", cfg.From, err)
	}
	t.cfg.From = from.Address
	if cfg.Hello == "" {
		t.cfg.Hello = from.Address[strings.LastIndexByte(from.Address, '@')+1:]
	}
	if t.cfg.Timeout <= 0 {
		t.cfg.Timeout = time.Minute
	}
	if t.cfg.BodyTimeout <= 0 {
		t.cfg.BodyTimeout = 5 * time.Minute
	}
	return t, nil
}

// readURL takes host, port and kind from the address of the server.
func (t *Transport) readURL(raw string) error {
	u, err := url.Parse(raw)
	if err != nil {
		// url.Parse's error repeats the address, which may bear a password
		return errors.New("mail.smtp is not an address; write it as smtp://mail.firm.example:587")
	}
	if u.User != nil {
		return errors.New("mail.smtp holds a user or password; put them in mail.user and mail.password_file")
	}
	t.host, t.port = u.Hostname(), u.Port()
	if t.host == "" || (u.Scheme != "smtp" && u.Scheme != "smtps") || strings.Trim(u.Path, "/") != "" {
		return fmt.Errorf("mail.smtp %q is not an address; write it as smtp://mail.firm.example:587", raw)
	}
	t.implicit = u.Scheme == "smtps" || t.port == "465"
	if t.port == "" {
		t.port = "587"
		if t.implicit {
			t.port = "465"
		}
	}
	return nil
}

// loopbackName reports whether a host name can only mean this machine. The
// address it leads to is checked again once connected.
func loopbackName(host string) bool {
	ip := net.ParseIP(host)
	return strings.EqualFold(host, "localhost") || ip != nil && ip.IsLoopback()
}

func loopbackAddr(a net.Addr) bool {
	t, ok := a.(*net.TCPAddr)
	return ok && t.IP.IsLoopback()
}
