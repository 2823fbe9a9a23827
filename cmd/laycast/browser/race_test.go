//go:build race

package browser

// raceOn says that the race detector is on.
const raceOn = true
