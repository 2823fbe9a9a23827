//go:build !race

package replay

const raceOn = false
