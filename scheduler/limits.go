package scheduler

import (
	"sync"

	"laycast/job"
	"laycast/rules"
)

// limits keeps the profiles that firms made on their pages, by their texts: a
// changed profile is another text.
type limits struct {
	mu   sync.Mutex
	kept map[string]rules.Profile
}

// mostLimits bounds how many are kept, of some 2 kB each.
const mostLimits = 1000

// profile gives the laying limits of a name: those of the house, else those that
// the firm made on its pages.
func (s *Scheduler) profile(f job.Firm, name string) (rules.Profile, error) {
	text, made := f.Profiles[name]
	if p, err := s.Profiles.Named(name); err == nil || !made {
		return p, err
	}
	l := &s.limits
	l.mu.Lock()
	defer l.mu.Unlock()
	if p, ok := l.kept[text]; ok {
		return p, nil
	}
	p, err := rules.DecodeProfile("profile "+name, []byte(text))
	if err != nil {
		return p, err
	}
	if l.kept == nil || len(l.kept) >= mostLimits {
		l.kept = map[string]rules.Profile{}
	}
	l.kept[text] = p
	return p, nil
}
