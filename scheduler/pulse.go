package scheduler

import (
	"sync"
	"time"
)

// pulse knows when each worker last looked for something to do, and whether all of
// them are at rest. What one worker does may be work for another that has already
// looked, and a worker that looks now may have found something; so all are at rest
// only when each found nothing twice, the second time after everybody's first, and
// nobody did anything between.
type pulse struct {
	mu    sync.Mutex
	last  []time.Time
	round int  // begun anew by whatever is done
	again bool // everybody found nothing in the round before
	idle  []bool
	at    time.Time       // of the round
	tell  func(time.Time) // may be nil
}

func newPulse(workers int, now time.Time, tell func(time.Time)) *pulse {
	p := &pulse{last: make([]time.Time, workers), idle: make([]bool, workers), tell: tell}
	for i := range p.last {
		p.last[i] = now
	}
	return p
}

// beat notes that a worker looks for something to do, and gives the round in which
// it does.
func (p *pulse) beat(i int, t time.Time) int {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.last[i] = t
	return p.round
}

// stir notes that something was done.
func (p *pulse) stir() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.turn(false)
}

// turn begins a round.
func (p *pulse) turn(again bool) {
	p.round++
	p.again = again
	clear(p.idle)
}

// rest notes that a worker, in the round in which it looked, found nothing to do at
// a time, and tells the time when all are at rest.
func (p *pulse) rest(i, round int, t time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !t.Equal(p.at) {
		p.at = t
		p.turn(false)
		return
	}
	if round != p.round {
		return
	}
	p.idle[i] = true
	for _, idle := range p.idle {
		if !idle {
			return
		}
	}
	if p.again && p.tell != nil {
		p.tell(t)
	}
	p.turn(true)
}

// oldest gives the beat of the worker that has been silent longest.
func (p *pulse) oldest() time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	out := p.last[0]
	for _, t := range p.last {
		if t.Before(out) {
			out = t
		}
	}
	return out
}
