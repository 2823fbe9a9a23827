//go:build race

package plan

// raced is true in tests under the race detector, which is some ten times slower.
const raced = true
