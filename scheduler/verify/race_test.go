//go:build race

package verify

// raceOn says that the race detector is on, under which a test takes many times
// as long.
const raceOn = true
