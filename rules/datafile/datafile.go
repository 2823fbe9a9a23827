// Package datafile reads the YAML files in which a firm keeps its own figures:
// strictly, key by key, each value alone or with the source it comes from, and
// with all that is wrong told at once, by line, with the remedy. It is pure.
package datafile

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"go.yaml.in/yaml/v4"

	"laycast/job"
)

// MostBytes bounds a file; the built-in ones have 5 kB.
const MostBytes = 1 << 18

// Problem is one thing wrong with a file.
type Problem struct {
	Line   int    // 0 where it concerns the whole file
	Key    string // "work.strip", "limits.cure"
	Reason string // with the remedy
}

// Error is all that is wrong with a file.
type Error struct {
	File     string
	Problems []Problem
}

// Error gives a line for each problem.
func (e *Error) Error() string {
	var lines []string
	for _, p := range e.Problems {
		s := e.File
		if p.Line > 0 {
			s += ":" + strconv.Itoa(p.Line)
		}
		if p.Key != "" {
			s += ": " + p.Key
		}
		lines = append(lines, s+": "+p.Reason)
	}
	return strings.Join(lines, "\n")
}

// Reader reads one file and gathers what is wrong with it. The sources of its
// values are kept by key.
type Reader struct {
	Sources map[string]string // of values that name their own, by key
	what    string            // what the file is: "profile"
	print   string            // the command that prints a good one
	found   []Problem
}

// NewReader makes a reader for a file of some kind, which the command `print`
// shows an example of.
func NewReader(what, print string) *Reader {
	return &Reader{Sources: map[string]string{}, what: what, print: print}
}

// Complain notes a problem; line 0 is the file as a whole.
func (d *Reader) Complain(line int, key, format string, args ...any) {
	d.found = append(d.found, Problem{line, key, fmt.Sprintf(format, args...)})
}

// Clean reports whether nothing was found wrong so far.
func (d *Reader) Clean() bool { return len(d.found) == 0 }

// Err gives all that is wrong, in the order of the file, as an *Error; nil
// when nothing is.
func (d *Reader) Err(file string) error {
	if d.Clean() {
		return nil
	}
	slices.SortStableFunc(d.found, func(a, b Problem) int { return a.Line - b.Line })
	return &Error{File: file, Problems: d.found}
}

// Root reads the outermost mapping, whose keys are known. ok is false, with a
// complaint, where there is none.
func (d *Reader) Root(data []byte, known []string) (m Mapping, ok bool) {
	if len(data) > MostBytes {
		d.Complain(0, "", "larger than %d kB; this is no %s", MostBytes>>10, d.what)
		return Mapping{}, false
	}
	var doc yaml.Node
	if err := yaml.Load(data, &doc); err != nil {
		line := 0
		var at *yaml.LoadError
		if errors.As(err, &at) {
			line = at.Mark.Line
		}
		d.Complain(line, "", "is not YAML (%s); indent with spaces, one %s in a file", printable(strings.TrimPrefix(err.Error(), "yaml: ")), d.what)
		return Mapping{}, false
	}
	if len(doc.Content) != 1 || doc.Content[0].Kind != yaml.MappingNode {
		d.Complain(doc.Line, "", "must be `key: value` lines, as `%s` prints them", d.print)
		return Mapping{}, false
	}
	return d.Keys("", doc.Content[0], known), true
}

// Mapping is a YAML mapping whose keys were looked through.
type Mapping struct {
	Path string // "" or "work."
	Line int
	vals map[string]*yaml.Node
}

// Node gives the value of a key, nil when there is none.
func (m Mapping) Node(key string) *yaml.Node { return m.vals[key] }

// Keys reads a mapping, complaining about keys that are unknown or doubled.
func (d *Reader) Keys(path string, n *yaml.Node, known []string) Mapping {
	m := Mapping{Path: path, Line: n.Line, vals: map[string]*yaml.Node{}}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k := n.Content[i]
		name := printable(k.Value)
		switch {
		case k.Kind != yaml.ScalarNode:
			d.Complain(k.Line, strings.TrimSuffix(path, "."), "a key must be a plain word")
		case m.vals[k.Value] != nil:
			d.Complain(k.Line, path+name, "stands twice (first at line %d); keep one", m.vals[k.Value].Line)
		case !slices.Contains(known, k.Value):
			d.Complain(k.Line, path+name, "unknown key%s", Nearest(k.Value, known))
		default:
			m.vals[k.Value] = n.Content[i+1]
		}
	}
	return m
}

// Nearest says which of the known words may have been meant.
func Nearest(word string, known []string) string {
	if near := job.Nearest(printable(word), known); near != "" {
		return fmt.Sprintf("; did you mean %q?", near)
	}
	return "; known are " + strings.Join(known, ", ")
}

// Get gives a key's value, nil (with a complaint) when there is none.
func (d *Reader) Get(m Mapping, key, want string) *yaml.Node {
	v := m.vals[key]
	switch {
	case v == nil:
		d.Complain(m.Line, m.Path+key, "is missing; give %s", want)
	case v.Kind == yaml.AliasNode:
		d.Complain(v.Line, m.Path+key, "is an alias (*); write the value out")
	case v.ShortTag() == "!!null":
		d.Complain(v.Line, m.Path+key, "has no value; give %s", want)
	default:
		return v
	}
	return nil
}

// Text gives the one line of text under a key.
func (d *Reader) Text(m Mapping, key, want string) string {
	v := d.Get(m, key, want)
	switch {
	case v == nil:
	case v.Kind != yaml.ScalarNode || v.ShortTag() != "!!str":
		d.Complain(v.Line, m.Path+key, "must be text; give %s, in quotes where it looks like a number", want)
	case strings.TrimSpace(v.Value) == "" || strings.ContainsFunc(v.Value, unicode.IsControl):
		d.Complain(v.Line, m.Path+key, "must be one line of text; give %s", want)
	default:
		return strings.TrimSpace(v.Value)
	}
	return ""
}

// Section gives the mapping under a key of the file.
func (d *Reader) Section(root Mapping, key string, known []string) (Mapping, bool) {
	v := d.Get(root, key, fmt.Sprintf("the section as `%s` prints it", d.print))
	if v == nil {
		return Mapping{}, false
	}
	if v.Kind != yaml.MappingNode {
		d.Complain(v.Line, key, "must be a section with keys of its own: %s", strings.Join(known, ", "))
		return Mapping{}, false
	}
	return d.Keys(key+".", v, known), true
}

// Scalar gives the plain text of a value, which may stand alone or with its
// source.
func (d *Reader) Scalar(m Mapping, key, want string) (*yaml.Node, bool) {
	v := d.Get(m, key, want)
	if v == nil {
		return nil, false
	}
	if v.Kind == yaml.MappingNode {
		inner := d.Keys(m.Path+key+".", v, []string{"value", "source"})
		if inner.vals["source"] != nil {
			if s := d.Text(inner, "source", "where the value comes from"); s != "" {
				d.Sources[m.Path+key] = s
			}
		}
		if v = d.Get(inner, "value", want); v == nil {
			return nil, false
		}
	}
	if v.Kind != yaml.ScalarNode {
		d.Complain(v.Line, m.Path+key, "must be %s", want)
		return nil, false
	}
	return v, true
}

// Number reads a number from lo to hi in `unit`.
func (d *Reader) Number(m Mapping, key string, into *float64, lo, hi float64, unit string) bool {
	want := fmt.Sprintf("a number from %g to %g (%s)", lo, hi, unit)
	v, ok := d.Scalar(m, key, want)
	return ok && d.InRange(v, m.Path+key, want, into, lo, hi)
}

// InRange reads a number that must lie from lo to hi.
func (d *Reader) InRange(v *yaml.Node, key, want string, into *float64, lo, hi float64) bool {
	x, err := strconv.ParseFloat(v.Value, 64)
	numeric := v.ShortTag() == "!!int" || v.ShortTag() == "!!float"
	if err != nil || !numeric || !(x >= lo && x <= hi) {
		d.Complain(v.Line, key, "%q is not %s", Shorten(v.Value), want)
		return false
	}
	*into = x + 0 // -0 reads as 0
	return true
}

// printable keeps a message on its line and short.
func printable(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
	return Shorten(s)
}

// Shorten cuts a text to what a message can hold.
func Shorten(s string) string {
	if r := []rune(s); len(r) > 120 {
		return string(r[:120]) + "…"
	}
	return s
}
