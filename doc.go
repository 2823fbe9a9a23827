// Package laycast holds nothing but the tests of the whole tree's own rules:
// which package may import which, and what the pure ones keep away from. The
// program is in cmd/laycast.
package laycast
