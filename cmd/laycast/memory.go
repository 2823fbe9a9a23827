package main

import "runtime/debug"

// softMemory is what the process keeps to where it can: 200 MB of dressed weather
// (scheduler) and 120 MB for all else. Without it the collector lets garbage grow
// until it is as much again as what is kept: 440 MB were resident where 200 are
// kept, with it 320, for 0.4 % of the processor time. It is no bound: more that is
// needed is taken, and costs more collecting, so a host of a thousand firms raises
// it (docs/scale.md).
const softMemory = 320 << 20

// boundMemory sets the soft limit, unless GOMEMLIMIT has set one.
func boundMemory(env func(string) string) {
	if env("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(softMemory)
	}
}
