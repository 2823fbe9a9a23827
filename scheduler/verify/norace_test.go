//go:build !race

package verify

const raceOn = false
