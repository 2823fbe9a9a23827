package main

import (
	"context"
	"errors"
	"net"
	"net/mail"
	"strings"
	"time"
)

// A receiver weighs whether a mail's From is of the domain that its server may
// send for (SPF, RFC 7208; DMARC, RFC 7489). The server signs, not laycast; the
// doctor says where the two do not seem to go together.

// lookupTXT reads the TXT records of a name.
type lookupTXT func(ctx context.Context, name string) ([]string, error)

// dnsWithin bounds one look-up: a machine without a resolver must not hang.
const dnsWithin = 3 * time.Second

// alignment compares the domain of From with who signs in where, and looks for
// the domain's records.
func (e *examination) alignment(ctx context.Context, m MailConfig, look lookupTXT) {
	const about = "mail"
	a, err := mail.ParseAddress(m.From)
	if err != nil {
		return // told with the configuration
	}
	from := domainOf(a.Address)
	sender, what := strings.ToLower(m.Host), "the mail server "+m.Host
	if strings.Contains(m.User, "@") {
		sender, what = domainOf(m.User), "the user "+m.User
	}
	switch {
	case loopback(m.Host) && !strings.Contains(m.User, "@"):
		e.ok(about, "the From is of %s; the server on this machine has to send for that domain", from)
	case related(sender, from):
		e.ok(about, "the From is of %s, and so is %s", from, what)
	default:
		e.see(doubt, about, "see that the mail server may send for "+from+" (SPF) and signs for it (DKIM); else set mail.from to an address of its own domain",
			"the From is of %s, but %s is not: receivers may take the mails for forged", from, what)
	}
	if reserved(from) {
		e.ok(about, "SPF and DMARC of %s were not checked: it is a name for examples", from)
		return
	}
	e.record(ctx, look, from, from, "v=spf1", "SPF")
	e.record(ctx, look, from, "_dmarc."+from, "v=DMARC1", "DMARC")
}

// record looks for one TXT record of a domain.
func (e *examination) record(ctx context.Context, look lookupTXT, domain, name, begins, what string) {
	const about = "mail"
	ctx, stop := context.WithTimeout(ctx, dnsWithin)
	defer stop()
	all, err := look(ctx, name)
	var dns *net.DNSError
	if err != nil && !(errors.As(err, &dns) && dns.IsNotFound) {
		e.ok(about, "%s of %s was not checked: no name server could be asked", what, domain)
		return
	}
	for _, t := range all {
		if strings.HasPrefix(strings.ToLower(t), strings.ToLower(begins)) {
			e.ok(about, "%s has a record for %s: %s", domain, what, t)
			return
		}
	}
	e.see(doubt, about, "have whoever keeps the domain's names add one; ask the mail provider what it must say", "%s has no record for %s, which many receivers ask for", domain, what)
}

// related reports whether one domain is the other or below it.
func related(a, b string) bool {
	a, b = strings.ToLower(a), strings.ToLower(b)
	return a == b || strings.HasSuffix(a, "."+b) || strings.HasSuffix(b, "."+a) && strings.Contains(a, ".")
}

// reserved reports whether a domain can have no records (RFC 2606, 6761).
func reserved(domain string) bool {
	for _, end := range []string{"example", "test", "invalid", "localhost", "example.com", "example.net", "example.org"} {
		if domain == end || strings.HasSuffix(domain, "."+end) {
			return true
		}
	}
	return false
}

func domainOf(address string) string {
	return strings.ToLower(address[strings.LastIndexByte(address, '@')+1:])
}
