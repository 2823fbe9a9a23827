package smtp_test

import (
	"bufio"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"io"
	"log"
	"math/big"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	server "github.com/emersion/go-smtp"
)

// box is a mail server's memory.
type box struct {
	mu    sync.Mutex
	mails []delivered

	mail, rcpt, data error // answers, nil accepts
	stall            chan struct{}
	mechs            []string // sign-in offered; nil needs none
	signedIn         []string // "user password" of each sign-in
}

type delivered struct {
	from, to string
	wire     []byte
}

func (b *box) all() []delivered {
	b.mu.Lock()
	defer b.mu.Unlock()
	return append([]delivered(nil), b.mails...)
}

type session struct {
	b        *box
	from, to string
	in       bool
}

func (s *session) Reset()        { s.from, s.to = "", "" }
func (s *session) Logout() error { return nil }

func (s *session) Mail(from string, _ *server.MailOptions) error {
	if s.b.mechs != nil && !s.in {
		return &server.SMTPError{Code: 530, EnhancedCode: server.EnhancedCode{5, 7, 0}, Message: "sign in first"}
	}
	s.from = from
	return s.b.mail
}

func (s *session) Rcpt(to string, _ *server.RcptOptions) error {
	s.to = to
	return s.b.rcpt
}

func (s *session) Data(r io.Reader) error {
	wire, err := io.ReadAll(r)
	if err != nil {
		return err
	}
	if s.b.data != nil {
		return s.b.data
	}
	s.b.mu.Lock()
	s.b.mails = append(s.b.mails, delivered{s.from, s.to, wire})
	s.b.mu.Unlock()
	if s.b.stall != nil {
		<-s.b.stall
	}
	return nil
}

func (s *session) AuthMechanisms() []string { return s.b.mechs }

func (s *session) Auth(mech string) (sasl.Server, error) {
	check := func(user, password string) error {
		s.b.mu.Lock()
		defer s.b.mu.Unlock()
		s.b.signedIn = append(s.b.signedIn, user+" "+password)
		if password != "right" {
			return server.ErrAuthFailed
		}
		s.in = true
		return nil
	}
	if mech == "LOGIN" {
		return &login{check: check}, nil
	}
	return sasl.NewPlainServer(func(_, user, password string) error { return check(user, password) }), nil
}

// login is the server's side of AUTH LOGIN.
type login struct {
	step  int
	user  string
	check func(user, password string) error
}

func (l *login) Next(answer []byte) ([]byte, bool, error) {
	l.step++
	switch l.step {
	case 1:
		return []byte("Username:"), false, nil
	case 2:
		l.user = string(answer)
		return []byte("Password:"), false, nil
	}
	return nil, true, l.check(l.user, string(answer))
}

// serve starts a mail server on a loopback port and gives its address.
func serve(t *testing.T, b *box, secure *tls.Config, implicit bool) string {
	t.Helper()
	s := server.NewServer(server.BackendFunc(func(*server.Conn) (server.Session, error) { return &session{b: b}, nil }))
	s.Domain, s.TLSConfig, s.AllowInsecureAuth = "mail.test.example", secure, true
	s.ErrorLog = log.New(io.Discard, "", 0)
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	if implicit {
		l = tls.NewListener(l, secure)
	}
	done := make(chan error, 1)
	go func() { done <- s.Serve(l) }()
	t.Cleanup(func() {
		// the server may not have got round to the listener yet, so it is closed here
		_ = l.Close()
		if err := s.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
			t.Errorf("close the test server: %v", err)
		}
		<-done
	})
	return l.Addr().String()
}

// selfSigned makes a certificate for 127.0.0.1 that only its own pool trusts.
func selfSigned(t *testing.T) (*tls.Config, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	c := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "mail.test.example"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(leaf)
	return &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}, pool
}

// cutter is a proxy that looks at the client's lines and cuts the connection at
// one of them.
type cutter struct {
	at string // the line's beginning; "greeting" cuts before the server speaks
	// answered lets the line through, waits for the server's answer and cuts
	// instead of passing it on.
	answered bool
}

func (k cutter) start(t *testing.T, server string) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			wg.Go(func() { k.relay(c, server) })
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		wg.Wait()
	})
	return l.Addr().String()
}

func (k cutter) relay(c net.Conn, server string) {
	defer c.Close()
	if k.at == "greeting" {
		return
	}
	s, err := net.Dial("tcp", server)
	if err != nil {
		return
	}
	defer s.Close()
	answers := make(chan string)
	go func() {
		defer close(answers)
		r := bufio.NewReader(s)
		for {
			line, err := r.ReadString('\n')
			if err != nil {
				return
			}
			answers <- line
		}
	}()
	lines := make(chan string)
	quit := make(chan struct{})
	defer close(quit)
	go func() {
		defer close(lines)
		r := bufio.NewReader(c)
		for {
			line, err := r.ReadString('\n')
			if err != nil {
				return
			}
			select {
			case lines <- line:
			case <-quit:
				return
			}
		}
	}()
	k.pass(c, s, lines, answers)
	_ = s.Close()
	for range answers { // let the reader end
	}
}

func (k cutter) pass(c, s net.Conn, lines, answers chan string) {
	for {
		select {
		case line, ok := <-lines:
			if !ok {
				return
			}
			cut := strings.HasPrefix(line, k.at)
			if cut && !k.answered {
				return
			}
			if _, err := io.WriteString(s, line); err != nil {
				return
			}
			if cut {
				<-answers
				return
			}
		case line, ok := <-answers:
			if !ok {
				return
			}
			if _, err := io.WriteString(c, line); err != nil {
				return
			}
		}
	}
}
