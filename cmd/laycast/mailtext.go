package main

import (
	"bytes"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"strings"
)

// plainText gives the headers that a reader sees and the plain text of a mail.
func plainText(wire []byte) (string, error) {
	m, err := mail.ReadMessage(bytes.NewReader(wire))
	if err != nil {
		return "", fmt.Errorf("read the mail: %w", err)
	}
	var out strings.Builder
	dec := new(mime.WordDecoder)
	for _, k := range []string{"From", "To", "Subject", "Date"} {
		v, err := dec.DecodeHeader(m.Header.Get(k))
		if err != nil {
			v = m.Header.Get(k)
		}
		fmt.Fprintf(&out, "%s: %s\n", k, v)
	}
	body, err := textOf(m.Header.Get("Content-Type"), m.Header.Get("Content-Transfer-Encoding"), m.Body)
	if err != nil {
		return "", err
	}
	return out.String() + "\n" + strings.ReplaceAll(body, "\r\n", "\n"), nil
}

// textOf finds the first text/plain part.
func textOf(contentType, encoding string, body io.Reader) (string, error) {
	kind, params, err := mime.ParseMediaType(contentType)
	if err != nil {
		return "", fmt.Errorf("read the mail's type: %w", err)
	}
	if strings.HasPrefix(kind, "multipart/") {
		parts := multipart.NewReader(body, params["boundary"])
		for {
			p, err := parts.NextRawPart()
			if err != nil {
				return "", fmt.Errorf("look for the plain text: %w", err)
			}
			if text, err := textOf(p.Header.Get("Content-Type"), p.Header.Get("Content-Transfer-Encoding"), p); err == nil {
				return text, nil
			}
		}
	}
	if kind != "text/plain" {
		return "", fmt.Errorf("a part is %s", kind)
	}
	if strings.EqualFold(encoding, "quoted-printable") {
		body = quotedprintable.NewReader(body)
	}
	b, err := io.ReadAll(body)
	if err != nil {
		return "", fmt.Errorf("read the plain text: %w", err)
	}
	return string(b), nil
}
