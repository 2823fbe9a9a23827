package notify

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// columns is the widest line of a plain text (RFC 5322 2.1.1 asks for 78).
const columns = 78

// nbsp glues a number to its unit; plain text shows it as a blank.
const nbsp = "\u00a0"

// Clean makes foreign text safe for one line of a mail, a calendar or a log. See
// clean.
func Clean(s string) string { return clean(s) }

// clean makes foreign text safe to print on one line: control characters, line
// and paragraph separators become blanks, marks that turn the reading direction
// go, runs of blanks become one.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsControl(r), r == '\u2028', r == '\u2029':
			return ' '
		case unicode.Is(unicode.Bidi_Control, r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "\ufffd"))
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == ' ' }), " ")
}

// shorten cuts s to at most n characters, the last of them an ellipsis.
func shorten(s string, n int) string {
	if utf8.RuneCountInString(s) <= n {
		return s
	}
	r := []rune(s)
	return strings.TrimRight(string(r[:n-1]), " ") + "…"
}

// Sentence cleans s and gives it a capital and a full stop.
func Sentence(s string) string {
	s = clean(s)
	if s == "" {
		return ""
	}
	s = capital(s)
	if !strings.ContainsAny(s[len(s)-1:], ".!?:") {
		s += "."
	}
	return s
}

// capital gives s a capital.
func capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// wrap breaks s into lines of at most columns characters; the first is led by
// first, the others by rest. Links are never broken, other words too long for a
// line are.
func wrap(s, first, rest string) []string {
	var lines []string
	line, lead := first, first
	width := utf8.RuneCountInString
	for _, w := range strings.Split(s, " ") {
		if line != lead && width(line)+1+width(w) > columns {
			lines = append(lines, line)
			line, lead = rest, rest
		}
		for !strings.Contains(w, "://") && width(line)+width(w) > columns && line == lead {
			r := []rune(w)
			cut := columns - width(lead)
			lines = append(lines, line+string(r[:cut]))
			w = string(r[cut:])
			line, lead = rest, rest
		}
		if line != lead {
			line += " "
		}
		line += w
	}
	lines = append(lines, line)
	for i, l := range lines {
		lines[i] = strings.TrimRight(strings.ReplaceAll(l, nbsp, " "), " ")
	}
	return lines
}
