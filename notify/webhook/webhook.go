// Package webhook hands a message as JSON to a program of the firm's own, which
// may pass it on as it likes, and says after a failure whether to try again. A
// message bears its id, so that the receiver can drop one that comes twice.
package webhook

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"laycast/notify"
)

// The headers of a request.
const (
	HeaderID        = "Laycast-Id"
	HeaderTimestamp = "Laycast-Timestamp" // seconds since 1970
	HeaderSignature = "Laycast-Signature" // sha256=HEX
)

// LeastSecret is the fewest octets that a secret may have.
const LeastSecret = 16

// timeout bounds one attempt: a receiver that only takes notes answers at once.
const timeout = 20 * time.Second

// Config is where to send, and with what secret.
type Config struct {
	URL    string // https, or http to this machine
	Secret string
	Now    func() time.Time // the clock that stamps requests
}

// Transport hands over messages.
type Transport struct {
	cfg    Config
	client *http.Client
}

// New checks the configuration and gives a Transport.
func New(cfg Config) (*Transport, error) {
	if err := Check(cfg.URL); err != nil {
		return nil, fmt.Errorf("webhook.url %w", err)
	}
	if len(cfg.Secret) < LeastSecret {
		return nil, fmt.Errorf("the webhook's secret is shorter than %d characters; put a long random one into webhook.secret_file", LeastSecret)
	}
	return &Transport{cfg: cfg, client: &http.Client{
		Timeout: timeout,
		// what is signed is for this address alone
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}, nil
}

// Check refuses an address that messages must not be sent to: they name people
// and places.
func Check(raw string) error {
	u, err := url.Parse(raw)
	if err != nil || u.Host == "" {
		return errors.New("is not an address; write it as https://hook.firm.example/laycast")
	}
	ip := net.ParseIP(u.Hostname())
	here := u.Hostname() == "localhost" || ip != nil && ip.IsLoopback()
	switch {
	case u.User != nil:
		return errors.New("holds a user or password; a receiver knows us by the signature")
	case u.Scheme == "https", u.Scheme == "http" && here:
		return nil
	}
	return errors.New("must begin with https://: only this machine is spoken to in the clear")
}

// Sign gives the signature of a body sent at a time (seconds since 1970).
func Sign(secret, timestamp string, body []byte) string {
	mac := hmac.New(sha256.New, []byte(secret))
	mac.Write([]byte(timestamp + "."))
	mac.Write(body)
	return "sha256=" + hex.EncodeToString(mac.Sum(nil))
}

// Deliver sends one message once. Its error is a *notify.Failure.
func (t *Transport) Deliver(ctx context.Context, m notify.Message) error {
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, t.cfg.URL, bytes.NewReader(m.Wire))
	if err != nil {
		return &notify.Failure{Class: notify.Permanent, Reason: "the webhook's address cannot be used"}
	}
	at := strconv.FormatInt(t.cfg.Now().Unix(), 10)
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("User-Agent", "laycast")
	r.Header.Set(HeaderID, m.ID)
	r.Header.Set(HeaderTimestamp, at)
	r.Header.Set(HeaderSignature, Sign(t.cfg.Secret, at, m.Wire))
	answer, err := t.client.Do(r)
	if err != nil {
		// It may have arrived; it goes again under the same id.
		return &notify.Failure{Class: notify.Doubt, Reason: "the webhook did not answer: " + reason(err)}
	}
	defer func() { _ = answer.Body.Close() }()
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, 64<<10)) // so that the connection can be used again
	return judge(answer.StatusCode)
}

// judge says what an answer means. A receiver that is busy, being mended or does
// not know us yet may take the message later; 400, 413 and 422 are about this
// message, and 410 says that there is no receiver any more.
func judge(status int) error {
	f := &notify.Failure{Class: notify.Retry, Code: status, Reason: fmt.Sprintf("the webhook answered %d", status)}
	switch status {
	case http.StatusBadRequest, http.StatusGone, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity:
		f.Class = notify.Permanent
	}
	if status >= 200 && status < 300 {
		return nil
	}
	return f
}

// reason gives an error without the address, whose path may be a secret.
func reason(err error) string {
	var u *url.Error
	if errors.As(err, &u) {
		err = u.Err
	}
	return strings.Join(strings.Fields(err.Error()), " ")
}
