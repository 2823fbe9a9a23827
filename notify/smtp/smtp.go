// Package smtp delivers a message's exact bytes to its one recipient through a
// firm's submission server, and says after a failure whether the message can
// have arrived.
package smtp

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"net"
	"strings"
	"time"

	client "github.com/wneessen/go-mail/smtp"

	"laycast/notify"
)

// Deliver sends the message. It returns nil when the server has taken it, and
// else a *Failure. When ctx ends the connection is closed at once; what that
// means depends on how far the delivery had come, as with any other cut.
func (t *Transport) Deliver(ctx context.Context, m notify.Message) error {
	if err := sendable(m); err != nil {
		return &Failure{Class: Permanent, Step: "check the message", Reason: words(err.Error()), Err: err}
	}
	s, f := t.reach(ctx)
	if f != nil {
		return f
	}
	defer s.close()
	if f := s.ready(); f != nil {
		return f
	}
	if f := s.hand(m); f != nil {
		return f
	}
	// The message is taken; how the server says good-bye changes nothing.
	s.wait(t.cfg.Timeout)
	_ = s.client.Quit()
	return nil
}

// sendable refuses what could not go out as it is. Line ends other than CRLF
// would be changed on the way, and then the bytes kept are not the bytes sent.
func sendable(m notify.Message) error {
	rest := bytes.ReplaceAll(m.Wire, []byte("\r\n"), nil)
	switch {
	case len(m.Wire) == 0 || !bytes.HasSuffix(m.Wire, []byte("\r\n")) || bytes.ContainsAny(rest, "\r\n"):
		return errors.New("the mail's lines do not all end in CRLF")
	case !strings.Contains(m.Recipient, "@") || strings.ContainsAny(m.Recipient, " <>\r\n\t\x00"):
		return fmt.Errorf("%q is not a mail address", m.Recipient)
	}
	return nil
}

// session is one connection.
type session struct {
	t      *Transport
	ctx    context.Context
	conn   net.Conn
	client *client.Client
	stop   func() bool
}

// reach connects and reads the greeting.
func (t *Transport) reach(ctx context.Context) (*session, *Failure) {
	addr := net.JoinHostPort(t.host, t.port)
	dialer := net.Dialer{Timeout: t.cfg.Timeout}
	conn, err := dialer.DialContext(ctx, "tcp", addr)
	if err != nil {
		return nil, fail("connect to "+addr, reaching, because(ctx, err))
	}
	s := &session{t: t, ctx: ctx, conn: conn}
	s.stop = context.AfterFunc(ctx, func() { _ = conn.Close() })
	if t.cfg.TLS == Off && !loopbackAddr(conn.RemoteAddr()) {
		s.close()
		return nil, fail("connect to "+addr, reaching, errors.New("mail.tls is off, but this is another machine"))
	}
	s.wait(t.cfg.Timeout)
	talk := conn
	if t.implicit {
		secure := tls.Client(conn, t.tls())
		if err := secure.HandshakeContext(ctx); err != nil {
			s.close()
			return nil, fail("begin TLS with "+t.host, reaching, because(ctx, err))
		}
		talk = secure
	}
	if s.client, err = client.NewClient(talk, t.host); err != nil {
		s.close()
		return nil, fail("read the greeting of "+t.host, reaching, because(ctx, err))
	}
	return s, nil
}

func (t *Transport) tls() *tls.Config {
	return &tls.Config{ServerName: t.host, RootCAs: t.cfg.Roots, MinVersion: tls.VersionTLS12}
}

// wait gives the connection d from now. A socket's deadline is wall-clock time;
// it decides nothing but when to stop waiting.
func (s *session) wait(d time.Duration) { _ = s.conn.SetDeadline(time.Now().Add(d)) }

func (s *session) close() {
	s.stop()
	_ = s.conn.Close()
}

// do runs one step of the dialogue under its own deadline.
func (s *session) do(step string, at stage, d time.Duration, f func() error) *Failure {
	s.wait(d)
	if err := f(); err != nil {
		return fail(step, at, because(s.ctx, err))
	}
	return nil
}

// ready brings the session to where it takes messages: hello, TLS, sign-in.
func (s *session) ready() *Failure {
	cfg := s.t.cfg
	if f := s.do("say hello", reaching, cfg.Timeout, func() error { return s.client.Hello(cfg.Hello) }); f != nil {
		return f
	}
	if cfg.TLS == Mandatory && !s.t.implicit {
		f := s.do("begin TLS with "+s.t.host, reaching, cfg.Timeout, func() error {
			if ok, _ := s.client.Extension("STARTTLS"); !ok {
				return errors.New("the server offers no STARTTLS; nothing was sent in the clear")
			}
			return s.client.StartTLS(s.t.tls())
		})
		if f != nil {
			return f
		}
	}
	if cfg.User == "" {
		return nil
	}
	return s.do("sign in as "+words(cfg.User), reaching, cfg.Timeout, s.signIn)
}

// signIn uses PLAIN, or LOGIN where the server has nothing else.
func (s *session) signIn() error {
	cfg := s.t.cfg
	ok, list := s.client.Extension("AUTH")
	if !ok {
		return errors.New("the server offers no sign-in")
	}
	open := cfg.TLS == Off // to this machine only
	for _, mech := range strings.Fields(strings.ToUpper(list)) {
		if mech == "PLAIN" {
			return s.client.Auth(client.PlainAuth("", cfg.User, cfg.Password, s.t.host, open))
		}
	}
	for _, mech := range strings.Fields(strings.ToUpper(list)) {
		if mech == "LOGIN" {
			return s.client.Auth(client.LoginAuth(cfg.User, cfg.Password, s.t.host, open))
		}
	}
	return fmt.Errorf("the server offers neither PLAIN nor LOGIN but %q", words(list))
}

// hand offers the message and hands its bytes over. The client stuffs dots and
// changes nothing else.
func (s *session) hand(m notify.Message) *Failure {
	cfg := s.t.cfg
	// Our mails are 7-bit, addresses too: no extension is asked for.
	s.client.SkipSMTPUTF8(true)
	if f := s.do("name the sender "+cfg.From, offering, cfg.Timeout, func() error { return s.client.Mail("<" + cfg.From + ">") }); f != nil {
		return f
	}
	if f := s.do("name the recipient "+m.Recipient, offering, cfg.Timeout, func() error { return s.client.Rcpt("<" + m.Recipient + ">") }); f != nil {
		return f
	}
	s.wait(cfg.Timeout)
	w, err := s.client.Data()
	if err != nil {
		return fail("ask to send the text", offering, because(s.ctx, err))
	}
	// Until Close the end of the text has not left, so a cut here is harmless.
	f := s.do("send the text", handing, cfg.BodyTimeout, func() error {
		_, err := w.Write(m.Wire)
		return err
	})
	if f != nil {
		return f
	}
	return s.do("wait for the answer to the text", handed, cfg.BodyTimeout, w.Close)
}
