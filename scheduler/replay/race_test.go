//go:build race

package replay

// raceOn says that the race detector is on, under which a test takes many times
// as long.
const raceOn = true
