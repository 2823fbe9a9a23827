package main

import (
	"bytes"
	"io"
	"regexp"
)

// masked is a log that keeps to itself who people are: of a mail address its first
// letter and its domain are left, of a secret link its kind. What other servers say
// (a mail server quotes the address that it refuses) is logged as it came, so this
// is done at the one place where all lines leave.
type masked struct{ to io.Writer }

var (
	// letters, digits and what else RFC 5322 3.2.3 allows before the @
	loggedMail = regexp.MustCompile("([\\pL\\pN])[\\pL\\pN!#$%&'*+/=?^_`{|}~.-]*@([\\pL\\pN][\\pL\\pN.-]*)")
	// the paths of access.Path and access.SignInPath, and their tokens
	loggedLink = regexp.MustCompile(`/(p|f|y|n|sign-in)/[A-Za-z0-9_-]{20,}`)
)

// Write writes one line of the log, masked.
func (m masked) Write(line []byte) (int, error) {
	out := line
	if bytes.IndexByte(line, '@') >= 0 {
		out = loggedMail.ReplaceAll(out, []byte("$1...@$2"))
	}
	out = loggedLink.ReplaceAll(out, []byte("/$1/..."))
	if _, err := m.to.Write(out); err != nil {
		return 0, err
	}
	return len(line), nil
}
