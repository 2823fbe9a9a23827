//go:build !race

package browser

const raceOn = false
