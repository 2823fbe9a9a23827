package main

import (
	"net/netip"

	"go.yaml.in/yaml/v4"

	"laycast/job"
)

// users reads who may sign in beside the owner, whose address is firm.email.
func (l *configLoader) users(s *yamlSection, f *job.Firm) {
	nodes, ok := s.list("office", "mail addresses", yaml.ScalarNode)
	s.done()
	if !ok {
		return
	}
	f.Office = nil
	for _, n := range nodes {
		if err := job.CheckEmail(n.Value); err != nil {
			s.at(n.Line, "office", "%v", err)
			continue
		}
		f.Office = append(f.Office, n.Value)
	}
}

// proxies reads the addresses or networks of the proxies in front of us.
func (l *configLoader) proxies(root *yamlSection) []netip.Prefix {
	nodes, ok := root.list("trusted_proxies", "addresses or networks such as 127.0.0.1 or 10.0.0.0/8", yaml.ScalarNode)
	if !ok {
		return nil
	}
	var out []netip.Prefix
	for _, n := range nodes {
		p, err := netip.ParsePrefix(n.Value)
		if err != nil {
			a, e := netip.ParseAddr(n.Value)
			if e != nil {
				root.at(n.Line, "trusted_proxies", "%q is no address and no network; write 127.0.0.1 or 10.0.0.0/8", shorten(n.Value))
				continue
			}
			p = netip.PrefixFrom(a.Unmap().WithZone(""), a.Unmap().BitLen())
		}
		out = append(out, p.Masked())
	}
	return out
}
