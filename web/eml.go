package web

import (
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"strings"
	"time"
)

// eml is a mail taken apart.
type eml struct {
	Header mail.Header
	Date   time.Time // zero where there is none
	Text   string    // the first plain text
	HTML   string    // the first HTML, its pictures put into it
	Parts  []string  // the type and size of every part
	images map[string]string
}

// Bounds on what is taken apart (ours, no source).
const (
	emlBytes = 8 << 20
	emlDepth = 8
	emlParts = 50
)

var errTooMuch = errors.New("the mail has too many parts")

// readHeader reads the head of a mail.
func readHeader(r io.Reader) (*mail.Message, eml, error) {
	m, err := mail.ReadMessage(io.LimitReader(r, emlBytes))
	if err != nil {
		return nil, eml{}, fmt.Errorf("read the mail: %w", err)
	}
	e := eml{Header: m.Header, images: map[string]string{}}
	e.Date, _ = m.Header.Date() // a mail without a date is still a mail
	return m, e, nil
}

// readMail takes a mail apart. What cannot be read of its parts is left out.
func readMail(b []byte) (eml, error) {
	m, e, err := readHeader(bytes.NewReader(b))
	if err != nil {
		return eml{}, err
	}
	err = e.walk(m.Header.Get, m.Body, 0)
	if err != nil && len(e.Parts) == 0 {
		return eml{}, fmt.Errorf("read the mail: %w", err)
	}
	for id, uri := range e.images {
		e.HTML = strings.ReplaceAll(e.HTML, "cid:"+id, uri)
	}
	return e, nil
}

// walk takes one part apart, and those within it.
func (e *eml) walk(header func(string) string, body io.Reader, depth int) error {
	if depth > emlDepth || len(e.Parts) >= emlParts {
		return errTooMuch
	}
	kind, params, err := mime.ParseMediaType(header("Content-Type"))
	if err != nil {
		kind, params = "text/plain", nil // RFC 2045 5.2
	}
	if strings.HasPrefix(kind, "multipart/") {
		parts := multipart.NewReader(body, params["boundary"])
		for {
			p, err := parts.NextRawPart()
			if errors.Is(err, io.EOF) {
				return nil
			}
			if err != nil {
				return err
			}
			if err := e.walk(p.Header.Get, p, depth+1); err != nil {
				return err
			}
		}
	}
	content, err := io.ReadAll(decoded(header("Content-Transfer-Encoding"), body))
	if err != nil {
		return err
	}
	e.keep(kind, strings.Trim(header("Content-ID"), "<> "), content)
	return nil
}

// keep notes one part and what a page shows of it.
func (e *eml) keep(kind, id string, content []byte) {
	e.Parts = append(e.Parts, fmt.Sprintf("%s, %d bytes", kind, len(content)))
	text := strings.ToValidUTF8(strings.ReplaceAll(string(content), "\r\n", "\n"), "\uFFFD")
	switch {
	case kind == "text/plain" && e.Text == "":
		e.Text = text
	case kind == "text/html" && e.HTML == "":
		e.HTML = text
	case id != "" && (kind == "image/png" || kind == "image/jpeg" || kind == "image/gif"):
		e.images[id] = "data:" + kind + ";base64," + base64.StdEncoding.EncodeToString(content)
	}
}

func decoded(encoding string, r io.Reader) io.Reader {
	switch strings.ToLower(strings.TrimSpace(encoding)) {
	case "quoted-printable":
		return quotedprintable.NewReader(r)
	case "base64":
		return base64.NewDecoder(base64.StdEncoding, r)
	}
	return r
}

// field gives a header in words.
func (e eml) field(name string) string {
	v := e.Header.Get(name)
	if s, err := new(mime.WordDecoder).DecodeHeader(v); err == nil {
		return s
	}
	return v
}

// HTML gives the page that a mail shows, its pictures put into it.
func HTML(wire []byte) (string, error) {
	e, err := readMail(wire)
	if err != nil {
		return "", err
	}
	if e.HTML == "" {
		return "", errors.New("the mail has no HTML")
	}
	return e.HTML, nil
}

// PlainText gives a mail as a reader of plain text sees it: who, to whom, what
// about, when, and the text.
func PlainText(wire []byte) (string, error) {
	e, err := readMail(wire)
	if err != nil {
		return "", err
	}
	if e.Text == "" {
		return "", errors.New("the mail has no plain text")
	}
	var b strings.Builder
	for _, name := range []string{"From", "To", "Subject", "Date"} {
		fmt.Fprintf(&b, "%s: %s\n", name, e.field(name))
	}
	return b.String() + "\n" + strings.ReplaceAll(e.Text, "\r\n", "\n"), nil
}
