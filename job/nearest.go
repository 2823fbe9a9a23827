package job

import (
	"fmt"
	"strings"
)

// Nearest gives the known word that a mistyped one most likely means, or ""
// when none is near. The first of equally near words is taken.
func Nearest(word string, known []string) string {
	best, found := "", 1+len([]rune(word))/3
	for _, k := range known {
		if n := distance(strings.ToLower(word), strings.ToLower(k)); n < found || n == found && best == "" {
			best, found = k, n
		}
	}
	return best
}

// suggest gives `; did you mean "lat"?`, or the known words when none is near.
func suggest(word string, known []string) string {
	if near := Nearest(word, known); near != "" {
		return fmt.Sprintf("; did you mean %q?", near)
	}
	return "; known are " + strings.Join(known, ", ")
}

// distance counts the letters to add, drop, change or swap with their
// neighbour (Damerau's optimal string alignment), at most 30 of them.
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	if d := len(x) - len(y); d > 30 || d < -30 {
		return 30
	}
	before, prev, cur := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range prev {
		prev[j] = j
	}
	for i := 1; i <= len(x); i++ {
		cur[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			cur[j] = min(prev[j]+1, cur[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				cur[j] = min(cur[j], before[j-2]+1)
			}
		}
		before, prev, cur = prev, cur, before
	}
	return prev[len(y)]
}
