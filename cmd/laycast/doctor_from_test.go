package main

import (
	"context"
	"net"
	"strings"
	"testing"
)

func TestFromGoesWithItsServer(t *testing.T) {
	records := map[string][]string{
		"firm.aero": {"something=else", "v=spf1 include:mail.host.aero -all"}, "_dmarc.firm.aero": {"v=DMARC1; p=none"},
	}
	look := func(_ context.Context, name string) ([]string, error) {
		if strings.HasSuffix(name, "dark.aero") {
			return nil, &net.DNSError{Err: "timeout", Name: name, IsTimeout: true}
		}
		if r, ok := records[name]; ok {
			return r, nil
		}
		return nil, &net.DNSError{Err: "no such host", Name: name, IsNotFound: true}
	}
	for _, c := range []struct {
		name  string
		m     MailConfig
		want  []string
		worst grade
	}{
		{"user of the domain", MailConfig{From: "F <office@firm.aero>", Host: "mail.host.aero", User: "office@firm.aero"}, []string{"and so is the user", "record for SPF", "record for DMARC"}, fine},
		{"server of the domain", MailConfig{From: "F <office@firm.aero>", Host: "mail.firm.aero"}, []string{"and so is the mail server"}, fine},
		{"neither", MailConfig{From: "F <office@firm.aero>", Host: "mail.host.aero", User: "lay"}, []string{"receivers may take the mails for forged"}, doubt},
		{"no records", MailConfig{From: "F <o@bare.aero>", Host: "mail.bare.aero"}, []string{"no record for SPF", "no record for DMARC"}, doubt},
		{"no name server", MailConfig{From: "F <o@dark.aero>", Host: "mail.dark.aero"}, []string{"SPF of dark.aero was not checked", "DMARC of dark.aero was not checked"}, fine},
		{"an example", MailConfig{From: "F <o@quay.example>", Host: "127.0.0.1"}, []string{"on this machine", "were not checked"}, fine},
	} {
		var e examination
		e.alignment(t.Context(), c.m, look)
		all, worst := "", fine
		for _, o := range e.found {
			all += o.Found + "\n"
			if o.Grade != fine {
				worst = o.Grade
			}
		}
		if worst != c.worst {
			t.Errorf("%s: %s, want %s:\n%s", c.name, worst, c.worst, all)
		}
		for _, w := range c.want {
			if !strings.Contains(all, w) {
				t.Errorf("%s: does not say %q:\n%s", c.name, w, all)
			}
		}
	}
	for a, b := range map[string]string{"aero": "firm.aero", "otherfirm.aero": "firm.aero", "firm.aero.evil.net": "firm.aero"} {
		if related(a, b) {
			t.Errorf("%s is taken to go with %s", a, b)
		}
	}
}
