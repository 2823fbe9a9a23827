package main

import "testing"

// slowWhenRaced skips a long rehearsal under the race detector, where two hundred
// members take many times as long; the shorter ones go through the same code there.
func slowWhenRaced(t *testing.T) {
	t.Helper()
	if raceOn {
		t.Skip("too long under the race detector: run without it (make test)")
	}
}
