package smtp

import "context"

// Probe connects to the server, greets it, begins TLS and signs in as for a
// delivery, and takes its leave without a message. The error is a *Failure that
// names the step.
func (t *Transport) Probe(ctx context.Context) error {
	s, f := t.reach(ctx)
	if f != nil {
		return f
	}
	defer s.close()
	if f := s.ready(); f != nil {
		return f
	}
	s.wait(t.cfg.Timeout)
	_ = s.client.Quit() // the server has shown that it answers
	return nil
}
