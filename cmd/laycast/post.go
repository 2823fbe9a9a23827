package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"

	"laycast/notify"
	"laycast/notify/file"
	"laycast/notify/smtp"
	"laycast/notify/webhook"
	"laycast/scheduler"
)

// post is how mail leaves.
type post struct {
	transport scheduler.Transport
	redo      bool              // delivering twice does no harm
	hooked    []notify.Audience // who is told by webhook too
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
	p := post{transport: mailer{t}}
	if h.cfg.Webhook.URL == "" {
		return p, nil
	}
	hook, err := webhook.New(webhook.Config{URL: h.cfg.Webhook.URL, Secret: h.cfg.Webhook.Secret.Reveal(), Now: realClock{}.Now})
	if err != nil {
		return post{}, fmt.Errorf("set up the webhook: %w", err)
	}
	return post{transport: sorter{notify.Mail: p.transport, notify.Webhook: hook}, hooked: h.cfg.Webhook.For}, nil
}

// sorter hands each message to the transport of its channel.
type sorter map[notify.Channel]scheduler.Transport

// Deliver hands over one message.
func (s sorter) Deliver(ctx context.Context, m notify.Message) error {
	t, ok := s[m.Channel]
	if !ok {
		return &notify.Failure{Class: notify.Permanent, Reason: fmt.Sprintf("nothing is set up to send by %s", m.Channel)}
	}
	return t.Deliver(ctx, m)
}

// Probe tries the mail server.
func (s sorter) Probe(ctx context.Context) error {
	p, ok := s[notify.Mail].(prober)
	if !ok {
		return errors.New("it cannot be tried without a message")
	}
	return p.Probe(ctx)
}

// postTo gives a mail server on this machine, without TLS: for rehearsals.
func postTo(url, from string) (post, error) {
	t, err := smtp.New(smtp.Config{URL: url, TLS: smtp.Off, From: from})
	if err != nil {
		return post{}, usageError{fmt.Errorf("--smtp: %w", err)}
	}
	return post{transport: mailer{t}}, nil
}

// mailer hands mail to a server and tells its failures in the scheduler's
// words: a refusal is final, and a customer's mail in doubt goes no second time.
type mailer struct{ *smtp.Transport }

// Deliver hands over one message; its error is a *notify.Failure.
func (t mailer) Deliver(ctx context.Context, m notify.Message) error {
	err := t.Transport.Deliver(ctx, m)
	var f *smtp.Failure
	if errors.As(err, &f) {
		return &notify.Failure{Class: notify.FailureClass(f.Class), Code: f.Code, Reason: f.Error()}
	}
	return err
}

// postFiles gives mail written as files into a folder, which is made if need
// be: one that cannot be made is told at once, not mail by mail.
func postFiles(dir string) (post, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return post{}, fmt.Errorf("make the folder for mails: %w", err)
	}
	return post{transport: file.Transport{Dir: dir}, redo: true}, nil
}
