package smtp

import (
	"context"
	"errors"
	"fmt"
	"net/textproto"
	"regexp"
	"strings"
	"unicode"
)

// Class says what may be done after a failure.
type Class string

// The classes.
const (
	Retry     Class = "retry"     // nothing was delivered; the same bytes may go again
	Permanent Class = "permanent" // the server will never take this message for this recipient
	Doubt     Class = "doubt"     // it may have been delivered: the text went out, no answer came back
)

// Failure is why a message was not, or may not have been, delivered. Its words
// hold no secret.
type Failure struct {
	Class    Class
	Step     string // what was being done
	Code     int    // the server's answer, 0 where there was none
	Enhanced string // RFC 3463 code, such as "5.1.1", or ""
	Reason   string // in words
	Err      error
}

// Error gives the failure in one line.
func (f *Failure) Error() string {
	if f.Code != 0 {
		return fmt.Sprintf("%s: %d %s", f.Step, f.Code, f.Reason)
	}
	return f.Step + ": " + f.Reason
}

// Unwrap gives the cause.
func (f *Failure) Unwrap() error { return f.Err }

// stage is how far a delivery has come; it decides what an error means.
type stage int

const (
	reaching stage = iota // connecting, greeting, TLS, signing in: about the server
	offering              // MAIL, RCPT, DATA: about this message
	handing               // the text has begun to leave, its end has not
	handed                // the end of the text may have left
)

var enhanced = regexp.MustCompile(`^([245]\.\d{1,3}\.\d{1,3})\s+`)

// fail classifies an error. A refusal (5xx) is permanent only when it is about
// this message: a server that refuses the greeting, the certificate or the
// password refuses every message alike, and goes on taking them once it is
// mended. Without an answer nothing is known about the message, so a cut or a
// timeout before the text left is a retry, never a refusal.
func fail(step string, at stage, err error) *Failure {
	f := &Failure{Class: Retry, Step: step, Reason: words(err.Error()), Err: err}
	var answer *textproto.Error
	if errors.As(err, &answer) {
		f.Code = answer.Code
		msg := strings.TrimSpace(answer.Msg)
		if m := enhanced.FindStringSubmatch(msg); m != nil {
			f.Enhanced = m[1]
		}
		f.Reason = words(msg)
	}
	switch {
	case at == handed && (f.Code < 400 || f.Code > 599):
		f.Class = Doubt
	case at != reaching && f.Code >= 500 && f.Code <= 599 && !aboutServer(f.Code):
		f.Class = Permanent
	}
	return f
}

// aboutServer reports whether a refusal is about the connection or the sign-in
// whatever command it answers: 521 no mail here, 530 sign in first, 534, 535
// and 538 sign-in refused (RFC 4954; from memory).
func aboutServer(code int) bool {
	switch code {
	case 521, 530, 534, 535, 538:
		return true
	}
	return false
}

// words makes a server's text safe for a log, a page and a mail.
func words(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 300 {
		s = string(r[:299]) + "…"
	}
	return s
}

// because prefers the context's error to that of the connection it closed.
func because(ctx context.Context, err error) error {
	if c := ctx.Err(); c != nil {
		return fmt.Errorf("%w: %w", c, err)
	}
	return err
}
