package main

import (
	"fmt"
	"net"
	"strconv"

	"laycast/notify/smtp"
	"laycast/scheduler"
)

// post is how mail leaves.
type post struct {
	transport scheduler.Transport
	redo      bool // delivering twice does no harm
}

// post gives the mail server that the configuration names.
func (h *house) post() (post, error) {
	m := h.cfg.Mail
	if m.Host == "" {
		return post{}, fmt.Errorf("no mail server is set: set mail.smtp in %s, or write mail to files with --mail-dir DIR", h.cfg.Path)
	}
	t, err := smtp.New(smtp.Config{
		URL: "smtp://" + net.JoinHostPort(m.Host, strconv.Itoa(m.Port)), TLS: smtp.TLS(m.TLS), User: m.User, Password: m.Password.Reveal(), From: m.From,
	})
	if err != nil {
		return post{}, fmt.Errorf("set up the mail server: %w", err)
	}
	return post{transport: t}, nil
}

// postTo gives a mail server on this machine, without TLS: for rehearsals.
func postTo(url, from string) (post, error) {
	t, err := smtp.New(smtp.Config{URL: url, TLS: smtp.Off, From: from})
	if err != nil {
		return post{}, usageError{fmt.Errorf("--smtp: %w", err)}
	}
	return post{transport: t}, nil
}
