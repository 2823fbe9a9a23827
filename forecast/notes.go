package forecast

import (
	"fmt"
	"slices"
)

// Notes gather what was mended in a run, in the order of first need.
type Notes struct {
	texts  []string
	counts map[string]int
}

// Add counts one hour of one member.
func (n *Notes) Add(text string) {
	if n.counts == nil {
		n.counts = map[string]int{}
	}
	if n.counts[text] == 0 {
		n.texts = append(n.texts, text)
	}
	n.counts[text]++
}

// Once tells what is not counted in hours.
func (n *Notes) Once(text string) {
	if !slices.Contains(n.texts, text) {
		n.texts = append(n.texts, text)
	}
}

// List gives the notes of a run of so many members, with counts where they are
// counted.
func (n *Notes) List(members int) []string {
	unit := "h"
	if members > 1 {
		unit = "member hours"
	}
	var out []string
	for _, s := range n.texts {
		if n.counts[s] > 0 {
			s = fmt.Sprintf("%s (%d %s)", s, n.counts[s], unit)
		}
		out = append(out, s)
	}
	return out
}
