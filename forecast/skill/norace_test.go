//go:build !race

package skill

const raceOn = false
